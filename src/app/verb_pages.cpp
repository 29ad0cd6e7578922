#include "app/verb_pages.h"

#include <fmt/format.h>

namespace pivotrace::app {

namespace {

/// "|" would end a cell of a table.
std::string cell(const std::string& text) {
  std::string safe;
  for (const char c : text) safe += c == '|' ? "/" : c == '\n' ? " " : std::string{c};
  return safe;
}

std::string option_row(const CLI::Option& option) {
  const std::string type = option.get_type_size() == 0 ? "" : " " + option.get_type_name();
  std::string what = option.get_description();
  if (option.get_required()) what += " (required)";
  if (!option.get_default_str().empty()) what += "; " + option.get_default_str() + " if absent";
  for (const CLI::Option* other : option.get_excludes()) what += "; not with " + other->get_name();
  for (const CLI::Option* other : option.get_needs()) what += "; needs " + other->get_name();
  return fmt::format("| `{}` | {} |\n", cell(option.get_name(false, true) + type), cell(what));
}

std::string options_table(const CLI::App& verb) {
  std::string table;
  for (const CLI::Option* option : verb.get_options()) {
    if (!option->get_positional()) table += option_row(*option);
  }
  return table.empty() ? "" : "## Options\n\n| option | meaning |\n| --- | --- |\n" + table + "\n";
}

std::string files_table(const CLI::App& verb) {
  std::string table;
  for (const CLI::Option* option : verb.get_options()) {
    if (!option->get_positional()) continue;
    table +=
        fmt::format("| `{}` | {} |\n", option->get_name(true), cell(option->get_description()));
  }
  return table.empty() ? "" : "## Files\n\n| file | meaning |\n| --- | --- |\n" + table + "\n";
}

std::string usage_words(const CLI::App& verb) {
  std::string words = "pivotrace " + verb.get_name();
  for (const CLI::Option* option : verb.get_options()) {
    if (!option->get_positional()) continue;
    const std::string more = option->get_expected_max() > 1 ? "..." : "";
    const std::string name = option->get_name(true) + more;
    words += option->get_required() ? " " + name : " [" + name + "]";
  }
  return words + " [OPTIONS]";
}

}  // namespace

std::string verb_page(const CLI::App& verb) {
  return fmt::format("# {}\n\n## Usage\n\n```\n{}\n```\n\n{}{}## Example\n\n```\n{}\n```\n",
                     verb.get_description(), usage_words(verb), files_table(verb),
                     options_table(verb), verb.get_footer());
}

std::string program_page(const CLI::App& program) {
  std::string page = "# find where a rotary axis is, and write the pivot values\n\n" +
                     program.get_description() +
                     "\n\n## Commands\n\n| command | what it does |\n| --- | --- |\n";
  for (const CLI::App* verb : program.get_subcommands({})) {
    page += fmt::format("| `pivotrace {}` | {} |\n", verb->get_name(), verb->get_description());
  }
  return page + "\n## A session\n\n```\n" + program.get_footer() + "\n```\n";
}

std::vector<manual::Chapter> book_of(const CLI::App& program) {
  std::vector<manual::Chapter> book = manual::chapters();
  manual::Chapter commands{"Commands", {}};
  for (const CLI::App* verb : program.get_subcommands({})) {
    // A page of the manual may have the name of a verb: `write` is a job and a command.
    std::string page = verb_page(*verb);
    page.replace(0, 2, "# " + verb->get_name() + ": ");
    commands.pages.push_back({"command-" + verb->get_name(), std::move(page)});
  }
  book.push_back(std::move(commands));
  return book;
}

}  // namespace pivotrace::app
