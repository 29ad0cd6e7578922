#include "app/completion.h"

#include <fmt/format.h>

#include "app/option_words.h"
#include "app/shipped_sheets.h"

namespace pivotrace::app {

namespace {

using Words = std::vector<std::string>;

std::string in_a_row(const Words& words) {
  std::string row;
  for (const std::string& word : words) row += (row.empty() ? "" : " ") + word;
  return row;
}

std::string replaced(std::string text, const std::string& what, const std::string& by) {
  for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at)) {
    text.replace(at, what.size(), by);
    at += by.size();
  }
  return text;
}

/// Between single quotation marks, as bash, zsh and fish read them alike.
std::string quoted(std::string text) {
  return "'" + replaced(std::move(text), "'", R"('\'')") + "'";
}

/// An option, or a word that belongs to none.
struct Place {
  Words names;  ///< "-o", "--output"; none for a word of its own
  std::string about;
  bool takes_word = false;
  bool takes_files = false;
  bool takes_folders = false;
  Words choices;
};

struct Verb {
  std::string name;
  std::string about;
  std::vector<Place> options;
  std::vector<Place> words;
};

Place place_of(const CLI::Option& option, const Words& topics) {
  const NamedThing thing = named_by(option);
  Place place{names_of(option),   replaced(option.get_description(), "\n", " "),
              takes_word(option), thing.file,
              thing.folder,       choices_of(option)};
  if (thing.control_sheet) {
    for (const SheetText& sheet : shipped_sheets()) place.choices.push_back(sheet.name);
  }
  if (option.get_positional() && option.get_name(true) == "TOPIC") place.choices = topics;
  return place;
}

std::vector<Verb> verbs_of(const CLI::App& program, const Words& topics) {
  std::vector<Verb> verbs;
  for (const CLI::App* app : program.get_subcommands({})) {
    Verb verb{app->get_name(), app->get_description(), {}, {}};
    for (const CLI::Option* option : app->get_options()) {
      Place place = place_of(*option, topics);
      (option->get_positional() ? verb.words : verb.options).push_back(std::move(place));
    }
    verbs.push_back(std::move(verb));
  }
  return verbs;
}

Words names_of(const std::vector<Verb>& verbs) {
  Words names;
  for (const Verb& verb : verbs) names.push_back(verb.name);
  return names;
}

// --- bash -----------------------------------------------------------------------------------------------

/// What may stand there, as arguments of compgen.
std::string bash_offer(const Place& place) {
  std::string offer;
  if (place.takes_files) offer += " -f";
  if (place.takes_folders && !place.takes_files) offer += " -d";
  if (!place.choices.empty()) offer += " -W " + quoted(in_a_row(place.choices));
  return offer;
}

std::string bash_verb(const Verb& verb) {
  std::string text;
  Words names;
  for (const Place& option : verb.options) {
    names.insert(names.end(), option.names.begin(), option.names.end());
    if (!option.takes_word) continue;
    std::string patterns;
    for (const std::string& name : option.names) {
      patterns += fmt::format("{}'{} {}'", patterns.empty() ? "" : "|", verb.name, name);
    }
    text += fmt::format("    {}) offer=({});;\n", patterns, bash_offer(option));
  }
  std::string words;
  for (const Place& place : verb.words) words += bash_offer(place);
  text += fmt::format("    '{} '*)\n      offer=({})\n", verb.name, words);
  return text +
         fmt::format("      [[ $word != -* ]] || offer=(-W {});;\n", quoted(in_a_row(names)));
}

std::string bash_text(const std::vector<Verb>& verbs) {
  std::string cases;
  for (const Verb& verb : verbs) cases += bash_verb(verb);
  return "# Completion of pivotrace for bash, written by the program from its own command line.\n"
         "_pivotrace() {\n"
         "  local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD - 1]} offer=()\n"
         "  if [ \"$COMP_CWORD\" -eq 1 ]; then\n"
         "    offer=(-W " +
         quoted(in_a_row(names_of(verbs)) + " --help --version") +
         ")\n"
         "  else\n"
         "    case \"${COMP_WORDS[1]} $before\" in\n" +
         cases +
         "    esac\n"
         "  fi\n"
         "  [ \"${#offer[@]}\" -eq 0 ] || mapfile -t COMPREPLY < <(compgen \"${offer[@]}\" -- "
         "\"$word\")\n"
         "}\n"
         "complete -o filenames -F _pivotrace pivotrace\n";
}

// --- zsh ------------------------------------------------------------------------------------------------

