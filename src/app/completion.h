// What a shell offers when a user presses the tab key: written from the definitions of the command line,
// so that it cannot fall behind them.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

namespace pivotrace::app {

/// One file a shell reads, and where it looks for it below the folder for data of all programs (share).
struct CompletionFile {
  std::string place;
  std::string text;
};

/// For bash, zsh and fish. `topics` are the words `help` takes.
std::vector<CompletionFile> completion_files(const CLI::App& program,
                                             const std::vector<std::string>& topics);

}  // namespace pivotrace::app
