// The words that move: feeds, targets, straight moves, probe moves, waiting.
#pragma once

#include "control/program_words.h"

namespace pivotrace::control {

class MotionWords {
 public:
  explicit MotionWords(RunContext& run) : run_(run) {}

  Stop feed_words(Words& words);
  Stop dwell_words(Words& words);
  Stop run(Words& words);

 private:
  /// A unit word in the same line counts for its F.
  double feed_scale(const Words& words) const;
  Stop no_axis_word(const Words& words, const Words::Code* explicit_code) const;
  int first_axis_column(const Words& words) const;
  Stop read_target(Words& words, Meaning motion, const Words::Code* machine_frame,
                   AxisValues& target);
  Stop feed_rate(bool only_rotary, int column, FeedRate& rate);
  Stop feed_move(const AxisValues& target, int column);
  Stop probe_move(const Words& words, const AxisValues& target, int column);
  Stop check_probe_move(const Words& words, const AxisValues& target, int column);
  void store_trip_point(const AxisValues& trip);

  RunContext& run_;
  bool feed_given_ = false;
  double inverse_time_feed_ = 0.0;
};

}  // namespace pivotrace::control
