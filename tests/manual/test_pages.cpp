// The pages as they are: links that lead somewhere, options and commands that exist, man pages that a
// formatter takes without complaint.
#include <doctest/doctest.h>

#include <CLI/CLI.hpp>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <functional>
#include <iostream>
#include <regex>
#include <set>
#include <sstream>

#include "app/verb_pages.h"
#include "app/verbs.h"
#include "pivotrace/manual/markdown.h"
#include "pivotrace/manual/pages.h"
#include "pivotrace/manual/writers.h"

namespace fs = std::filesystem;
using namespace pivotrace;
using namespace pivotrace::manual;

namespace {

/// The command line, never run.
struct CommandLine {
  std::ostringstream out;
  std::ostringstream err;
  app::Console console{out, err};
  app::VerbAction action;
  CLI::App program{"pivotrace"};

  CommandLine() { app::add_all_verbs(program, console, action); }

  std::set<std::string> options() const {
    std::set<std::string> all = {"--help", "--version"};
    for (const CLI::App* verb : program.get_subcommands({})) {
      for (const CLI::Option* option : verb->get_options()) {
        for (const std::string& name : option->get_lnames()) all.insert("--" + name);
      }
    }
    return all;
  }

  std::set<std::string> verbs() const {
    std::set<std::string> all;
    for (const CLI::App* verb : program.get_subcommands({})) all.insert(verb->get_name());
    return all;
  }
};

void every_span(const std::vector<Block>& blocks, const std::function<void(const Span&)>& look) {
  for (const Block& block : blocks) {
    for (const Span& span : block.text) look(span);
    for (const auto& item : block.items) every_span(item, look);
    for (const auto& row : block.rows) {
      for (const Inline& cell : row) {
        for (const Span& span : cell) look(span);
      }
    }
  }
}

void every_span(const std::function<void(const ManualPage&, const Span&)>& look) {
  for (const Chapter& chapter : chapters()) {
    for (const ManualPage& page : chapter.pages) {
      every_span(parse_markdown(page.markdown), [&](const Span& span) { look(page, span); });
    }
  }
}

std::string text_of(const fs::path& file) {
  std::ifstream stream(file);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

}  // namespace

TEST_CASE("every page of the folder is in the book, and begins with its title") {
  std::set<std::string> in_folder;
  for (const auto& entry : fs::directory_iterator(fs::path(PIVOTRACE_SOURCE_DIR) / "src/manual")) {
    if (entry.path().extension() == ".md") in_folder.insert(entry.path().stem().string());
  }
  const auto listed = topics();
  CHECK(std::set<std::string>(listed.begin(), listed.end()) == in_folder);
  for (const std::string& topic : listed) {
    CAPTURE(topic);
    CHECK(find_page(topic)->markdown.starts_with("# "));
  }
}

TEST_CASE("every link between pages leads to a page, every other one to a file of the project") {
  every_span([](const ManualPage& page, const Span& span) {
    if (span.target.empty() || span.target.starts_with("http")) return;
    CAPTURE(page.topic);
    CAPTURE(span.target);
    CHECK(fs::exists(fs::path(PIVOTRACE_SOURCE_DIR) / "src/manual" /
                     span.target.substr(0, span.target.find('#'))));
  });
  every_span(parse_markdown(text_of(fs::path(PIVOTRACE_SOURCE_DIR) / "README.md")),
             [](const Span& span) {
               if (span.target.empty()) return;
               CAPTURE(span.target);
               CHECK(fs::exists(fs::path(PIVOTRACE_SOURCE_DIR) / span.target));
             });
}

TEST_CASE("a file that a page shows is named in the words above it, on every medium") {
  static const std::regex shown("```[a-z]+ file (\\S+)");
  for (const Chapter& chapter : chapters()) {
    for (const ManualPage& page : chapter.pages) {
      const std::string text(page.markdown);
      for (std::sregex_iterator one(text.begin(), text.end(), shown), none; one != none; ++one) {
        CAPTURE(page.topic);
        CAPTURE((*one)[1].str());
        const std::string above = text.substr(0, static_cast<std::size_t>(one->position()));
        CHECK(above.find('`' + (*one)[1].str() + '`') != std::string::npos);
      }
    }
  }
}

TEST_CASE("every option and command that a page names exists") {
  const CommandLine line;
  const auto options = line.options();
  const auto verbs = line.verbs();
  static const std::regex option(R"((^| )(--[a-z0-9-]+))");
  static const std::regex command(R"(^pivotrace ([a-z]+))");
  every_span([&](const ManualPage& page, const Span& span) {
    if (!span.code || page.topic == "embedded") return;  // that one names options of a compiler
    CAPTURE(page.topic);
    CAPTURE(span.text);
    for (std::sregex_iterator one(span.text.begin(), span.text.end(), option), none; one != none;
         ++one) {
      CHECK(options.contains((*one)[2].str()));
    }
    std::smatch found;
    if (std::regex_search(span.text, found, command)) CHECK(verbs.contains(found[1].str()));
  });
}

TEST_CASE(
    "every link inside the book leads to a place in it, and it asks for nothing from outside") {
  const CommandLine line;
  const std::string book = html_book(app::book_of(line.program), "1");
  static const std::regex link("href=\"([^\"]*)\"");
  int links = 0;
  for (std::sregex_iterator one(book.begin(), book.end(), link), none; one != none; ++one) {
    const std::string target = (*one)[1].str();
    CAPTURE(target);
    REQUIRE(target.starts_with("#"));
    CHECK(book.find("id=\"" + target.substr(1) + "\"") != std::string::npos);
    ++links;
  }
  CHECK(links > 40);
  for (const char* outside : {"<script", "src=", "@import", "url(", "<link"}) {
    CAPTURE(outside);
    CHECK(book.find(outside) == std::string::npos);
  }
}

TEST_CASE("the page of a verb lists every option of the command line") {
  const CommandLine line;
  for (const CLI::App* verb : line.program.get_subcommands({})) {
    const std::string page = app::verb_page(*verb);
    for (const CLI::Option* option : verb->get_options()) {
      CAPTURE(option->get_name());
      CHECK(page.find(option->get_name(option->get_positional(), true)) != std::string::npos);
    }
  }
}

TEST_CASE("the formatter of man pages has nothing to complain of") {
  if (std::system("groff --version >/dev/null 2>&1") != 0) {
    std::cout << "SKIPPED: groff is not installed\n";
    return;
  }
  const CommandLine line;
  const fs::path folder = fs::temp_directory_path() / "pivotrace-man-pages";
  fs::create_directories(folder);
  const auto lint = [&](const std::string& name, const std::string& page) {
    CAPTURE(name);
    std::ofstream(folder / "page") << page;
    const std::string complaints = (folder / "complaints").string();
    const std::string command = "groff -K utf8 -ww -man -Tutf8 -z '" + (folder / "page").string() +
                                "' 2>'" + complaints + "'";
    CHECK(std::system(command.c_str()) == 0);
    CHECK(text_of(complaints) == "");
  };
  for (const Chapter& chapter : chapters()) {
    for (const ManualPage& page : chapter.pages) {
      lint(page.topic, man_page(page.markdown, {"pivotrace-" + page.topic, 7, "1"}));
    }
  }
  for (const CLI::App* verb : line.program.get_subcommands({})) {
    lint(verb->get_name(), man_page(app::verb_page(*verb), {verb->get_name(), 1, "1"}));
  }
  fs::remove_all(folder);
}
