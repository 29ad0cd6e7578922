// Runs the real program as a shell does, on every system with a standard library.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

namespace pivotrace::golden {

/// What one run of the program said, and how it ended.
struct Said {
  int exit_code = -1;  ///< a program ended by signal n: 128 + n
  std::string out;
  std::string err;
};

/// Runs `command` (the program, after a launcher where it needs one) with `words` in the current folder,
/// without input. What it says is caught in files of `notes`.
Said run_program(const std::vector<std::string>& command, const std::vector<std::string>& words,
                 const std::filesystem::path& notes);

/// Keeps the user's own settings out: the program sees an empty home, and plain messages.
void hide_user_settings(const std::filesystem::path& home);

}  // namespace pivotrace::golden
