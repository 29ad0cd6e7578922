// Writes the touch records of examples/ anew: cmake --build --preset dev --target write_examples
#include <fmt/format.h>

#include <fstream>
#include <iostream>

#include "examples/example_surveys.h"
#include "pivotrace/files/machine_file.h"

int main(int argc, char** argv) {
  if (argc != 2) {
    std::cerr << "usage: write_examples FOLDER\n";
    return 2;
  }
  const std::string folder = argv[1];
  const auto surveys = pivotrace::examples::demo_surveys(folder);
  if (!surveys) {
    for (const auto& problem : surveys.error()) std::cerr << describe(problem) << '\n';
    return 2;
  }
  for (const auto& example : *surveys) {
    const auto machine = pivotrace::read_machine(folder + "/" + example.machine_file);
    std::ofstream file(folder + "/" + example.file, std::ios::binary);
    file << record_text(example, *machine);
    std::cout << example.file << ": " << example.survey.touches.size() << " rows\n";
    if (!file.flush()) return 4;
  }
  return 0;
}
