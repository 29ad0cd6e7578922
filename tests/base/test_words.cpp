#include <doctest/doctest.h>
#include <rapidcheck.h>

#include "base/problem_list.h"
#include "base/utf8.h"
#include "base/words.h"
#include "base/wrapped_text.h"

using namespace pivotrace;

TEST_CASE("edit distance of known pairs") {
  // kitten/sitting = 3: the worked example of the method found in most textbooks.
  CHECK(edit_distance("kitten", "sitting") == 3);
  CHECK(edit_distance("centre", "center") == 1);  // a swap of neighbours counts once
  CHECK(edit_distance("Along", "along") == 0);
  CHECK(edit_distance("", "abc") == 3);
}

TEST_CASE(
    "edit distance is a distance: nothing to itself, the same both ways, at most the longer") {
  CHECK(rc::check([](const std::string& a, const std::string& b) {
    const std::size_t distance = edit_distance(a, b);
    RC_ASSERT(distance == edit_distance(b, a));
    RC_ASSERT(edit_distance(a, a) == 0U);
    RC_ASSERT(distance <= std::max(a.size(), b.size()));
    RC_ASSERT(distance + std::min(a.size(), b.size()) >= std::max(a.size(), b.size()));
  }));
}

TEST_CASE("near misses are suggested, far ones are not") {
  const std::vector<std::string> keys = {"stylus_diameter", "stylus_length", "touch_sigma", "X"};
  CHECK(nearest_word("stylus_diametre", keys) == "stylus_diameter");
  CHECK(nearest_word("stylus_dia", keys) == "stylus_diameter");
  CHECK(nearest_word("x", keys) == "X");
  CHECK_FALSE(nearest_word("Y", keys));
  CHECK_FALSE(nearest_word("colour", keys));
  CHECK_FALSE(nearest_word(std::string(1000000, 'q'), keys));
}

TEST_CASE("the nearest words come first, equals in the order they stand in") {
  const std::vector<std::string> names = {"A.centre.Y", "A.centre.Z", "C.centre.Y", "A.zero"};
  CHECK(nearest_words("A.center.Z", names, 2) ==
        std::vector<std::string>{"A.centre.Z", "A.centre.Y"});
  CHECK(nearest_words("A.centre.X", names, 3) ==
        std::vector<std::string>{"A.centre.Y", "A.centre.Z", "C.centre.Y"});
  CHECK(nearest_words("anything", {}, 3).empty());
}

TEST_CASE("a code point written is one character, and well formed") {
  CHECK(rc::check([] {
    const auto character = *rc::gen::inRange<std::uint32_t>(1, 0x110000);
    RC_PRE(character < 0xD800 || character > 0xDFFF);
    std::string text;
    append_utf8(text, character);
    RC_ASSERT(utf8_length(text, 0) == text.size());
    RC_ASSERT(character_count(text) == 1U);
  }));
  std::string text;
  append_utf8(text, U'\u20AC');
  CHECK(text == "\xE2\x82\xAC");  // the euro sign, RFC 3629's way; value from memory
}

TEST_CASE("wrapped lines fit the screen, whatever the letters") {
  std::string words;
  for (int i = 0; i < 60; ++i) words += "\xC3\xBC\xC3\xBC\xC3\xBC\xC3\xBC ";
  const std::string text = wrapped(words, "note: ", 6);
  std::size_t begin = 0;
  std::size_t longest = 0;
  for (std::size_t end = text.find('\n'); end != std::string::npos; end = text.find('\n', begin)) {
    longest = std::max(longest, character_count(text.substr(begin, end - begin)));
    begin = end + 1;
  }
  CHECK(longest <= screen_columns);
  CHECK(longest > screen_columns - 5);
}

TEST_CASE("places count characters, and lines however they end") {
  CHECK(place_of("ab\ncd", 4).line == 2);
  CHECK(place_of("ab\ncd", 4).column == 2);
  CHECK(place_of("ab\r\ncd\re", 7).line == 3);
  CHECK(place_of("ab\r\ncd\re", 7).column == 1);
  CHECK(place_of("\xC3\xA9x", 2).column == 2);  // e acute is one character in two bytes
  CHECK(place_of("a", 99).column == 2);
}

TEST_CASE("bytes that cannot stand in a text file are found") {
  CHECK_FALSE(first_bad_byte("plain text\r\n\tand tabs, and more"));
  CHECK_FALSE(first_bad_byte("caf\xC3\xA9 \xE2\x88\x92 \xF0\x9F\x94\xA7"));
  CHECK(first_bad_byte(std::string("0123456789\0", 11)) == 10U);
  CHECK(first_bad_byte("20 \xB0"
                       "C") == 3U);                  // Latin-1 degree sign
  CHECK(first_bad_byte("\xC0\xAF") == 0U);           // overlong
  CHECK(first_bad_byte("ok \xED\xA0\x80") == 3U);    // surrogate half
  CHECK(first_bad_byte("12345678 \xE2\x88") == 9U);  // cut off
}

TEST_CASE("excerpts stay short and visible") {
  CHECK(excerpt("12,5\n") == "12,5\\x0A");
  CHECK(excerpt(std::string(1000, 'x')).size() == 43);
}

TEST_CASE("problems are sorted, and after fifty only counted") {
  ProblemList list("f.csv");
  for (int line = 3000; line > 0; --line) {
    list.add(ProblemNumber::wrong_type, line % 1000 + 1, 1, "no number", "write one");
  }
  const Problems problems = list.as_failure().value();
  REQUIRE(problems.size() == 51);
  CHECK(problems[0].where.line == 1);
  CHECK(problems[50].what == "and 2950 more problems in this file");
}
