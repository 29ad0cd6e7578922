// A long search in the real program: its progress on a terminal, and Ctrl-C.
#include <doctest/doctest.h>
#include <fcntl.h>
#include <pty.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <string>
#include <vector>

#include "app/demo_folder.h"
#include "formats/scratch_folder.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

/// The program with its messages on a terminal of its own; its sheet goes nowhere, its plan to a file.
struct LongSearch {
  pid_t process = -1;
  int terminal = -1;

  explicit LongSearch(const std::string& plan_file) {
    int theirs = -1;
    REQUIRE(::openpty(&terminal, &theirs, nullptr, nullptr, nullptr) == 0);
    process = ::fork();
    REQUIRE(process >= 0);
    if (process == 0) {
      ::dup2(theirs, STDERR_FILENO);
      ::dup2(::open("/dev/null", O_RDWR), STDOUT_FILENO);
      const std::string machine =
          std::string(PIVOTRACE_SOURCE_DIR) + "/examples/fourth-axis.machine.toml";
      ::execl(PIVOTRACE_PROGRAM, "pivotrace", "plan", machine.c_str(), "--minutes", "55", "-o",
              plan_file.c_str(), nullptr);
      ::_exit(254);
    }
    ::close(theirs);
  }

  /// Reads on until it says so; what was read, or all of it where it ends before.
  std::string read_until(const std::string& words) {
    std::string said;
    char buffer[256];
    while (said.find(words) == std::string::npos) {
      const ssize_t count = ::read(terminal, buffer, sizeof buffer);
      if (count <= 0) break;
      said.append(buffer, static_cast<std::size_t>(count));
    }
    return said;
  }

  int exit_code() {
    read_until("no such words");
    int status = 0;
    REQUIRE(::waitpid(process, &status, 0) == process);
    ::close(terminal);
    return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  }
};

}  // namespace

TEST_CASE(
    "program: a long search shows how far it is, and Ctrl-C ends it with the best plan so far") {
  const test::ScratchFolder folder;
  const std::string plan = folder.file("stopped.plan.toml");
  LongSearch search(plan);
  CHECK(says(search.read_until("planning"), "planning (Ctrl-C: the best so far)"));
  REQUIRE(::kill(search.process, SIGINT) == 0);
  CHECK(search.exit_code() == 0);
  const Screen checked = run_verb({"check", plan});
  CHECK_MESSAGE(checked.code == 0, checked.err);
  CHECK(says(checked.out, "The machine can run it"));
}
