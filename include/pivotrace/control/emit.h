// Spells a program in one control's language.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/control/control_sheet.h"
#include "pivotrace/control/steps.h"

namespace pivotrace {

/// Where a control without a log leaves its record, in order: the program's identity number, the
/// number of lines made, then X, Y, Z of every line (machine coordinates, program units).
struct ResultVariables {
  int identity = 0;
  int count = 0;
  int first_touch = 0;
};

struct EmittedProgram {
  std::string text;
  int blocks = 0;                               ///< lines that are not remarks only
  std::map<std::string, int> variable_numbers;  ///< program names -> numbers
  std::optional<ResultVariables> results;       ///< set when there is no log
  std::vector<VariableRange> overwritten;       ///< variables the program takes for itself
};

/// Largest difference between a length in the program and the length meant [mm]: half a unit of the
/// last decimal the control sheet writes (1 inch = 25.4 mm).
double rounding_bound_mm(const ControlSheet& sheet, bool inch);

/// Where the program takes the point of a trigger from.
enum class TripSource {
  variables,  ///< the control keeps it
  position,   ///< where the control says the machine stands after the move
  typed,      ///< the operator types what the screen shows
};
TripSource trip_source(const ControlSheet& sheet);

/// True when positioning moves can be watched: a skip move that meets nothing goes on, and the
/// program can tell that it met something.
bool watches_positioning(const ControlSheet& sheet);

/// True when the control sheet can run loops, so that a program may be written as loops over tables.
bool prefers_loops(const ControlSheet& sheet);

/// The program text. Fails with P402 (cannot spell) naming the step and what the control sheet lacks, and
/// with P403 when the control sheet itself is not usable.
Expected<EmittedProgram> emit(const ControlProgram& program, const ControlSheet& sheet);

}  // namespace pivotrace
