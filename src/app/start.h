// What differs between systems when the program starts: its words, its streams, what the user's settings
// say. All text is UTF-8.
#pragma once

#include <istream>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/disk/file_calls.h"

namespace pivotrace::app {

/// The words after the program's name.
std::vector<std::string> spoken_words(int argc, char** argv);

/// A setting of the user's session; nothing when it is missing or empty.
std::optional<std::string> setting(const char* name);

/// The folder in which a user's programs keep what he sets up; nothing when the session names none.
std::optional<std::string> settings_folder();

/// Standard streams as they are used here: bytes, line feeds, UTF-8 on a screen. One lives as long as
/// the program speaks.
class Streams {
 public:
  Streams();
  ~Streams();
  Streams(const Streams&) = delete;
  Streams& operator=(const Streams&) = delete;

  bool out_is_terminal() const { return out_is_terminal_; }
  bool err_is_terminal() const { return err_is_terminal_; }
  std::istream& in() { return in_; }

 private:
  bool out_is_terminal_ = false;
  bool err_is_terminal_ = false;
  std::istream in_;
};

/// True where nobody typed a command: the program was opened with the mouse and has a window of its own
/// that closes when it ends.
bool opened_by_mouse(const std::vector<std::string>& words);

/// Shows `pivotrace.html` when it stands beside the program; otherwise says what this program is and how
/// it is used, and waits, so that it can be read.
void greet(FileCalls& disk);

/// The word between the quotation marks of this system's command prompt, so that it stays one word.
std::string quoted_word(const std::string& word);

/// Name as it is written in files: '/' between folders.
std::string portable_name(std::string path);

}  // namespace pivotrace::app
