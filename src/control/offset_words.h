// The words that write and shift work offsets.
#pragma once

#include "control/program_words.h"

namespace pivotrace::control {

class OffsetWords {
 public:
  explicit OffsetWords(RunContext& run) : run_(run) {}

  Stop run(Words& words);
  Stop write_origin(Words& words, double system, int column);

 private:
  Stop set_data(Words& words, const Words::Code& code);
  /// The letters of the form with a fixed number, such as L2.
  Stop check_fixed_words(Words& words, const WordForm& form, int column);
  Stop set_axis_offset(Words& words, const Words::Code& code);

  RunContext& run_;
};

}  // namespace pivotrace::control
