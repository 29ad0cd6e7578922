#include "app/usage_advice.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "app/check.h"
#include "app/next_step.h"
#include "app/option_words.h"
#include "base/words.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/parameter_file.h"

namespace pivotrace::app {

namespace {

using Words = std::vector<std::string>;

std::string type(const Words& words) { return "; type: " + command_line(words); }

// --- what the command line refuses ----------------------------------------------------------------

Words verb_names(const CLI::App& program) {
  Words names;
  for (const CLI::App* verb : program.get_subcommands({})) names.push_back(verb->get_name());
  return names;
}

const CLI::App* verb_named(const CLI::App& program, const std::string& name) {
  for (const CLI::App* verb : program.get_subcommands({})) {
    if (verb->get_name() == name) return verb;
  }
  return nullptr;
}

std::string no_such_verb(const CLI::App& program, Words words) {
  const Words names = verb_names(program);
  if (words.empty()) {
    return "say what to do: " + joined(names) + "; see: pivotrace --help";
  }
  std::string what = fmt::format("there is no command \"{}\"", excerpt(words.front()));
  const auto near = nearest_word(words.front(), names);
  if (!near) return what + "; there are " + joined(names) + "; see: pivotrace --help";
  words.front() = *near;
  return what + type(words);
}

Words option_names(const CLI::App& verb) {
  Words names;
  for (const CLI::Option* option : verb.get_options()) {
    for (const std::string& name : option->get_lnames()) names.push_back("--" + name);
  }
  return names;
}

std::optional<std::string> option_misspelt(const CLI::App& verb, Words words) {
  const Words names = option_names(verb);
  for (std::string& word : words) {
    if (word.size() < 3 || !word.starts_with("--")) continue;
    const std::string name = word.substr(0, word.find('='));
    if (std::find(names.begin(), names.end(), name) != names.end()) continue;
    const std::string what = fmt::format("{} has no option {}", verb.get_name(), excerpt(name));
    const auto near = nearest_word(name, names);
    if (!near) return what + "; see: " + command_line({verb.get_name(), "--help"});
    word.replace(0, name.size(), *near);
    return what + type(words);
  }
  return std::nullopt;
}

/// One element of a list "a,b" that is none of the values is replaced by the nearest.
std::optional<std::string> value_misspelt(const CLI::Option& option, const std::string& name,
                                          Words& words, std::size_t at) {
  const Words values = choices_of(option);
  std::string& word = words[at];
  for (std::size_t from = 0; from <= word.size();) {
    const std::size_t comma = std::min(word.find(',', from), word.size());
    const std::string value = word.substr(from, comma - from);
    from = comma + 1;
    if (std::find(values.begin(), values.end(), value) != values.end()) continue;
    const std::string what =
        fmt::format("{} takes {}, not \"{}\"", name, joined(values), excerpt(value));
    const auto near = nearest_word(value, values);
    if (!near) return what;
    word.replace(comma - value.size(), value.size(), *near);
    return what + type(words);
  }
  return std::nullopt;
}

std::optional<std::string> value_misspelt(const CLI::App& verb, Words words) {
  for (const CLI::Option* option : verb.get_options()) {
    if (choices_of(*option).empty()) continue;
    for (const std::string& name : option->get_lnames()) {
      const auto at = std::find(words.begin(), words.end(), "--" + name);
      if (at == words.end() || at + 1 == words.end()) continue;
      const auto index = static_cast<std::size_t>(at - words.begin()) + 1;
      if (auto advice = value_misspelt(*option, "--" + name, words, index)) return advice;
    }
  }
  return std::nullopt;
}

/// The limits of a range that has no upper end are 300 digits long.
std::string without_range(const std::string& what) {
  const std::size_t at = what.find(" not in range ");
  if (at == std::string::npos || what.size() < 120) return what;
  return what.substr(0, at) + " is out of range";
}

// --- files of another kind ------------------------------------------------------------------------

/// What the verbs take under these names.
const std::map<std::string, std::string>& wanted_kinds() {
  static const std::map<std::string, std::string> kinds = {{"MACHINE", "machine file"},
                                                           {"--machine", "machine file"},
                                                           {"TOUCHES", "touch record"},
                                                           {"RESULT", "result"},
                                                           {"OLD", "result"},
                                                           {"--previous", "result"},
                                                           {"PLAN", "plan"},
                                                           {"--plan", "plan"},
                                                           {"--limits", "limits file"},
                                                           {"--truth", "truth file"},
                                                           {"--mapping", "mapping file"}};
  return kinds;
}

struct GivenFile {
  const CLI::Option* option = nullptr;
  std::string file;
  std::string wanted;
  std::string found;  ///< empty: none that is known
};

std::vector<GivenFile> given_files(const CLI::App& verb, FileCalls& disk) {
  std::vector<GivenFile> given;
  for (const CLI::Option* option : verb.get_options()) {
    const auto wanted = wanted_kinds().find(option->get_name(option->get_positional()));
    if (wanted == wanted_kinds().end() || option->results().size() != 1) continue;
    const std::string file = option->results().front();
    given.push_back({option, file, wanted->second, kind_of_file(file, disk)});
  }
  return given;
}

/// What was typed, with other files in place of some.
Words retyped(const CLI::App& verb, const std::map<const CLI::Option*, std::string>& instead) {
  Words words = {verb.get_name()};
  for (const bool positional : {true, false}) {
    for (const CLI::Option* option : verb.get_options()) {
      if (option->get_positional() != positional || option->results().empty()) continue;
      if (!positional) words.push_back(option->get_name());
      if (option->get_type_size() == 0) continue;
      const auto other = instead.find(option);
      if (other != instead.end()) {
        words.push_back(other->second);
      } else {
        words.insert(words.end(), option->results().begin(), option->results().end());
      }
    }
  }
  return words;
}

/// What was typed, with a word for each that is missing of what the verb cannot do without.
Words completed(const CLI::App& verb) {
  Words words = {verb.get_name()};
  for (const bool positional : {true, false}) {
    for (const CLI::Option* option : verb.get_options()) {
      const auto& given = option->results();
      if (option->get_positional() != positional || (given.empty() && !option->get_required())) {
        continue;
      }
      if (!positional) words.push_back(option->get_name());
      if (option->get_type_size() == 0) continue;
      words.insert(words.end(), given.begin(), given.end());
      for (int k = static_cast<int>(given.size()); k < option->get_expected_min(); ++k) {
        words.push_back(positional ? option->get_name(true) : option->get_type_name());
      }
    }
  }
  return words;
}

/// What one does with a file of this kind.
Words use_of(const std::string& kind, const std::string& file) {
  if (kind == "machine file") return {"plan", file, "-o", beside(file, ".plan.toml")};
  if (kind == "plan") return {"cycle", file, "--control", "ngc", "-o", beside(file, ".nc")};
  if (kind == "result") return {"write", file, "--list"};
  if (kind == "touch record") {
    return {"fit", beside(file, ".machine.toml"), file, "-o", beside(file, ".result.json")};
  }
  return {"check", file};
}

std::optional<std::string> swapped(const CLI::App& verb, const std::vector<GivenFile>& given) {
  for (const GivenFile& one : given) {
    for (const GivenFile& other : given) {
      if (one.found != other.wanted || other.found != one.wanted || one.found == one.wanted) {
        continue;
      }
      return fmt::format("{} is a {}, {} a {}: they stand in each other's place{}", one.file,
                         one.found, other.file, other.found,
                         type(retyped(verb, {{one.option, other.file}, {other.option, one.file}})));
    }
  }
  return std::nullopt;
}

/// A control that keeps its touches in parameters needs the plan beside them.
std::optional<std::string> listing_without_plan(const CLI::App& verb,
                                                const std::vector<GivenFile>& given,
                                                FileCalls& disk) {
  if (verb.get_name() != "fit" || given.size() < 2 || verb.count("--plan") > 0) return std::nullopt;
  const auto text = read_file(given[1].file, disk);
  if (!text || !looks_like_parameters(*text)) return std::nullopt;
  Words words = retyped(verb, {});
  words.insert(words.begin() + 3, {"--plan", beside(given[0].file, ".plan.toml")});
  return given[1].file + " is the parameter file of a control, which the plan explains" +
         type(words);
}

}  // namespace

std::string usage_advice(const CLI::App& program, const Words& words,
                         const CLI::ParseError& error) {
  const CLI::App* verb = words.empty() ? nullptr : verb_named(program, words.front());
  if (verb == nullptr) return no_such_verb(program, words);
  if (auto advice = option_misspelt(*verb, words)) return *advice;
  if (auto advice = value_misspelt(*verb, words)) return *advice;
  if (dynamic_cast<const CLI::RequiredError*>(&error) != nullptr) {
    return std::string(error.what()) + type(completed(*verb));
  }
  return without_range(error.what()) + "; see: " + command_line({verb->get_name(), "--help"});
}

std::optional<std::string> wrong_file_advice(const CLI::App& verb, const Problems& problems,
                                             FileCalls& disk) {
  const auto is_input = [](const Problem& one) { return static_cast<int>(one.number) / 100 == 1; };
  if (!std::any_of(problems.begin(), problems.end(), is_input)) return std::nullopt;
  const std::vector<GivenFile> given = given_files(verb, disk);
  if (auto advice = swapped(verb, given)) return advice;
  if (auto advice = listing_without_plan(verb, given, disk)) return advice;
  for (const GivenFile& one : given) {
    if (one.found.empty() || one.found == one.wanted) continue;
    return fmt::format("{} is a {}, not a {}{}", one.file, one.found, one.wanted,
                       type(use_of(one.found, one.file)));
  }
  return std::nullopt;
}

}  // namespace pivotrace::app
