#include <doctest/doctest.h>

#include "golden/compare.h"

using namespace pivotrace::golden;

namespace {

bool same(std::string_view was, std::string_view is) { return !line_difference(was, is); }

bool same_both_ways(std::string_view was, std::string_view is) {
  const bool there = same(was, is);
  CHECK(there == same(is, was));
  return there;
}

}  // namespace

TEST_CASE("words must be equal, blanks and letter case too") {
  CHECK(same("USABLE: yes", "USABLE: yes"));
  CHECK_FALSE(same_both_ways("USABLE: yes", "USABLE: no"));
  CHECK_FALSE(same_both_ways("G1 X1.5", "G0 X1.5"));
  CHECK_FALSE(same_both_ways("X 1.5", "X  1.5"));
  CHECK_FALSE(same_both_ways("x1.5", "X1.5"));
  CHECK_FALSE(same_both_ways("X1.5 mm", "X1.5"));
  CHECK_FALSE(same_both_ways("X1.5 2.5", "X1.5"));
  CHECK_FALSE(same_both_ways("", "X"));
}

TEST_CASE("a number may be off by 1e-9 of itself, or by 1e-9 when it is small") {
  CHECK(same_both_ways("Y-199.912472390", "Y-199.912472391"));
  CHECK_FALSE(same_both_ways("Y-199.91247", "Y-199.91248"));
  CHECK(same_both_ways("1000.0000000001", "1000.0"));
  CHECK(same_both_ways("123456.0", "123456.0001"));
  CHECK_FALSE(same_both_ways("123456.0", "123456.0002"));
  CHECK(same_both_ways("0.5", "0.500000000999"));
  CHECK_FALSE(same_both_ways("0.5", "0.500000001001"));
  CHECK(same_both_ways("3e-15", "-2.5e-13"));
}

TEST_CASE("1e-8 relative fails, 1e-12 relative passes") {
  CHECK_FALSE(same_both_ways("a 300.0 b", "a 300.000003 b"));
  CHECK(same_both_ways("a 300.0 b", "a 300.0000000003 b"));
  CHECK_FALSE(same_both_ways("1.0", "1.00000001"));
  CHECK(same_both_ways("1.0", "1.000000000001"));
}

TEST_CASE("numbers inside words are numbers: codes, variables, exponents, signs") {
  CHECK(same_both_ways("X-12.3450000000Y2", "X-12.3450000001Y2"));
  CHECK_FALSE(same_both_ways("X-12.345", "X12.345"));
  CHECK_FALSE(same_both_ways("X-12.345", "X+12.345"));
  CHECK_FALSE(same_both_ways("#101=1.0", "#102=1.0"));
  CHECK(same_both_ways("1.0000000000001e-05", "1e-05"));
  CHECK(same_both_ways("[1,-2.00000000000001,3]", "[1,-2,3]"));
  CHECK_FALSE(same_both_ways("1e-05", "1e-04"));
  CHECK_FALSE(same_both_ways("+-6.2", "+6.2"));
  CHECK_FALSE(same_both_ways("1.0e5", "1.0 e5"));
}

TEST_CASE("whole numbers must be equal, however large") {
  CHECK_FALSE(same_both_ways("60 touches", "61 touches"));
  CHECK_FALSE(same_both_ways("5000000000", "5000000001"));
  CHECK_FALSE(same_both_ways("2026-03-02", "2026-03-03"));
  CHECK_FALSE(same_both_ways("P101", "P102"));
  // JSON writes 300.0 as 300: only the other one shows that it is not a count.
  CHECK(same_both_ways("[300]", "[299.99999999999994]"));
}

TEST_CASE("the same number spelled otherwise is seen, but for the sign of zero") {
  CHECK_FALSE(same_both_ways("1.50", "1.5"));
  CHECK_FALSE(same_both_ways("007", "7"));
  CHECK_FALSE(same_both_ways("+1.5", "1.5"));
  CHECK_FALSE(same_both_ways("1e-05", "1e-5"));
  CHECK(same_both_ways("-0.0000", "+0.0000"));
  CHECK(same_both_ways("-0.0", "0.0"));
  CHECK(same_both_ways("-0", "0"));
  CHECK_FALSE(same_both_ways("-0.00", "0.0"));
}

TEST_CASE("nan and inf are words") {
  CHECK(same("nan", "nan"));
  CHECK(same("-inf", "-inf"));
  CHECK_FALSE(same_both_ways("nan", "1.0"));
  CHECK_FALSE(same_both_ways("nan", "inf"));
  CHECK_FALSE(same_both_ways("inf", "-inf"));
  CHECK_FALSE(same_both_ways("1e999", "1e998"));
}

TEST_CASE("a line that came or went is one change and does not shift the others") {
  const std::string text = "one 1.0\ntwo 2.0\nthree 3.0\nfour 4.0\n";
  CHECK(compare_texts(text, text).empty());
  CHECK(compare_texts(text, "one 1.0000000000001\ntwo 2.0\nthree 3.0\nfour 4.0\n").empty());

  const auto went = compare_texts(text, "one 1.0\nthree 3.0\nfour 4.0\n");
  REQUIRE(went.size() == 1);
  CHECK(went[0].old_number == 2);
  CHECK(went[0].new_number == 0);
  CHECK(went[0].old_line == "two 2.0");

  const auto came = compare_texts(text, text + "five 5.0\n");
  REQUIRE(came.size() == 1);
  CHECK(came[0].old_number == 0);
  CHECK(came[0].new_number == 5);
  CHECK(came[0].new_line == "five 5.0");

  const auto changed = compare_texts(text, "zero 0\none 1.0\ntwo 2.5\nthree 3.0\nfive 4.0\n");
  REQUIRE(changed.size() == 3);
  CHECK(changed[0].new_line == "zero 0");
  CHECK(changed[1].why == "2.0 became 2.5: off by 0.5, allowed 2e-09");
  CHECK(changed[2].old_line == "four 4.0");
  CHECK(changed[2].new_line == "five 4.0");

  CHECK(compare_texts("", "one\n").size() == 1);
  CHECK(compare_texts("one\n", "").size() == 1);
}

TEST_CASE("two long texts that differ all over are still compared line against line") {
  std::string was;
  std::string is;
  for (int k = 0; k < 3000; ++k) {
    was += "N" + std::to_string(k) + " old\n";
    is += "N" + std::to_string(k) + " new\n";
  }
  CHECK(compare_texts(was, is).size() == 3000);
  CHECK(compare_texts(was, is + "more\n").size() == 3001);
}

TEST_CASE("the report names line, old and new, and counts what it leaves out") {
  const std::string report = describe(compare_texts("a 1\nb 2\nc 3\n", "a 1\nb 3\nc 4\n"), 1);
  CHECK(report ==
        "  line 2: 2 became 3: whole numbers must be equal\n"
        "    old | b 2\n"
        "    new | b 3\n"
        "  and 1 more lines\n");
}
