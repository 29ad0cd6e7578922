// What the definitions of the command line say of an option, in the terms of advice and completion.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

namespace pivotrace::app {

/// The words an option may take; empty when it takes anything.
std::vector<std::string> choices_of(const CLI::Option& option);

/// What is named by the word of an option: its type (type_name) says so.
struct NamedThing {
  bool file = false;
  bool folder = false;
  bool control_sheet = false;  ///< by its bare name
};
NamedThing named_by(const CLI::Option& option);

/// As typed, short before long.
std::vector<std::string> names_of(const CLI::Option& option);

/// True when a word must follow the name of the option.
bool takes_word(const CLI::Option& option);

/// Writes names of files and folders as they stand in files, '/' between folders, whatever this system
/// types between them.
void accept_typed_names(CLI::App& verb);

/// Lets no option take the name of another for its word: `-o --json` would write a file of that name.
/// Asking for help in such a place shows the help. Errors: ParseError of the command line.
void keep_options_apart(CLI::App& verb);

}  // namespace pivotrace::app
