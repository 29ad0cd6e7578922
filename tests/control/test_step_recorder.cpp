// Names of variables and tables while a program is written.
#include <doctest/doctest.h>

#include <stdexcept>

#include "control/step_recorder.h"

using namespace pivotrace;

TEST_CASE("a name asked for again is the same variable or table, and introduced once") {
  ControlProgram program;
  StepRecorder steps(program);
  steps.table("measured", 12);
  steps.variable("radius");
  CHECK(steps.table("measured", 12).size == 12);
  steps.variable("radius");
  REQUIRE(program.variables.size() == 2);
  CHECK(program.variables[0].size == 12);
  CHECK(program.variables[1].size == 0);
}

TEST_CASE("a name that stands for something else already is refused") {
  ControlProgram program;
  StepRecorder steps(program);
  steps.table("measured", 12);
  steps.variable("radius");
  CHECK_THROWS_AS(steps.table("measured", 13), std::logic_error);
  CHECK_THROWS_AS(steps.variable("measured"), std::logic_error);
  CHECK_THROWS_AS(steps.table("radius", 1), std::logic_error);
  CHECK(program.variables.size() == 2);
}
