// The demos of examples/, which the program carries: a page of the manual can be followed in an empty folder.
#pragma once

#include <string>
#include <vector>

namespace pivotrace::app {

struct CarriedFile {
  std::string name;  ///< without a folder
  std::string text;
};

/// Every file of examples/ that a command reads, in the order of their names.
const std::vector<CarriedFile>& carried_examples();

struct Demo {
  std::string name;
  std::string meaning;                  ///< half a sentence
  std::vector<std::string> beginnings;  ///< its files are those whose names begin so
};

/// In the order the manual meets them.
const std::vector<Demo>& demos();

/// The files of a demo, its machine file first.
std::vector<CarriedFile> files_of(const Demo& demo);

}  // namespace pivotrace::app
