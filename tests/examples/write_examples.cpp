// Writes the touch records of examples/ anew: cmake --build --preset dev --target write_examples
#include <fmt/format.h>

#include <filesystem>
#include <fstream>
#include <iostream>

#include "examples/example_surveys.h"
#include "pivotrace/formats/machine_file.h"

int main(int argc, char** argv) {
  if (argc != 2) {
    std::cerr << "usage: write_examples FOLDER\n";
    return 2;
  }
  const std::string folder = argv[1];
  auto surveys = pivotrace::examples::demo_surveys(folder);
  for (const auto& more :
       {pivotrace::examples::spoiled_surveys(folder), pivotrace::examples::year_surveys(folder)}) {
    if (!surveys || !more) {
      for (const auto& problem : (surveys ? more : surveys).error()) {
        std::cerr << describe(problem) << '\n';
      }
      return 2;
    }
    surveys->insert(surveys->end(), more->begin(), more->end());
  }
  std::filesystem::create_directories(folder + "/year");
  for (const auto& example : *surveys) {
    const auto machine = pivotrace::read_machine(folder + "/" + example.machine_file);
    std::ofstream file(folder + "/" + example.file, std::ios::binary);
    file << record_text(example, *machine);
    std::cout << example.file << ": " << example.survey.touches.size() << " rows\n";
    if (!file.flush()) return 4;
  }
  return 0;
}
