// Spells a cycle in one control's language.
#pragma once

#include <map>
#include <string>

#include "pivotrace/control/steps.h"

namespace pivotrace {

/// Where a control without a log leaves its touches, in order: the plan's identity number, the
/// number of touches made, then X, Y, Z of every touch (machine coordinates, program units).
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
};

/// Largest difference between a length in the program and the length meant [mm]: half a unit of the
/// last decimal the dialect writes (1 inch = 25.4 mm).
double rounding_bound_mm(const Dialect& dialect, bool inch);

/// True when positioning moves can be watched: a skip move that meets nothing goes on, and the
/// program can tell that it met something.
bool watches_positioning(const Dialect& dialect);

/// True when the dialect can run loops, so that a program may be written as loops over tables.
bool prefers_loops(const Dialect& dialect);

/// The program text. Fails with P402 (cannot spell) naming the step and what the dialect lacks, and
/// with P403 when the dialect itself is not usable.
Expected<EmittedProgram> emit(const CycleProgram& program, const Machine& machine,
                              const Dialect& dialect);

}  // namespace pivotrace
