#include <unistd.h>

#include <cstdlib>
#include <iostream>

#include "app/start.h"

namespace pivotrace::app {

std::vector<std::string> spoken_words(int argc, char** argv) { return {argv + 1, argv + argc}; }

std::optional<std::string> setting(const char* name) {
  const char* value = std::getenv(name);
  if (value == nullptr || *value == '\0') return std::nullopt;
  return value;
}

std::optional<std::string> settings_folder() {
  if (auto folder = setting("XDG_CONFIG_HOME")) return folder;
  const auto home = setting("HOME");
  if (!home) return std::nullopt;
  return *home + "/.config";
}

Streams::Streams()
    : out_is_terminal_(isatty(STDOUT_FILENO) != 0),
      err_is_terminal_(isatty(STDERR_FILENO) != 0),
      in_(std::cin.rdbuf()) {}

Streams::~Streams() = default;

bool opened_by_mouse(const std::vector<std::string>&) { return false; }

void greet(FileCalls&) {}

std::string quoted_word(const std::string& word) {
  std::string text = "'";
  for (const char c : word) text += c == '\'' ? std::string("'\\''") : std::string{c};
  return text + "'";
}

std::string portable_name(std::string path) { return path; }

}  // namespace pivotrace::app
