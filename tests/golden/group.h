// One group of golden runs: runs its list in a scratch folder and compares with the texts kept.
#pragma once

#include <filesystem>
#include <string>
#include <tl/expected.hpp>
#include <vector>

#include "golden/compare.h"

namespace pivotrace::golden {

/// Where a group finds what it needs.
struct Places {
  std::filesystem::path list;                ///< runs/<group>.runs
  std::filesystem::path expected;            ///< folder with one text per run, <run>.txt
  std::vector<std::filesystem::path> given;  ///< files, or folders of files, that every run finds
  std::filesystem::path scratch;             ///< emptied, used, left for the curious
  std::vector<std::string> program;          ///< the program, after a launcher where it needs one
  double tolerance = number_tolerance;       ///< of numbers, as in compare.h
};

/// One run as it is kept: every command, how it ended, what it said, and each file it made or changed.
struct Transcript {
  std::string run;
  std::string text;
  std::vector<std::string> wrong_exits;  ///< commands that did not end as the list says
};

/// All runs of the list, in order, or what is wrong with the list.
tl::expected<std::vector<Transcript>, std::string> run_group(const Places& places);

/// What is not as the texts kept say, in words; empty when all is.
std::string differences(const Places& places, const std::vector<Transcript>& transcripts);

/// Writes the texts of runs that differ from what is kept, takes away those of runs that are gone, and
/// says what it did, a line each. A text that counts as the same is left as it is.
std::string update(const Places& places, const std::vector<Transcript>& transcripts);

}  // namespace pivotrace::golden
