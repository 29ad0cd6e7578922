// Every verb on a disk in memory that fails at its n-th call, for every n: nothing half-written,
// nothing left behind, and the exit code says so. The files stand on no other disk, so a verb that
// went round `FileCalls` would not find them.
#include <doctest/doctest.h>

#include <algorithm>
#include <cerrno>
#include <map>
#include <sstream>

#include "app/demo_folder.h"
#include "disk/crash_disk.h"
#include "pivotrace/report/finding_words.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

using Files = std::map<std::string, std::string>;

constexpr int cannot_access = 4;

/// Where the program looks for control sheets by name on this disk.
const std::string control_sheet_on_disk = "/proc/self/routines/ngc.toml";

CrashDisk disk_with(const Files& files) {
  CrashDisk disk;
  for (const auto& [path, text] : files) disk.add_file(path, text);
  return disk;
}

Files contents(const CrashDisk& disk) {
  Files files;
  for (const std::string& path : disk.names()) files[path] = disk.content(path);
  return files;
}

/// Without the lines that tell when and how fast.
std::string timeless(const std::string& text) {
  std::istringstream lines(text);
  std::string kept;
  for (std::string line; std::getline(lines, line);) {
    const bool tells_time = says(line, "\"made\"") || says(line, "seconds") ||
                            says(line, "written") || says(line, "<p class=\"quiet\">/shop") ||
                            says(line, "# Written") || says(line, "@page{@bottom-left");
    if (!tells_time) kept += line + "\n";
  }
  return kept;
}

std::map<std::string, std::string> example_files(const std::vector<std::string>& endings) {
  Files files;
  for (const std::string& ending : endings) {
    files["/shop/fourth-axis" + ending] = slurp(example_path("fourth-axis" + ending));
  }
  return files;
}

/// Names of files that must not be there: neither inputs nor finished outputs.
std::vector<std::string> left_behind(const Files& now, const Files& before, const Files& finished) {
  std::vector<std::string> names;
  for (const auto& [path, text] : now) {
    // A backup's and a record's name may differ by the time in it.
    const bool known = before.count(path) != 0 || finished.count(path) != 0 ||
                       path.ends_with(".bak") || path.ends_with(".pivotrace.json");
    if (!known) names.push_back(path);
  }
  return names;
}

/// Each output is as it was before, or as it is when all goes well.
void check_whole(const Files& now, const Files& before, const Files& finished) {
  for (const auto& [path, text] : finished) {
    if (path.ends_with(".bak") || path.ends_with(".pivotrace.json")) continue;
    INFO(path);
    const auto found = now.find(path);
    const auto old = before.find(path);
    if (found == now.end()) {
      CHECK(old == before.end());
      continue;
    }
    const bool as_before = old != before.end() && found->second == old->second;
    CHECK((as_before || timeless(found->second) == timeless(text)));
  }
}

/// Walks the n-th call; returns how many calls the whole verb makes.
int walk(const std::vector<std::string>& words, const Files& files, int good_code = 0) {
  CrashDisk clean = disk_with(files);
  const Screen whole = run_verb(words, {}, clean);
  INFO(words[0] << "\n" << whole.err);
  REQUIRE(whole.code == good_code);
  REQUIRE(clean.calls_made() > 0);
  const Files finished = contents(clean);
  for (int n = 1; n <= clean.calls_made(); ++n) {
    CAPTURE(n);
    CrashDisk disk = disk_with(files);
    disk.fault = Fault::fail;
    disk.fault_at = n;
    disk.error = EIO;
    const Screen screen = run_verb(words, {}, disk);
    INFO(screen.err);
    // Harmless are a former owner, a leftover to sweep away, a folder sync: then all is done.
    CHECK((screen.code == cannot_access || screen.code == good_code));
    if (screen.code == cannot_access) CHECK(says(screen.err, "P60"));
    disk.fault = Fault::none;
    const Files now = contents(disk);
    check_whole(now, files, finished);
    CHECK(left_behind(now, files, finished).empty());
    if (screen.code == good_code) CHECK(now.size() == finished.size());
  }
  return clean.calls_made();
}

const std::string machine = "/shop/fourth-axis.machine.toml";
const std::string touches = "/shop/fourth-axis.touches.csv";
const std::string result = "/shop/fourth-axis.result.json";

