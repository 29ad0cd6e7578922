// The interpreter as somebody would use it who has nothing to do with calibration: a machine of his
// own, a control sheet built in code, a program, and what came of it. It links the interpreter and the
// control sheet and nothing else of pivotrace's: no machine file, no estimator, no collision library.
#include <cstdio>
#include <string>

#include "control/recording_machine.h"
#include "control/rs274ngc_sheet.h"
#include "pivotrace/control/interpreter.h"

namespace {

const char* const program =
    "(a square of 10 mm, 2 mm deep)\n"
    "G21 G90 G94 G17 F200\n"
    "#1=10\n"
    "G0 X0 Y0 Z5\n"
    "G1 Z[0-2]\n"
    "X#1\n"
    "Y#1\n"
    "X[#1-10]\n"
    "Y0\n"
    "G0 Z5\n"
    "M2\n";

int fail(const char* what) {
  std::printf("FAILED: %s\n", what);
  return 1;
}

}  // namespace

int main() {
  const pivotrace::ControlSheet sheet = pivotrace::test::rs274ngc();
  pivotrace::test::RecordingMachine machine;
  pivotrace::Variables variables(sheet.variables.readable);
  const pivotrace::ProgramRun run =
      pivotrace::run_program(program, "square.ngc", sheet, machine, variables);
  for (const pivotrace::Problem& problem : run.problems) {
    std::printf("%s\n", pivotrace::describe(problem).c_str());
  }
  if (run.end != pivotrace::ProgramEnd::finished) return fail("the program did not finish");
  double length_mm = 0.0;
  pivotrace::AxisValues at{};
  for (const pivotrace::test::RecordedMove& move : machine.moves) {
    std::printf("line %2d  X %6.2f  Y %6.2f  Z %6.2f\n", move.line, move.target[0], move.target[1],
                move.target[2]);
    if (move.kind == pivotrace::test::RecordedMove::feed) {
      for (int axis = 0; axis < 3; ++axis) {
        const double way = move.target[axis] - at[axis];
        length_mm += way < 0.0 ? -way : way;
      }
    }
    at = move.target;
  }
  // Down 7, four sides of 10.
  if (length_mm != 47.0) return fail("the tool did not go round the square");
  const pivotrace::ProgramRun refused =
      pivotrace::run_program("G1 X1 Q2\nM2\n", "wrong.ngc", sheet, machine, variables);
  if (refused.end != pivotrace::ProgramEnd::refused || refused.problems.size() != 1 ||
      refused.problems[0].where.column != 7) {
    return fail("an unknown word was not refused where it stands");
  }
  return 0;
}
