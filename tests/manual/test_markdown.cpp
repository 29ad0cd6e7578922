#include <doctest/doctest.h>

#include "pivotrace/manual/markdown.h"
#include "pivotrace/manual/writers.h"

using namespace pivotrace::manual;

TEST_CASE("blocks of every kind, and what stands inside a list") {
  const auto blocks = parse_markdown(
      "# Title\n\ntwo\nlines\n\n- a\n- b\n\n1. one\n\n   ```\n   code | * `\n   ```\n2. two\n\n"
      "| h | i |\n| --- | --- |\n| a `|` b | c |\n");
  REQUIRE(blocks.size() == 5);
  CHECK(blocks[0].kind == BlockKind::heading);
  CHECK(plain(blocks[1].text) == "two lines");
  CHECK(blocks[2].items.size() == 2);
  REQUIRE(blocks[3].items.size() == 2);
  REQUIRE(blocks[3].items[0].size() == 2);
  CHECK(blocks[3].items[0][1].code == "code | * `\n");
  REQUIRE(blocks[4].rows.size() == 2);
  CHECK(plain(blocks[4].rows[1][0]) == "a | b");
}

TEST_CASE("looks of text, also one in another, and stars that are none") {
  const auto text = parse_markdown("**bold `code`** and *so* 2 * 3 [to](files.md)").front().text;
  CHECK(plain(text) == "bold code and so 2 * 3 to");
  CHECK(text[0].strong);
  CHECK((text[1].strong && text[1].code));
  CHECK(text[3].emphasis);
  CHECK(text.back().target == "files.md");
}

TEST_CASE("a screen shows no marks, keeps to 100 columns and says what to type for a link") {
  const std::string text = screen_text(
      "# Title\n\nSee **the** [files](files.md) and `code` once more and again until the line is "
      "so long that it must be broken somewhere.\n\n- first\n- second\n");
  CHECK(text.find("Title\n=====\n") == 0);
  CHECK(text.find("files (pivotrace help files)") != std::string::npos);
  CHECK(text.find("**") == std::string::npos);
  CHECK(text.find("- first\n- second\n") != std::string::npos);
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t end = text.find('\n', from);
    CHECK(end - from <= 100);
    from = end + 1;
  }
}

TEST_CASE("a man page guards what its formatter would take for commands (groff_man(7))") {
  const std::string page =
      man_page("# t\n\n.start \\here --now\n\n```\n'quote\n```\n", {"n", 7, "1"});
  CHECK(page.find("\\&.start \\ehere \\-\\-now") != std::string::npos);
  CHECK(page.find("\n\\&'quote\n") != std::string::npos);
}

TEST_CASE("HTML is escaped, and a link leads inside the book") {
  const std::string book = html_book(
      {{"A & B", {{"one", "# <One>\n\n[two](two.md) `a<b`\n"}, {"two", "# Two\n"}}}}, "1.2");
  CHECK(book.find("<h2>A &amp; B</h2>") != std::string::npos);
  CHECK(book.find("&lt;One&gt;") != std::string::npos);
  CHECK(book.find("<a href=\"#two\">two</a> <code>a&lt;b</code>") != std::string::npos);
  CHECK(book.find("version 1.2") != std::string::npos);
}
