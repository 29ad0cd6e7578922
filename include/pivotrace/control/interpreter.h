// Runs a control program, line by line, on any ControlledMachine. Needs nothing of the calibration.
#pragma once

#include <array>
#include <cstddef>
#include <map>
#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/control/control_sheet.h"
#include "pivotrace/control/controlled_machine.h"
#include "pivotrace/control/variables.h"

namespace pivotrace {

/// How the control stands when the program is started.
struct ControlStart {
  /// Words in force. A group that is missing is not known: a move that depends on it is refused
  /// until the program says what it wants.
  std::map<ModalGroup, Meaning> in_force = {
      {ModalGroup::plane, Meaning::plane_xy},
      {ModalGroup::radius_compensation, Meaning::radius_compensation_off},
      {ModalGroup::length_compensation, Meaning::length_compensation_off},
      {ModalGroup::scaling, Meaning::scaling_off},
      {ModalGroup::mirror, Meaning::mirror_off},
      {ModalGroup::rotation, Meaning::rotation_off},
      {ModalGroup::tool_centre, Meaning::tool_centre_off},
      {ModalGroup::work_offset, Meaning::work_offset_1},
      {ModalGroup::spindle, Meaning::spindle_stop},
  };
  /// Origins of work offsets 1..9 in machine coordinates, mm and deg.
  std::array<AxisValues, 9> work_origins{};
};

struct InterpreterOptions {
  ControlStart start;
  std::vector<std::string> auxiliary_words;  ///< words of the machine builder: "M10"
  std::size_t block_limit = 200'000;         ///< executed lines before a program counts as endless
  bool skip_marked_lines = false;            ///< the operator's block-skip switch
};

/// How a program ended.
enum class ProgramEnd {
  not_started,
  finished,  ///< reached its end word
  alarm,     ///< stopped itself, or the control stopped it, with a message: everything at rest
  refused,   ///< a line the control would not accept, or that this interpreter does not know
  machine,   ///< the machine stopped it: collision, end of travel
  too_long,  ///< the block limit: an endless loop
};

struct ProgramRun {
  ProgramEnd end = ProgramEnd::not_started;
  Problems problems;  ///< why, with file, line and column; empty when finished
  int line = 0;       ///< the last line executed
  std::size_t blocks = 0;
};

/// Reads the whole program first (every line that cannot be read is reported at once), then runs
/// it. Lengths in `machine` are mm, angles deg, whatever units the program uses.
/// What the control sheet does not know is refused with P404; nothing is guessed. Arithmetic faults
/// (division by zero, root of a negative number, ...) are refused at the place they happen.
/// Where this differs from the original RS274/NGC interpreter: x MOD 0 is refused instead of
/// moving to "not a number", and ROUND of large numbers does not overflow a 32-bit integer.
ProgramRun run_program(const std::string& text, const std::string& file, const ControlSheet& sheet,
                       ControlledMachine& machine, Variables& variables,
                       const InterpreterOptions& options = {});

}  // namespace pivotrace
