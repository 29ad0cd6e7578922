// Results of one machine from files and folders: what `history` follows and `report` draws.
#pragma once

#include <string>
#include <vector>

#include "app/console.h"
#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/results/history.h"

namespace pivotrace::app {

/// Results in a folder, by name; a file stands for itself.
std::vector<std::string> result_files(const std::vector<std::string>& places);

/// A history with what its screens need to know of the results.
struct FollowedResults {
  History history;
  LengthUnit unit = LengthUnit::mm;  ///< of the machine file of the last result
};

struct WhatToFollow {
  std::string machine;      ///< name; empty: the one most results name
  std::string limits_file;  ///< empty: none
};

/// The history of the machine asked for, or of the one most results name. Errors: P113 when no usable
/// result is left, with why each file took no part.
Expected<FollowedResults> history_of(const std::vector<std::string>& places,
                                     const WhatToFollow& what, HistoryOptions options,
                                     const Console& console);

}  // namespace pivotrace::app
