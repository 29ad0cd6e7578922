// Writes the touch records of examples/ anew: cmake --build --preset dev --target write_examples
#include <fmt/format.h>

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
  const auto spoiled = pivotrace::examples::spoiled_surveys(folder);
  if (!surveys || !spoiled) {
    for (const auto& problem : (surveys ? spoiled : surveys).error()) {
      std::cerr << describe(problem) << '\n';
    }
    return 2;
  }
  surveys->insert(surveys->end(), spoiled->begin(), spoiled->end());
  for (const auto& example : *surveys) {
    const auto machine = pivotrace::read_machine(folder + "/" + example.machine_file);
    std::ofstream file(folder + "/" + example.file, std::ios::binary);
    file << record_text(example, *machine);
    std::cout << example.file << ": " << example.survey.touches.size() << " rows\n";
    if (!file.flush()) return 4;
  }
  return 0;
}