/// What a shop has after a fit.
Files files_with_result(const std::vector<std::string>& endings = {}) {
  Files files = example_files(endings);
  files[result] = write_result(demo_fit("fourth-axis"), words_of);
  return files;
}

/// What a shop has after `plan`, and the control sheets beside the program.
Files files_with_plan() {
  Files files = example_files({".machine.toml"});
  files[control_sheet_on_disk] = slurp(std::string(PIVOTRACE_SOURCE_DIR) + "/routines/ngc.toml");
  CrashDisk disk = disk_with(files);
  REQUIRE(
      run_verb({"plan", machine, "--stations", "3", "-o", "/shop/a.plan.toml"}, {}, disk).code ==
      0);
  return contents(disk);
}

}  // namespace

TEST_CASE("a disk that fails: check") {
  walk({"check", machine, touches}, example_files({".machine.toml", ".touches.csv"}));
}

TEST_CASE("a disk that fails: plan") {
  walk({"plan", machine, "--stations", "3", "-o", "/shop/a.plan.toml", "--drawing", "/shop/a.svg"},
       example_files({".machine.toml"}));
}

TEST_CASE("a disk that fails: check a plan, which names its machine file") {
  walk({"check", "/shop/a.plan.toml"}, files_with_plan());
}

TEST_CASE("a disk that fails: cycle and rehearse") {
  Files files = files_with_plan();
  const std::vector<std::string> cycle = {
      "cycle",   "/shop/a.plan.toml", "--control",        "ngc",           "-o", "/shop/a.ngc",
      "--sheet", "/shop/a.html",      "--parameter-rows", "/shop/rows.txt"};
  walk(cycle, files);
  CrashDisk disk = disk_with(files);
  REQUIRE(run_verb(cycle, {}, disk).code == 0);
  walk({"rehearse", "/shop/a.ngc", "--machine", machine, "--plan", "/shop/a.plan.toml", "--control",
        "ngc", "-o", "/shop/a.var"},
       contents(disk));
}

TEST_CASE("a disk that fails: fit") {
  const int calls = walk({"fit", machine, touches, "-o", result},
                         example_files({".machine.toml", ".touches.csv"}));
  CHECK(calls > 12);  // both inputs and the output go this way
}

TEST_CASE("a disk that fails: judge and shim") {
  // The demo is neither within all of its limits nor upright: exit code 1.
  walk({"judge", result, "--limits", "/shop/fourth-axis.limits.toml", "-o", "/shop/judged.txt"},
       files_with_result({".limits.toml"}), 1);
  walk({"shim", result, "--feet", "/shop/fourth-axis.feet.toml", "-o", "/shop/shim.txt"},
       files_with_result({".feet.toml"}), 1);
}

TEST_CASE("a disk that fails: report") {
  walk({"report", result, "--limits", "/shop/fourth-axis.limits.toml", "-o", "/shop/report.html"},
       files_with_result({".limits.toml"}), 1);
}

TEST_CASE("a disk that fails: reseat") {
  walk({"reseat", result, "--offset", "-310", "-200.5", "-180.25", "--taught-at", "A=0", "--at",
        "A=0..270/90", "--machine", "/shop/fourth-axis.machine.toml", "-o", "/shop/offsets.txt"},
       files_with_result({".machine.toml"}));
}

TEST_CASE("a disk that fails: write") {
  walk({"write", result, "--form", "csv", "-o", "/shop/values.csv"}, files_with_result());
  walk({"write", result, "--template", "/shop/fourth-axis.sheet.template", "-o", "/shop/sheet.txt"},
       files_with_result({".sheet.template"}));
  const Files files = files_with_result({".post.txt", ".mapping.toml"});
  const std::vector<std::string> mapped = {"--mapping", "/shop/fourth-axis.mapping.toml"};
  std::vector<std::string> patch = {"write", result, "--patch", "/shop/fourth-axis.post.txt",
                                    "--apply"};
  patch.insert(patch.end(), mapped.begin(), mapped.end());
  walk(patch, files);
  CrashDisk disk = disk_with(files);
  REQUIRE(run_verb(patch, {}, disk).code == 0);
  std::vector<std::string> verify = {"write", result, "--verify", "/shop/fourth-axis.post.txt"};
  verify.insert(verify.end(), mapped.begin(), mapped.end());
  walk(verify, contents(disk));
}
