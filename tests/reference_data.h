// Published data sets that are read, not shipped: where they are, and the loud skip when they are
// not there. ctest reports a test that prints "SKIPPED:" as skipped.
#pragma once

#include <Eigen/Core>
#include <filesystem>
#include <fstream>
#include <iostream>
#include <string>
#include <vector>

namespace pivotrace::testing {

inline std::filesystem::path reference_path(const std::string& relative) {
  return std::filesystem::path(PIVOTRACE_REFERENCE_DIR) / relative;
}

/// False, after saying so, when a file or folder of the published data is not on this machine.
inline bool have_reference(const std::string& relative) {
  if (std::filesystem::exists(reference_path(relative))) return true;
  std::cout << "SKIPPED: published data '" << relative << "' not found under '"
            << PIVOTRACE_REFERENCE_DIR
            << "'. Set the CMake variable PIVOTRACE_REFERENCE_DIR to the folder that has it.\n";
  return false;
}

/// Every number of a text file, in order; stops at the first thing that is not a number.
inline std::vector<double> read_numbers(const std::filesystem::path& path) {
  std::ifstream stream(path);
  std::vector<double> numbers;
  double number = 0.0;
  while (stream >> number) numbers.push_back(number);
  return numbers;
}

}  // namespace pivotrace::testing
