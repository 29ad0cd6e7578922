// The machines of the examples, by the first part of their file names.
#pragma once

#include <doctest/doctest.h>

#include <string>

#include "pivotrace/formats/machine_file.h"

namespace pivotrace::testing {

inline Machine example(const std::string& name) {
  const auto machine =
      read_machine(std::string(PIVOTRACE_SOURCE_DIR) + "/examples/" + name + ".machine.toml");
  REQUIRE(machine.has_value());
  return *machine;
}

}  // namespace pivotrace::testing
