// The control sheets of routines/, which the program carries: it works where nothing else was copied.
#pragma once

#include <string>
#include <vector>

namespace pivotrace::app {

struct SheetText {
  std::string name;  ///< bare name of a shipped sheet, or the file it was read from
  std::string text;
};

/// In the order of their names.
const std::vector<SheetText>& shipped_sheets();

}  // namespace pivotrace::app
