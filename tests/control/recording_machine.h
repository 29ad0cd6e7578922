// A machine that does what it is told, in empty space, and writes it down.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pivotrace/control/controlled_machine.h"

namespace pivotrace::test {

struct RecordedMove {
  enum Kind { rapid, feed, probe };
  Kind kind = rapid;
  AxisValues target{};
  FeedRate rate;
  int line = 0;
};

class RecordingMachine : public ControlledMachine {
 public:
  void line(int number, const std::string& /*text*/) override { last_line = number; }
  AxisValues shown() const override { return position; }
  MachineAnswer rapid(const AxisValues& target) override {
    return record({RecordedMove::rapid, target, {}, last_line});
  }
  MachineAnswer feed(const AxisValues& target, const FeedRate& rate) override {
    return record({RecordedMove::feed, target, rate, last_line});
  }
  /// Triggers at `trip_at`, or never.
  MachineAnswer probe(const AxisValues& target, const FeedRate& rate, ProbeEnd& end) override {
    end.triggered = trip_at.has_value();
    end.triggered_at_start = triggered_at_start;
    end.trip = trip_at.value_or(target);
    moves.push_back({RecordedMove::probe, target, rate, last_line});
    position = end.trip;
    return std::nullopt;
  }
  MachineAnswer dwell(double seconds) override {
    waited_s += seconds;
    return std::nullopt;
  }
  MachineAnswer function(Meaning meaning, std::optional<double> degrees) override {
    functions.push_back(key_of(meaning) + (degrees ? " " + std::to_string(*degrees) : ""));
    return std::nullopt;
  }
  MachineAnswer auxiliary(const std::string& word) override {
    functions.push_back(word);
    return std::nullopt;
  }
  void message(const std::string& text) override { messages.push_back(text); }
  void log(const std::string& text) override { log_lines.push_back(text); }
  MachineAnswer operator_stop(const std::string& text, bool optional) override {
    messages.push_back((optional ? "optional stop: " : "stop: ") + text);
    return std::nullopt;
  }

  AxisValues position{};
  std::optional<AxisValues> trip_at;
  bool triggered_at_start = false;
  std::vector<RecordedMove> moves;
  std::vector<std::string> functions;
  std::vector<std::string> messages;
  std::vector<std::string> log_lines;
  double waited_s = 0.0;
  int last_line = 0;

 private:
  MachineAnswer record(const RecordedMove& move) {
    moves.push_back(move);
    position = move.target;
    return std::nullopt;
  }
};

}  // namespace pivotrace::test
