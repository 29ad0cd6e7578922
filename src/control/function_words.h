// The words that do not move an axis: state in force, spindle, coolant, words of the machine builder.
#pragma once

#include "control/program_words.h"

namespace pivotrace::control {

class FunctionWords {
 public:
  explicit FunctionWords(RunContext& run) : run_(run) {}

  /// A block holds one word of each modal group.
  static Stop check_groups(const Words& words, const RunContext& run);
  Stop spindle_words(Words& words);
  Stop auxiliary_words(Words& words);
  Stop modal_words(Words& words);

 private:
  RunContext& run_;
};

}  // namespace pivotrace::control
