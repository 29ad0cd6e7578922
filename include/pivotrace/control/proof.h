// A program that shows whether a control sheet is right, and the reading of what came back.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/control/control_sheet.h"
#include "pivotrace/control/emit.h"

namespace pivotrace {

/// The proof program of a control sheet. It moves nothing: it sets, adds, compares, jumps, loops, works
/// out functions, keeps variables across a stop, writes the record and shows every position variable
/// at a stop beside the screen. With `skip`, after a stop, one slow probe move of `skip_mm` along +X in
/// free air follows, triggered by hand; without it the program ends there. It ends with its own alarm
/// on purpose where the control has one: then alarms work.
struct ProofRequest {
  bool inch = false;
  bool skip = true;
  double skip_mm = 10.0;
  double skip_feed_mm_per_min = 60.0;
  std::vector<char> rotary;  ///< letters of the rotary axes to show
};

Expected<EmittedProgram> proof_program(const ControlSheet& sheet, const ProofRequest& request = {});

enum class ProofVerdict {
  no_value,  ///< nothing came back for it
  holds,
  fails,
};

/// One thing the proof looks at.
struct ProofLine {
  std::string slot;  ///< the slots it stands for, in words
  ProofVerdict verdict = ProofVerdict::no_value;
  double expected = 0.0;
  double found = 0.0;
};

struct ProofReading {
  std::vector<ProofLine> lines;
  /// Slots of this sheet no program can show, with the reason; a person compares them.
  std::vector<std::string> by_eye;
  bool holds() const;
};

/// Reads the record, or the listing of variables ("number value" lines), that the proof program left.
/// Errors: P110 when nothing of a proof is in it.
Expected<ProofReading> read_proof(const ControlSheet& sheet, std::string_view text,
                                  const std::string& name, const ProofRequest& request = {});

}  // namespace pivotrace
