// What an interpreter needs of a machine: the calls a control makes when it runs a program.
#pragma once

#include <array>
#include <optional>
#include <string>

#include "pivotrace/base/feed_rate.h"
#include "pivotrace/base/problem.h"
#include "pivotrace/control/control_sheet.h"

namespace pivotrace {

/// X Y Z [mm] and A B C [deg], machine coordinates, as the control shows them.
using AxisValues = std::array<double, 6>;
inline constexpr const char* axis_letters = "XYZABC";

/// How a probe move ended.
struct ProbeEnd {
  bool triggered = false;
  bool triggered_at_start = false;
  AxisValues trip{};  ///< where the control caught the trigger, machine coordinates
};

/// Nothing = done; a problem = the machine stopped.
using MachineAnswer = std::optional<Problem>;

class ControlledMachine {
 public:
  virtual ~ControlledMachine() = default;

  /// The line about to be executed, counted from 1, with its text.
  virtual void line(int number, const std::string& text) = 0;

  virtual AxisValues shown() const = 0;
  virtual MachineAnswer rapid(const AxisValues& target) = 0;
  virtual MachineAnswer feed(const AxisValues& target, const FeedRate& rate) = 0;
  /// Moves until the probe triggers or the target is reached.
  virtual MachineAnswer probe(const AxisValues& target, const FeedRate& rate, ProbeEnd& end) = 0;
  virtual MachineAnswer dwell(double seconds) = 0;
  /// Spindle and coolant words; `degrees` is the angle of an orientation.
  virtual MachineAnswer function(Meaning meaning, std::optional<double> degrees) = 0;
  /// A word of the machine builder, as the program writes it: clamps and the like.
  virtual MachineAnswer auxiliary(const std::string& word) = 0;
  /// Text for the operator.
  virtual void message(const std::string& text) = 0;
  /// One line of the control's log.
  virtual void log(const std::string& text) = 0;
  /// The program waits for the operator, who starts it again. `text`: the remarks in the lines right
  /// above the stop, as the screen shows them, and its own.
  virtual MachineAnswer operator_stop(const std::string& text, bool optional) = 0;
};

}  // namespace pivotrace
