#include "control/motion_words.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <utility>

namespace pivotrace::control {

namespace {

/// Two positions closer than this are one (far below any control's resolution).
constexpr double same_position_mm = 1e-9;

}  // namespace

Stop MotionWords::feed_words(Words& words) {
  if (const Words::Code* mode = words.find(ModalGroup::feed_mode)) {
    run_.state.put_in_force(*mode->meaning);
    run_.state.feed.reset();
  }
  const WordValue* feed = words.take(feed_letter);
  if (feed == nullptr) return std::nullopt;
  if (feed->value < 0.0) return run_.refusal(feed->column, "a negative feed", "write a positive F");
  inverse_time_feed_ = feed->value;
  feed_given_ = true;
  run_.state.feed = feed->value * feed_scale(words);
  return std::nullopt;
}

/// A unit word in the same line counts for its F.
double MotionWords::feed_scale(const Words& words) const {
  if (words.find(Meaning::inches) != nullptr) return mm_per_inch;
  if (words.find(Meaning::millimetres) != nullptr) return 1.0;
  return run_.state.scale(0);
}

Stop MotionWords::dwell_words(Words& words) {
  const Words::Code* code = words.find(Meaning::dwell);
  if (code == nullptr) return std::nullopt;
  const WordValue* time =
      run_.sheet.dwell.letter.empty() ? nullptr : words.take(run_.sheet.dwell.letter.front());
  if (time == nullptr || time->value < 0.0) {
    return run_.refusal(code->column, "a dwell without a time", "say how long to wait");
  }
  return from_machine(run_.machine.dwell(time->value * run_.sheet.dwell.seconds_per_unit));
}

Stop MotionWords::run(Words& words) {
  const Words::Code* explicit_code = words.find(ModalGroup::motion);
  if (explicit_code != nullptr) run_.state.put_in_force(*explicit_code->meaning);
  if (!run_.has_axis_word(words)) return no_axis_word(words, explicit_code);
  const int column = first_axis_column(words);
  const std::optional<Meaning> motion = run_.state.in_force(ModalGroup::motion);
  if (!motion || *motion == Meaning::canned_cycle_off) {
    return run_.refusal(column, "axis words, but no motion word is in force",
                        "say how to move, for example with the word for rapid or feed");
  }
  const Words::Code* machine_frame = words.find(Meaning::machine_coordinates);
  AxisValues target{};
  if (Stop halt = read_target(words, *motion, machine_frame, target)) return halt;
  switch (*motion) {
    case Meaning::rapid: return from_machine(run_.machine.rapid(target));
    case Meaning::feed: return feed_move(target, column);
    case Meaning::skip: return probe_move(words, target, column);
    default: return run_.refusal(column, "this motion is not rehearsed", "use straight moves");
  }
}

Stop MotionWords::no_axis_word(const Words& words, const Words::Code* explicit_code) const {
  const Words::Code* machine_frame = words.find(Meaning::machine_coordinates);
  const bool moves = explicit_code && *explicit_code->meaning != Meaning::canned_cycle_off;
  if (!moves && !machine_frame) return std::nullopt;
  return run_.refusal((moves ? explicit_code : machine_frame)->column,
                      "a motion word without an axis word",
                      "name the axis to move, or drop the word");
}

int MotionWords::first_axis_column(const Words& words) const {
  int column = 0;
  for (const auto& [letter, word] : words.letters) {
    if (!run_.vocabulary.is_axis_letter(letter)) continue;
    column = column == 0 ? word.column : std::min(column, word.column);
  }
  return column;
}

Stop MotionWords::read_target(Words& words, Meaning motion, const Words::Code* machine_frame,
                              AxisValues& target) {
  bool in_machine = machine_frame != nullptr;
  if (motion == Meaning::skip) {
    if (in_machine) {
      return run_.refusal(machine_frame->column,
                          "a probe move cannot be given in machine coordinates by a word",
                          "give it as this control sheet does");
    }
    in_machine = run_.sheet.skip.target == Coordinates::machine;
  }
  const std::optional<Meaning> distance = run_.state.in_force(ModalGroup::distance);
  if (!distance && !in_machine) {
    return run_.refusal(first_axis_column(words), "absolute or incremental? Not said yet",
                        "say it before the first move");
  }
  const bool incremental = distance == Meaning::incremental;
  if (incremental && machine_frame != nullptr) {
    return run_.refusal(machine_frame->column,
                        "machine coordinates while distances are incremental",
                        "switch to absolute first");
  }
  const AxisValues shown = run_.machine.shown();
  target = shown;
  return run_.for_each_axis_word(words, [&](int axis, double value) {
    const double size = value * run_.state.scale(axis);
    if (incremental) {
      target[axis] = shown[axis] + size;
    } else {
      target[axis] = size + (in_machine ? 0.0 : run_.state.shift(axis));
    }
  });
}

Stop MotionWords::feed_rate(bool only_rotary, int column, FeedRate& rate) {
  const std::optional<Meaning> mode = run_.state.in_force(ModalGroup::feed_mode);
  if (!mode)
    return run_.refusal(column, "feed per minute? Not said yet", "say it before this move");
  if (*mode == Meaning::feed_inverse_time) {
    if (!std::exchange(feed_given_, false)) {
      return run_.refusal(column, "inverse time feed needs an F in every line", "add the F word");
    }
    rate = {true, inverse_time_feed_};
  } else if (*mode == Meaning::feed_per_minute) {
    const double scale = only_rotary ? run_.state.scale(0) : 1.0;
    rate = {false, run_.state.feed.value_or(0.0) / scale};
  } else {
    return run_.refusal(column, "feed per revolution with a stopped spindle",
                        "use feed per minute");
  }
  if (rate.value <= 0.0) {
    return run_.refusal(column, "the feed is zero or was never given", "give an F word");
  }
  return std::nullopt;
}

Stop MotionWords::feed_move(const AxisValues& target, int column) {
  const AxisValues shown = run_.machine.shown();
  const bool only_rotary = target[0] == shown[0] && target[1] == shown[1] && target[2] == shown[2];
  FeedRate rate;
  if (Stop halt = feed_rate(only_rotary, column, rate)) return halt;
  return from_machine(run_.machine.feed(target, rate));
}

Stop MotionWords::probe_move(const Words& words, const AxisValues& target, int column) {
  if (Stop halt = check_probe_move(words, target, column)) return halt;
  FeedRate rate;
  if (Stop halt = feed_rate(false, column, rate)) return halt;
  ProbeEnd end;
  if (Stop halt = from_machine(run_.machine.probe(target, rate, end))) return halt;
  store_trip_point(end.triggered ? end.trip : target);
  if (end.triggered_at_start && run_.sheet.skip.triggered_at_start_is_error) {
    return run_.alarm(ProblemNumber::probe_fault, column,
                      "the probe was triggered before the probe move began",
                      "free the stylus and check the probe");
  }
  if (!end.triggered && run_.sheet.skip.untriggered == WhenUntriggered::stops_with_error) {
    return run_.alarm(ProblemNumber::probe_fault, column, "the probe move ended without a trigger",
                      "check that the artefact is where it is said to be");
  }
  return std::nullopt;
}

Stop MotionWords::check_probe_move(const Words& words, const AxisValues& target, int column) {
  const AxisValues shown = run_.machine.shown();
  double squares = 0.0;
  bool names_linear = false;
  for (int axis = 0; axis < 6; ++axis) {
    const bool named = words.letters.count(axis_letters[axis]) != 0;
    if (is_linear(axis)) {
      names_linear = names_linear || named;
      squares += (target[axis] - shown[axis]) * (target[axis] - shown[axis]);
    } else if (named && target[axis] != shown[axis]) {
      return run_.refusal(column, "a probe move that turns a rotary axis",
                          "turn first, then probe");
    } else if (named && !run_.sheet.skip.rotary_words_allowed) {
      return run_.refusal(column, "a probe move takes no rotary word", "drop it");
    }
  }
  if (!names_linear) {
    return run_.refusal(column, "a probe move needs X, Y or Z", "name the axis to move");
  }
  if (run_.state.in_force(ModalGroup::feed_mode) == Meaning::feed_inverse_time) {
    return run_.refusal(column, "a probe move with inverse time feed", "use feed per minute");
  }
  if (std::sqrt(squares) < run_.sheet.skip.min_distance_mm - same_position_mm) {
    return run_.refusal(
        column,
        fmt::format("the probe move is {:.3f} mm long; this control wants {:.3f} mm",
                    std::sqrt(squares), run_.sheet.skip.min_distance_mm),
        "start further away");
  }
  return std::nullopt;
}

void MotionWords::store_trip_point(const AxisValues& trip) {
  for (const auto& [letter, number] : run_.sheet.skip.trip_variable) {
    const int axis = axis_index(letter);
    if (axis < 0) continue;
    const double shift =
        run_.sheet.skip.trip_point == Coordinates::program ? run_.state.shift(axis) : 0.0;
    run_.variables.set(number, (trip[axis] - shift) / run_.state.scale(axis));
  }
}

}  // namespace pivotrace::control
