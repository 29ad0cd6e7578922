// The real program, really killed: at every system call from the first one that can change a file
// until it ends. What stands on the disk then is wholly old or wholly new, and the backup is whole.
#include <doctest/doctest.h>
#include <fcntl.h>
#include <sys/ptrace.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <cstdlib>

#include "app/demo_folder.h"

using namespace pivotrace;
using namespace pivotrace::testing;
namespace fs = std::filesystem;

namespace {

enum class Ended { killed, by_itself, cannot_watch };

/// Becomes the program, watched by its parent.
[[noreturn]] void become_watched(const std::vector<std::string>& words) {
  constexpr int cannot_watch = 254;
  const int nowhere = ::open("/dev/null", O_RDWR);
  ::dup2(nowhere, STDOUT_FILENO);
  ::dup2(nowhere, STDERR_FILENO);
  // A leak check traces too, and there can be only one who traces.
  ::setenv("ASAN_OPTIONS", "detect_leaks=0", 1);
  if (::ptrace(PTRACE_TRACEME, 0, nullptr, nullptr) != 0) ::_exit(cannot_watch);
  std::vector<char*> arguments = {const_cast<char*>("pivotrace")};
  for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
  arguments.push_back(nullptr);
  ::execv(PIVOTRACE_PROGRAM, arguments.data());
  ::_exit(cannot_watch);
}

/// True when the call about to be made opens a file that it may create.
bool makes_a_file(pid_t child) {
  struct __ptrace_syscall_info info {};
  if (::ptrace(static_cast<__ptrace_request>(PTRACE_GET_SYSCALL_INFO), child, sizeof info, &info) <=
      0) {
    return false;
  }
  return info.op == PTRACE_SYSCALL_INFO_ENTRY && info.entry.nr == SYS_openat &&
         (info.entry.args[2] & O_CREAT) != 0;
}

/// Runs the program and kills it when it is about to make its n-th system call, counted from 0 at
/// the first one that makes a file.
Ended run_and_kill(const std::vector<std::string>& words, int n) {
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) become_watched(words);
  int status = 0;
  REQUIRE(::waitpid(child, &status, 0) == child);
  if (!WIFSTOPPED(status)) return Ended::cannot_watch;
  REQUIRE(::ptrace(PTRACE_SETOPTIONS, child, nullptr, PTRACE_O_TRACESYSGOOD | PTRACE_O_EXITKILL) ==
          0);
  constexpr int system_call_stop = SIGTRAP | 0x80;
  int calls = -1;
  bool entering = true;
  for (;;) {
    REQUIRE(::ptrace(PTRACE_SYSCALL, child, nullptr, nullptr) == 0);
    REQUIRE(::waitpid(child, &status, 0) == child);
    if (WIFEXITED(status) || WIFSIGNALED(status)) {
      CHECK(WIFEXITED(status));
      CHECK(WEXITSTATUS(status) == 0);
      return Ended::by_itself;
    }
    if (WSTOPSIG(status) != system_call_stop) continue;
    if (entering && (calls >= 0 || makes_a_file(child)) && ++calls == n) {
      ::kill(child, SIGKILL);
      REQUIRE(::waitpid(child, &status, 0) == child);
      return Ended::killed;
    }
    entering = !entering;
  }
}

}  // namespace

TEST_CASE("program: killed at every system call of --apply, the file is wholly old or wholly new") {
  const Demo demo;
  const std::string before = slurp(demo.post);
  REQUIRE(demo.patch({"--apply"}).code == 0);
  const std::string after = slurp(demo.post);
  REQUIRE(after != before);
  int left_old = 0;
  int left_new = 0;
  for (int n = 0;; ++n) {
    CAPTURE(n);
    for (const std::string& other : demo.others()) fs::remove(demo.folder / other);
    spill(demo.post, before);
    const Ended ended = run_and_kill(demo.patch_words({"--apply"}), n);
    if (ended == Ended::cannot_watch) {
      MESSAGE("SKIPPED: this system does not let a program be traced");
      return;
    }
    const std::string now = slurp(demo.post);
    REQUIRE((now == before || now == after));
    (now == before ? left_old : left_new)++;
    int backups = 0;
    for (const std::string& other : demo.others()) {
      if (!other.ends_with(".bak")) continue;
      ++backups;
      CHECK(slurp(demo.folder / other) == before);
    }
    if (now == after) CHECK(backups == 1);
    // The next run gets there from whatever was left, and knows whether it is there already.
    const Screen again = demo.patch({"--apply"});
    CHECK_MESSAGE(again.code == (now == before ? 0 : 1), again.err);
    if (now == after) CHECK(says(again.err, "P505"));
    CHECK(slurp(demo.post) == after);
    if (ended == Ended::by_itself) break;
  }
  MESSAGE("killed at " << left_old + left_new - 1 << " calls: " << left_old << " times old, "
                       << left_new << " times new");
  CHECK(left_old > 20);
  CHECK(left_new > 5);
}
