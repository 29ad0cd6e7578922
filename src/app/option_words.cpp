#include "app/option_words.h"

#include <algorithm>

#include "app/start.h"

namespace pivotrace::app {

std::vector<std::string> choices_of(const CLI::Option& option) {
  // "TEXT:{commissioning,check,crash}"
  const std::string text = option.get_type_name();
  const std::size_t open = text.find('{');
  const std::size_t close = text.find('}', open);
  std::vector<std::string> values;
  if (open == std::string::npos || close == std::string::npos) return values;
  for (std::size_t from = open + 1; from < close;) {
    const std::size_t comma = std::min(text.find(',', from), close);
    values.push_back(text.substr(from, comma - from));
    from = comma + 1;
  }
  return values;
}

NamedThing named_by(const CLI::Option& option) {
  // "FILE", "FOLDER|FILE", "FILE|SHEET", "LOG"; of a word without a type its own name says it
  const std::string type = option.get_type_name() + ' ' + option.get_name(true);
  const auto says = [&type](const char* word) { return type.find(word) != std::string::npos; };
  return {says("FILE") || says("LOG") || says("SHEET"), says("FOLDER"), says("SHEET")};
}

std::vector<std::string> names_of(const CLI::Option& option) {
  std::vector<std::string> names;
  for (const std::string& letter : option.get_snames()) names.push_back("-" + letter);
  for (const std::string& name : option.get_lnames()) names.push_back("--" + name);
  return names;
}

bool takes_word(const CLI::Option& option) { return option.get_items_expected_max() > 0; }

void accept_typed_names(CLI::App& verb) {
  for (CLI::Option* option : verb.get_options()) {
    const NamedThing thing = named_by(*option);
    if (!thing.file && !thing.folder) continue;
    option->transform(CLI::Validator(
        [](std::string& word) {
          word = portable_name(std::move(word));
          return std::string();
        },
        ""));
  }
}

namespace {

std::vector<std::string> names_of_all(const CLI::App& verb) {
  std::vector<std::string> names;
  for (const CLI::Option* option : verb.get_options()) {
    for (std::string& name : names_of(*option)) names.push_back(std::move(name));
  }
  return names;
}

/// What is wrong with `word`, nothing where it is no option's name.
std::string taken_for_a_word(const std::vector<std::string>& names, const std::string& word) {
  if (std::find(names.begin(), names.end(), word) == names.end()) return {};
  if (word == "--help" || word == "-h") throw CLI::CallForHelp();
  return "a word is missing before " + word + ", which is an option; a file of that name is ./" +
         word;
}

}  // namespace

void keep_options_apart(CLI::App& verb) {
  const std::vector<std::string> names = names_of_all(verb);
  for (CLI::Option* option : verb.get_options()) {
    if (!takes_word(*option)) continue;
    option->check(
        CLI::Validator([names](std::string& word) { return taken_for_a_word(names, word); }, ""));
  }
}

}  // namespace pivotrace::app
