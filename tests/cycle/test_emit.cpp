#include <doctest/doctest.h>

#include <cstdlib>
#include <fstream>

#include "cycle/demo_plans.h"
#include "pivotrace/cycle/emit.h"
#include "pivotrace/cycle/make_cycle.h"

using namespace pivotrace;

TEST_CASE("every dialect spells the fourth-axis cycle") {
  const Machine machine = demo::machine("fourth-axis");
  const Plan plan = demo::ball_plan(machine, 'A', {0, 60, 120, 180, 240, 300, 0});
  for (const char* name : {"macro", "ngc", "third"}) {
    CAPTURE(name);
    const Dialect dialect = demo::dialect(name);
    CycleOptions options;
    options.loops = prefers_loops(dialect);
    const auto program = make_cycle(machine, plan, options);
    REQUIRE(program.has_value());
    const auto emitted = emit(*program, machine, dialect);
    if (!emitted) {
      for (const Problem& problem : emitted.error()) MESSAGE(describe(problem));
    }
    REQUIRE(emitted.has_value());
    if (const char* folder = std::getenv("PIVOTRACE_KEEP")) {
      std::ofstream(std::string(folder) + "/" + name + ".txt") << emitted->text;
    }
  }
}
