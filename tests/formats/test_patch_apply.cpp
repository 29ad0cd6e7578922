// Applying a patch to real files, and to a disk that fails or dies at every single system call.
#include <doctest/doctest.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cerrno>
#include <chrono>
#include <filesystem>
#include <fstream>
#include <functional>
#include <random>
#include <sstream>

#include "disk/crash_disk.h"
#include "formats/patch_record.h"
#include "pivotrace/formats/patch_apply.h"
#include "pivots/sample_result.h"

using namespace pivotrace;
using namespace pivotrace::testing;
namespace fs = std::filesystem;

namespace {

const std::string old_text = "// invented post\r\nvar pivotY = -200.0500;\r\nvar other = 1;\r\n";
const std::string new_text = "// invented post\r\nvar pivotY = -200.0123;\r\nvar other = 1;\r\n";
const std::string now = "2026-03-02T09:00:00Z";

Mapping y_mapping() {
  Mapping mapping;
  mapping.entries.resize(1);
  mapping.entries[0].value = "A.centre.Y";
  mapping.entries[0].key = "pivotY";
  return mapping;
}

PatchPlan plan_for(const TargetFile& target) {
  const auto plan = plan_patch(one_axis_result(), y_mapping(), target);
  REQUIRE(plan.has_value());
  return *plan;
}

/// A folder of its own for one test, with a blank and non-ASCII letters in its name.
class Folder {
 public:
  Folder() {
    std::string name = (fs::temp_directory_path() / "pivotrace prüfung XXXXXX").string();
    REQUIRE(::mkdtemp(name.data()) != nullptr);
    path = name;
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  ~Folder() {
    std::error_code ignored;
    fs::permissions(path, fs::perms::owner_all, ignored);
    fs::remove_all(path, ignored);
  }
  fs::path path;
};

std::string slurp(const fs::path& path) {
  std::ifstream stream(path, std::ios::binary);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

void spill(const fs::path& path, const std::string& text) {
  std::ofstream(path, std::ios::binary) << text;
}

std::vector<fs::path> with_ending(const fs::path& folder, const std::string& ending) {
  std::vector<fs::path> found;
  for (const auto& entry : fs::directory_iterator(folder)) {
    if (entry.path().string().ends_with(ending)) found.push_back(entry.path());
  }
  return found;
}

PatchPlan plan_for(const fs::path& path) {
  const auto target = read_target(path.string());
  REQUIRE(target.has_value());
  return plan_for(*target);
}

ProblemNumber refusal(const PatchPlan& plan) {
  const auto report = apply_patch(plan, now);
  REQUIRE(!report.has_value());
  return report.error()[0].number;
}

}  // namespace

TEST_CASE("apply: the file is new, the backup holds the old, the mode is kept") {
  const Folder folder;
  const fs::path file = folder.path / "mein post (1).cps";
  spill(file, old_text);
  REQUIRE(::chmod(file.c_str(), 0640) == 0);
  const auto report = apply_patch(plan_for(file), now);
  REQUIRE(report.has_value());
  CHECK(slurp(file) == new_text);
  CHECK(slurp(report->backup) == old_text);
  CHECK(fs::path(report->backup).parent_path() == file.parent_path());
  CHECK(report->notes.empty());
  struct stat status {};
  REQUIRE(::stat(file.c_str(), &status) == 0);
  CHECK((status.st_mode & 07777) == 0640);
  CHECK(with_ending(folder.path, "").size() == 3);  // file, backup, record: nothing left over
}

TEST_CASE("apply twice: the second finds nothing to gain, and knows the first") {
  const Folder folder;
  const fs::path file = folder.path / "post.cps";
  spill(file, old_text);
  REQUIRE(apply_patch(plan_for(file), now).has_value());
  const auto target = read_target(file.string());
  REQUIRE(target.has_value());
  REQUIRE(target->last_patch.has_value());
  CHECK(target->last_patch->machine == "invented trial machine");
  CHECK(!target->edited_since_last_patch);
  CHECK(refusal(plan_for(file)) == ProblemNumber::change_too_small);

  FitResult older = one_axis_result();
  older.started = "2026-03-01T08:00:00Z";
  const auto plan = plan_patch(older, y_mapping(), *target, {.small_change = true});
  REQUIRE(plan.has_value());
  CHECK(refusal(*plan) == ProblemNumber::outdated_result);
}

TEST_CASE("backups are never overwritten") {
  const Folder folder;
  const fs::path file = folder.path / "post.cps";
  spill(file, old_text);
  const auto first = apply_patch(plan_for(file), now);
  REQUIRE(first.has_value());
  spill(file, old_text + "// edited\n");
  const auto second = apply_patch(plan_for(file), now);
  REQUIRE(second.has_value());
  CHECK(first->backup != second->backup);
  CHECK(slurp(first->backup) == old_text);
  CHECK(slurp(second->backup) == old_text + "// edited\n");
}

TEST_CASE("a file changed since it was read is left alone") {
  const Folder folder;
  const fs::path file = folder.path / "post.cps";
  spill(file, old_text);
  const PatchPlan plan = plan_for(file);
  spill(file, old_text + "// edited meanwhile\n");
  CHECK(refusal(plan) == ProblemNumber::target_changed);
  CHECK(slurp(file) == old_text + "// edited meanwhile\n");
}

TEST_CASE("a symbolic link stays a link, the file it points to is patched") {
  const Folder folder;
  fs::create_directory(folder.path / "real");
  const fs::path file = folder.path / "real" / "post.cps";
  const fs::path link = folder.path / "link.cps";
  spill(file, old_text);
  fs::create_symlink("real/post.cps", link);
  const auto report = apply_patch(plan_for(link), now);
  REQUIRE(report.has_value());
  CHECK(fs::is_symlink(link));
  CHECK(slurp(file) == new_text);
  CHECK(fs::equivalent(fs::path(report->backup).parent_path(), file.parent_path()));
}

TEST_CASE("a link turned to another file after reading is noticed") {
  const Folder folder;
  spill(folder.path / "one", old_text);
  spill(folder.path / "two", old_text);
  const fs::path link = folder.path / "link";
  fs::create_symlink("one", link);
  const PatchPlan plan = plan_for(link);
  fs::remove(link);
  fs::create_symlink("two", link);
  CHECK(refusal(plan) == ProblemNumber::target_changed);
  CHECK(slurp(folder.path / "one") == old_text);
}

TEST_CASE("a file with a second hard link is refused: one of its names would keep the old values") {
  const Folder folder;
  const fs::path file = folder.path / "post.cps";
  spill(file, old_text);
  fs::create_hard_link(file, folder.path / "other.cps");
  CHECK(refusal(plan_for(file)) == ProblemNumber::cannot_write);
  CHECK(slurp(file) == old_text);
}

TEST_CASE("a write-protected file is refused") {
  const Folder folder;
  const fs::path file = folder.path / "post.cps";
  spill(file, old_text);
  fs::permissions(file, fs::perms::owner_read);
  CHECK(refusal(plan_for(file)) == ProblemNumber::cannot_write);
  CHECK(slurp(file) == old_text);
}

namespace {

/// Applies the plan in a child process that was prepared first; the number of its first problem,
/// 0 on success.
int refusal_in_child(const PatchPlan& plan, const std::function<bool()>& prepare) {
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    if (!prepare()) ::_exit(255);
    const auto report = apply_patch(plan, now);
    ::_exit(report ? 0 : static_cast<int>(report.error()[0].number) - 500);
  }
  int status = 0;
  REQUIRE(::waitpid(child, &status, 0) == child);
  REQUIRE(WIFEXITED(status));
  REQUIRE(WEXITSTATUS(status) != 255);
  return WEXITSTATUS(status) == 0 ? 0 : WEXITSTATUS(status) + 500;
}

/// Root may write anywhere: the child becomes nobody first.
bool become_nobody() {
  constexpr uid_t nobody = 65534;
  return ::geteuid() != 0 || (::setgid(nobody) == 0 && ::setuid(nobody) == 0);
}

}  // namespace

TEST_CASE("a read-only folder is refused in words") {
  const Folder folder;
  const fs::path file = folder.path / "post.cps";
  spill(file, old_text);
  const PatchPlan plan = plan_for(file);
  REQUIRE(::chmod(folder.path.c_str(), 0555) == 0);
  CHECK(refusal_in_child(plan, become_nobody) == 602);
  CHECK(slurp(file) == old_text);
  CHECK(with_ending(folder.path, "").size() == 1);
}

TEST_CASE("a disk that takes no more bytes leaves the old file and nothing beside it") {
  const Folder folder;
  const fs::path file = folder.path / "post.cps";
  const std::string long_text = old_text + std::string(3000, '\n');
  spill(file, long_text);
  const PatchPlan plan = plan_for(file);
  // A limit on file size makes real writes fall short and then fail, as a full disk does.
  const auto limit_file_size = [] {
    const struct rlimit limit { 2000, 2000 };
    return ::signal(SIGXFSZ, SIG_IGN) != SIG_ERR && ::setrlimit(RLIMIT_FSIZE, &limit) == 0;
  };
  CHECK(refusal_in_child(plan, limit_file_size) == 602);
  CHECK(slurp(file) == long_text);
  CHECK(with_ending(folder.path, "").size() == 1);
}

TEST_CASE("a program that holds the file open keeps the old text, the name has the new one") {
  const Folder folder;
  const fs::path file = folder.path / "post.cps";
  spill(file, old_text);
  std::ifstream holder(file, std::ios::binary);
  REQUIRE(holder.good());
  REQUIRE(apply_patch(plan_for(file), now).has_value());
  std::ostringstream seen;
  seen << holder.rdbuf();
  CHECK(seen.str() == old_text);
  CHECK(slurp(file) == new_text);
}

TEST_CASE("folders, devices and missing files are refused when read") {
  const Folder folder;
  const auto number = [](const std::string& path) {
    const auto target = read_target(path);
    REQUIRE(!target.has_value());
    return target.error()[0].number;
  };
  CHECK(number(folder.path.string()) == ProblemNumber::is_directory);
  CHECK(number("/dev/null") == ProblemNumber::cannot_read);
  CHECK(number((folder.path / "missing").string()) == ProblemNumber::cannot_read);
  fs::create_symlink("nowhere", folder.path / "dangling");
  CHECK(number((folder.path / "dangling").string()) == ProblemNumber::cannot_read);
}

TEST_CASE("a damaged record is not walked over") {
  const Folder folder;
  const fs::path file = folder.path / "post.cps";
  spill(file, old_text);
  for (const char* damaged :
       {"{", "[]", "{\"format\": 1}", "{\"format\":\"pivotrace-patch-record-1\"}"}) {
    spill(record_path(file.string()), damaged);
    const auto target = read_target(file.string());
    REQUIRE(!target.has_value());
    CHECK(target.error()[0].number == ProblemNumber::cannot_parse);
  }
}

namespace {

const std::string disk_file = "/disk/post.cps";

/// Runs one patch on a disk with a fault; true when it reported success.
bool patch_on(CrashDisk& disk) {
  const auto target = read_target(disk_file, disk);
  if (!target) return false;
  const auto plan = plan_patch(one_axis_result(), y_mapping(), *target);
  REQUIRE(plan.has_value());
  return apply_patch(*plan, now, disk).has_value();
}

CrashDisk fresh_disk() {
  CrashDisk disk;
  disk.add_file(disk_file, old_text, 0640);
  disk.most_per_write = 17;  // no call writes everything at once
  return disk;
}

/// A kill at the last call, a close, comes too late to end anything.
void patch_until_killed(CrashDisk& disk) {
  try {
    (void)patch_on(disk);
  } catch (const Killed&) {
  }
  CHECK(disk.is_dead());
}

/// Whatever happened: wholly old or wholly new, and any backup complete.
void check_wholeness(CrashDisk& disk, bool must_have_backup_if_new) {
  REQUIRE(disk.exists(disk_file));
  const std::string content = disk.content(disk_file);
  CHECK((content == old_text || content == new_text));
  int backups = 0;
  for (const std::string& name : disk.names()) {
    if (!name.ends_with(".bak")) continue;
    ++backups;
    CHECK(disk.content(name) == old_text);
    CHECK(disk.mode(name) == 0640);
  }
  if (content == new_text) {
    CHECK(disk.mode(disk_file) == 0640);
    if (must_have_backup_if_new) CHECK(backups == 1);
  }
  // The stamp tells the truth: it speaks of this patch exactly when the file holds it.
  const auto again = read_target(disk_file, disk);
  REQUIRE(again.has_value());
  CHECK(again->last_patch.has_value() == (content == new_text));
}

int calls_of_a_whole_patch() {
  CrashDisk disk = fresh_disk();
  REQUIRE(patch_on(disk));
  REQUIRE(disk.content(disk_file) == new_text);
  return disk.calls_made();
}

}  // namespace

TEST_CASE("killed at every system call, under every aftermath: wholly old or wholly new") {
  const int calls = calls_of_a_whole_patch();
  CHECK(calls > 40);
  int left_old = 0;
  int left_new = 0;
  for (const Aftermath aftermath :
       {Aftermath::process_killed, Aftermath::power_cut, Aftermath::power_cut_names_kept}) {
    for (int n = 1; n <= calls; ++n) {
      INFO("killed at call " << n << " of " << calls);
      CrashDisk disk = fresh_disk();
      disk.fault = Fault::kill;
      disk.fault_at = n;
      patch_until_killed(disk);
      disk.die(aftermath);
      check_wholeness(disk, true);
      (disk.content(disk_file) == old_text ? left_old : left_new)++;
      // And the next run succeeds from there.
      if (disk.content(disk_file) == old_text) CHECK(patch_on(disk));
      CHECK(disk.content(disk_file) == new_text);
    }
  }
  CHECK(left_old > 0);
  CHECK(left_new > 0);
}

TEST_CASE("every system call fails once: an error leaves the old file, success the new one") {
  const int calls = calls_of_a_whole_patch();
  for (const int error : {ENOSPC, EIO, EACCES, EROFS}) {
    for (int n = 1; n <= calls; ++n) {
      INFO("call " << n << " of " << calls << " fails with errno " << error);
      CrashDisk disk = fresh_disk();
      disk.fault = Fault::fail;
      disk.fault_at = n;
      disk.error = error;
      const bool succeeded = patch_on(disk);
      disk.fault = Fault::none;
      CHECK(disk.content(disk_file) == (succeeded ? new_text : old_text));
      check_wholeness(disk, true);
      for (const std::string& name : disk.names()) {
        CHECK_MESSAGE(name.find("/.") == std::string::npos, "left over: " << name);
      }
    }
  }
}

TEST_CASE("a full disk says so, and what to do") {
  CrashDisk disk = fresh_disk();
  const auto target = read_target(disk_file, disk);
  REQUIRE(target.has_value());
  const PatchPlan plan = plan_for(*target);
  // The first write of the backup is the first call that can find the disk full.
  bool seen = false;
  for (int n = disk.calls_made() + 1; n < disk.calls_made() + 20 && !seen; ++n) {
    CrashDisk full = fresh_disk();
    full.fault = Fault::fail;
    full.fault_at = n - disk.calls_made();
    full.error = ENOSPC;
    const auto report = apply_patch(plan, now, full);
    if (report) continue;
    seen = report.error()[0].advice.find("disk is full") != std::string::npos;
  }
  CHECK(seen);
}

TEST_CASE("a child process killed at random moments leaves the file whole") {
  const auto seed = std::random_device{}();
  INFO("seed " << seed);
  std::mt19937 random(seed);
  const Folder folder;
  const fs::path file = folder.path / "post.cps";
  // A long file, so that writing it takes time enough to be killed in.
  const std::string padding(400000, '-');
  std::string long_old;
  std::string long_new;
  for (int i = 0; i < 200; ++i) long_old += "// " + padding.substr(0, 4000) + "\n";
  long_new = long_old + new_text;
  long_old += old_text;
  // How long a patch takes depends on the machine; the moments of death are spread over that time.
  spill(file, long_old);
  const PatchPlan timed = plan_for(file);
  const auto start = std::chrono::steady_clock::now();
  REQUIRE(apply_patch(timed, now).has_value());
  const auto whole = std::chrono::duration_cast<std::chrono::microseconds>(
      std::chrono::steady_clock::now() - start);
  for (const fs::path& other : with_ending(folder.path, "")) {
    if (other != file) fs::remove(other);
  }
  const auto longest = static_cast<useconds_t>(2 * whole.count());
  int left_old = 0;
  int left_new = 0;
  for (int round = 0; round < 60; ++round) {
    spill(file, long_old);
    const PatchPlan plan = plan_for(file);
    const pid_t child = ::fork();
    REQUIRE(child >= 0);
    if (child == 0) {
      (void)apply_patch(plan, now);
      ::_exit(0);
    }
    ::usleep(std::uniform_int_distribution<useconds_t>(0, longest)(random));
    ::kill(child, SIGKILL);
    int status = 0;
    REQUIRE(::waitpid(child, &status, 0) == child);
    const std::string content = slurp(file);
    CHECK((content == long_old || content == long_new));
    (content == long_old ? left_old : left_new)++;
    const auto backups = with_ending(folder.path, ".bak");
    for (const fs::path& backup : backups) CHECK(slurp(backup) == long_old);
    if (content == long_new) CHECK(!backups.empty());
    for (const auto& entry : fs::directory_iterator(folder.path)) {
      if (entry.path() != file) fs::remove(entry.path());
    }
  }
  MESSAGE("killed 60 times: " << left_old << " times old, " << left_new << " times new");
}
