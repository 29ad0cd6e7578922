// What a rehearsal notes down, as it happens.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/rehearsal/rehearse.h"

namespace pivotrace::rehearsal {

/// Keeps the report of a program while it runs: knows the line and the time, nothing of the machine.
class Recorder {
 public:
  void begin_line(int number) { line_ = number; }
  int line() const { return line_; }
  double seconds() const { return report_.seconds; }
  double smallest_clearance_mm() const { return report_.smallest_clearance.mm; }

  void begin_station(const RotaryAngles& commanded_rad);
  void add_time(double seconds);
  void count_move() { ++report_.moves; }
  void log(const std::string& text) { report_.log += text + "\n"; }
  void message(const std::string& text) { report_.messages.push_back(text); }
  void operator_stop() { ++report_.operator_stops; }
  /// "line 12: " stands before it.
  void note(const std::string& what);
  /// What the made-up fault did; " (line 12)" stands behind it once the program runs.
  void fault(const std::string& what);
  /// `touch` without number and time: they are given here.
  void touch(RehearsedTouch touch);
  void violation(Violation violation) { report_.violations.push_back(std::move(violation)); }
  /// A violation that no body takes part in and that stops the program, as the stop it is.
  Problem stop(ProblemNumber number, const std::string& text, const std::string& advice,
               const Moment& moment);
  void clearance(Clearance smallest) { report_.smallest_clearance = std::move(smallest); }
  void overtravel(double mm);

  /// The report, without the outcome of the program. `notes` of the set-up come before all others.
  RehearsalReport take(const Moment& end, const MachineState& state,
                       const std::vector<std::string>& notes);

 private:
  int line_ = 0;
  RehearsalReport report_;
};

}  // namespace pivotrace::rehearsal
