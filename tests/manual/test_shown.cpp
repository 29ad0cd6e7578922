#include <doctest/doctest.h>

#include "manual/page.h"
#include "manual/shown.h"

using namespace pivotrace::manual;

namespace {

using Lines = std::vector<std::string>;

bool as_shown(const Lines& shown, const Lines& screen) {
  return compare_shown(shown, screen).differences.empty();
}

}  // namespace

TEST_CASE("three dots stand for any number of lines, none as well") {
  CHECK(as_shown({"...", "b", "..."}, {"a", "a", "b", "c"}));
  CHECK(as_shown({"a", "...", "b"}, {"a", "b"}));
  CHECK_FALSE(as_shown({"a", "..."}, {"b", "a"}));
  CHECK_FALSE(as_shown({"...", "b"}, {"a", "b", "c"}));
  CHECK_FALSE(as_shown({"a"}, {"a", "b"}));
  CHECK_FALSE(as_shown({"a", "b"}, {"a"}));
}

TEST_CASE("time stamps, hashes and the version of a run do not count, numbers do") {
  CHECK(as_shown({"made 2026-01-01T10:00:00Z by pivotrace 0.1.0"},
                 {"made 2027-02-03T04:05:06Z by pivotrace 0.2.0"}));
  CHECK_FALSE(as_shown({"Y -199.9125"}, {"Y -199.9126"}));
  CHECK_FALSE(as_shown({"2026-01-01"}, {"2026-01-02"}));
}

TEST_CASE("bringing a page up to date changes numbers, keeps the dots and what is the same") {
  const Lines shown = {
      "head 2026-01-01T10:00:00Z", "...", "  Y 1.5 mm", "  Z 2.5 mm", "...", "end"};
  const Lines screen = {
      "head 2027-01-01T10:00:00Z", "x", "y", "  Y 1.7 mm", "  Z 2.5 mm", "z", "end"};
  const Comparison done = compare_shown(shown, screen);
  CHECK(done.differences.size() == 1);
  CHECK(done.brought_up_to_date ==
        Lines{"head 2026-01-01T10:00:00Z", "...", "  Y 1.7 mm", "  Z 2.5 mm", "...", "end"});
  CHECK(as_shown(done.brought_up_to_date, screen));
}

TEST_CASE("a page gives its files and commands in order, and takes what they show") {
  const std::string text =
      "# t\n\n1. x\n\n   ```csv file a.csv\n   A,X\n   0,1\n   ```\n\n   ```text exit 2\n   $ one "
      "\\\n"
      "       two\n   shown\n\n   $ three\n   ```\n";
  const auto page = read_page(text);
  REQUIRE(page.has_value());
  REQUIRE(page->steps.size() == 3);
  CHECK(page->steps[0].content == "A,X\n0,1\n");
  CHECK(page->steps[1].command.text == "one \\\n    two\n");
  CHECK(page->steps[1].command.shown == Lines{"shown", ""});
  CHECK(page->steps[1].command.exit_code == 0);
  CHECK(page->steps[2].command.exit_code == 2);
  CHECK(with_shown(*page, {{"shown", ""}, {}}) == text);
  CHECK(
      with_shown(*page, {{"other"}, {"new"}}).find("       two\n   other\n   $ three\n   new\n") !=
      std::string::npos);
}

TEST_CASE("a command that would not be run, and a block without an end, are noticed") {
  CHECK(read_page("```\npivotrace fit a b\n```\n").error().find("line 2") == 0);
  CHECK(read_page("x\n```\n$ a\n").error().find("line 2") == 0);
}
