#include "golden/program.h"

#include <cstdlib>
#include <fstream>
#include <sstream>

#ifndef _WIN32
#include <sys/wait.h>
#endif

namespace pivotrace::golden {

namespace {

#ifdef _WIN32

constexpr const char* no_input = "NUL";

/// The lists hold no word with a quotation mark.
std::string quoted(const std::string& word) { return '"' + word + '"'; }

/// The command interpreter takes one pair of quotation marks off the whole line.
int run_line(const std::string& line) { return std::system(('"' + line + '"').c_str()); }

void set_variable(const char* name, const std::string& value) { _putenv_s(name, value.c_str()); }

#else

constexpr const char* no_input = "/dev/null";

std::string quoted(const std::string& word) {
  std::string text = "'";
  for (const char c : word) text += c == '\'' ? std::string("'\\''") : std::string{c};
  return text + "'";
}

int run_line(const std::string& line) {
  const int status = std::system(line.c_str());
  return WIFEXITED(status) ? WEXITSTATUS(status) : 128 + WTERMSIG(status);
}

void set_variable(const char* name, const std::string& value) { ::setenv(name, value.c_str(), 1); }

#endif

/// As text: line ends are those of the system the program ran on, here they are line feeds.
std::string text_of(const std::filesystem::path& file) {
  std::ifstream stream(file);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

}  // namespace

Said run_program(const std::vector<std::string>& command, const std::vector<std::string>& words,
                 const std::filesystem::path& notes) {
  const std::filesystem::path out = notes / "out";
  const std::filesystem::path err = notes / "err";
  std::string line;
  for (const std::string& word : command) line += quoted(word) + ' ';
  for (const std::string& word : words) line += quoted(word) + ' ';
  line += std::string("<") + no_input + " >" + quoted(out.string()) + " 2>" + quoted(err.string());
  Said said;
  said.exit_code = run_line(line);
  said.out = text_of(out);
  said.err = text_of(err);
  return said;
}

void hide_user_settings(const std::filesystem::path& home) {
  for (const char* name : {"HOME", "XDG_CONFIG_HOME", "APPDATA", "USERPROFILE"}) {
    set_variable(name, home.string());
  }
  set_variable("LC_ALL", "C");
  set_variable("NO_COLOR", "1");
}

}  // namespace pivotrace::golden
