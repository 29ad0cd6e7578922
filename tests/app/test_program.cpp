// The real program seen from outside: exit codes, help, version, lost output, and death at every
// system call while it writes.
#include <doctest/doctest.h>

#include "app/child.h"
#include "app/demo_folder.h"

using namespace pivotrace;
using namespace pivotrace::testing;

TEST_CASE("program: version and help, a worked example in each") {
  const ProgramScreen version = run_program({"--version"});
  CHECK(version.code == 0);
  CHECK(version.out.rfind("pivotrace ", 0) == 0);
  const ProgramScreen help = run_program({"--help"});
  CHECK(help.code == 0);
  for (const char* verb :
       {"check", "plan", "cycle", "rehearse", "fit", "write", "judge", "reseat", "shim"}) {
    CAPTURE(verb);
    CHECK(says(help.out, std::string("\n  ") + verb));
    const ProgramScreen page = run_program({verb, "--help"});
    CHECK(page.code == 0);
    CHECK(says(page.out, "Example"));
    CHECK(says(page.out, std::string("  pivotrace ") + verb + " "));
    CHECK(page.err.empty());
  }
}

TEST_CASE("program: nothing said, or nonsense, is a usage error that shows the way") {
  for (const std::vector<std::string>& words : {std::vector<std::string>{},
                                                {"measure"},
                                                {"fit"},
                                                {"fit", "--frob", "a", "b"},
                                                {"check"},
                                                {"write", "--list"}}) {
    const ProgramScreen screen = run_program(words);
    CHECK(screen.code == 2);
    CHECK(screen.out.empty());
    CHECK((says(screen.err, "--help") || says(screen.err, "type: pivotrace")));
  }
}

TEST_CASE("program: a result that cannot be shown is an error, not a silence") {
  const ProgramScreen screen =
      run_program({"check", example_path("fourth-axis.machine.toml")}, "/dev/full");
  CHECK(screen.code == 4);
  CHECK(says(screen.err, "P602"));
}