std::string zsh_about(const std::string& about) {
  std::string text;
  for (const char c : about) {
    if (c == '[' || c == ']' || c == ':' || c == '\\') text += '\\';
    text += c;
  }
  return text;
}

/// What may stand there, as the action of _arguments.
std::string zsh_offer(const Place& place) {
  const std::string words = in_a_row(place.choices);
  const std::string files = place.takes_files ? "_files" : place.takes_folders ? "_files -/" : "";
  if (words.empty()) return files.empty() ? " " : files;
  if (files.empty()) return "(" + words + ")";
  return fmt::format("{{_alternative \"words:word:({})\" \"files:file:{}\"}}", words, files);
}

std::string zsh_verb(const Verb& verb) {
  std::string text = fmt::format("    {})\n      _arguments", verb.name);
  const auto add = [&text](const std::string& spec) { text += " \\\n        " + quoted(spec); };
  for (const Place& option : verb.options) {
    const std::string word = option.takes_word ? ":word:" + zsh_offer(option) : "";
    for (const std::string& name : option.names) {
      add(fmt::format("*{}[{}]{}", name, zsh_about(option.about), word));
    }
  }
  for (const Place& place : verb.words) add("*:word:" + zsh_offer(place));
  return text + ";;\n";
}

/// _arguments knows one place for all further words: they are offered together.
Verb with_one_place(Verb verb) {
  if (verb.words.empty()) return verb;
  Place together = verb.words.front();
  for (const Place& place : verb.words) {
    together.takes_files = together.takes_files || place.takes_files;
    together.takes_folders = together.takes_folders || place.takes_folders;
  }
  verb.words = {together};
  return verb;
}

std::string zsh_text(const std::vector<Verb>& verbs) {
  std::string names;
  std::string cases;
  for (const Verb& verb : verbs) {
    names += "    " + quoted(verb.name + ":" + zsh_about(verb.about)) + "\n";
    cases += zsh_verb(with_one_place(verb));
  }
  return "#compdef pivotrace\n"
         "# Completion of pivotrace for zsh, written by the program from its own command line.\n"
         "_pivotrace() {\n"
         "  local -a verbs=(\n" +
         names +
         "  )\n"
         "  if (( CURRENT == 2 )); then\n"
         "    _describe command verbs\n"
         "    return\n"
         "  fi\n"
         "  local verb=$words[2]\n"
         "  shift words\n"
         "  (( CURRENT-- ))\n"
         "  case $verb in\n" +
         cases +
         "  esac\n"
         "}\n"
         "_pivotrace \"$@\"\n";
}

// --- fish -----------------------------------------------------------------------------------------------

std::string fish_offer(const Place& place) {
  std::string offer = place.takes_word ? " -r" : "";
  offer += place.takes_files || place.takes_folders ? " -F" : " -f";
  if (!place.choices.empty()) offer += " -a " + quoted(in_a_row(place.choices));
  return offer;
}

std::string fish_verb(const Verb& verb) {
  std::string text = fmt::format("complete -c pivotrace -n __fish_use_subcommand -f -a {} -d {}\n",
                                 verb.name, quoted(verb.about));
  const std::string here =
      fmt::format("complete -c pivotrace -n '__fish_seen_subcommand_from {}'", verb.name);
  for (const Place& option : verb.options) {
    text += here;
    for (const std::string& name : option.names) {
      text += name.starts_with("--") ? " -l " + name.substr(2) : " -s " + name.substr(1);
    }
    text += fish_offer(option) + " -d " + quoted(option.about) + "\n";
  }
  for (Place place : verb.words) {
    place.takes_word = false;  // no name before it that would ask for one
    text += here + fish_offer(place) + "\n";
  }
  return text;
}

std::string fish_text(const std::vector<Verb>& verbs) {
  std::string text =
      "# Completion of pivotrace for fish, written by the program from its own command line.\n"
      "complete -c pivotrace -f\n"
      "complete -c pivotrace -n __fish_use_subcommand -l help -s h -d 'Show the commands'\n"
      "complete -c pivotrace -n __fish_use_subcommand -l version -d 'Show the version'\n";
  for (const Verb& verb : verbs) text += fish_verb(verb);
  return text;
}

}  // namespace

std::vector<CompletionFile> completion_files(const CLI::App& program, const Words& topics) {
  const std::vector<Verb> verbs = verbs_of(program, topics);
  return {{"bash-completion/completions/pivotrace", bash_text(verbs)},
          {"zsh/vendor-completions/_pivotrace", zsh_text(verbs)},
          {"fish/vendor_completions.d/pivotrace.fish", fish_text(verbs)}};
}

}  // namespace pivotrace::app
