// The list of golden runs: a text file, one group, one ctest test.
//
//   # a remark
//   make tip.machine.toml from fourth-axis.machine.toml
//   replace length_datum = "centre" => length_datum = "tip"
//   append anything, as a new line at the end
//
//   run fit
//   $ fit tip.machine.toml fourth-axis.touches.csv -o r.json
//   exit 1
//
// A run has a name and one or more commands, as typed after `pivotrace`; words are separated by blanks, "a
// word with blanks" stands in double quotes. `exit` belongs to the command above; without it the command
// must end with 0. All runs of a group share one folder with copies of every file of examples/ and of
// inputs/, in order, so a run may use what an earlier one left. `make` writes a file there, before the
// command that follows it; each `replace` changes the first place that holds its left side.
#pragma once

#include <string>
#include <tl/expected.hpp>
#include <vector>

namespace pivotrace::golden {

/// What `replace` or `append` does to a file that is made.
struct Edit {
  std::string old_text;  ///< empty: the new text becomes a new line at the end
  std::string new_text;
};

/// A file made of another one before a command runs.
struct MadeFile {
  std::string name;
  std::string from;
  std::vector<Edit> edits;
};

struct Command {
  std::vector<MadeFile> made;  ///< first
  std::string text;            ///< as it stands in the list, without the $
  std::vector<std::string> words;
  int exit_code = 0;
};

struct Run {
  std::string name;
  std::vector<Command> commands;
};

/// The runs of a list, or what is wrong with it, and in which line.
tl::expected<std::vector<Run>, std::string> read_run_list(const std::string& text);

/// The text with the edits done, or which of them finds no place.
tl::expected<std::string, std::string> edited(std::string text, const std::vector<Edit>& edits);

}  // namespace pivotrace::golden
