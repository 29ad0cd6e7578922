// Runs an emitted probing program on a virtual machine: what it would touch, hit, log and take.
#pragma once

#include <Eigen/Core>
#include <cstdint>
#include <functional>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/control/control_sheet.h"
#include "pivotrace/control/interpreter.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/machine/tool_part.h"
#include "pivotrace/survey/fault.h"
#include "pivotrace/survey/rehearsal_truth.h"

namespace pivotrace {

/// Bodies nearer than this are taken to touch [mm].
inline constexpr double contact_threshold_mm = 0.01;
/// Between two checks of a motion nothing can come nearer than this unseen [mm]: the next check of
/// a pair of bodies is made no later than (distance - this) / (largest relative speed) after the
/// last one. Bores are walled with flat staves; a corner between two staves is wide by up to
/// 0.22 % of the radius.
inline constexpr double missed_contact_mm = 0.005;

/// A place and posture of the machine, for reports and pictures.
struct Moment {
  int line = 0;
  Eigen::Vector3d shown_mm = Eigen::Vector3d::Zero();
  RotaryAngles commanded_rad{};
  /// As they really are: what pictures show.
  Eigen::Vector3d real_mm = Eigen::Vector3d::Zero();
  RotaryAngles real_rad{};
  double spindle_rad = 0.0;
};

struct RehearsalOptions {
  SurveyNoise noise;
  std::optional<Fault> fault;
  Eigen::Vector3d start_mm = Eigen::Vector3d::Zero();  ///< shown position when the program starts
  RotaryAngles start_angles_rad{};
  ControlStart control;
  /// Rapid moves and turns nearer than this to anything are violations [mm]: common practice, no
  /// source. Less than planners keep, because here everything stands where it really is.
  double guard_mm = 3.0;
  /// Most a stylus may be pressed beyond the trigger before it is taken for broken [mm]: common
  /// practice, no source; see the probe's manual.
  double overtravel_limit_mm = 6.0;
  std::size_t block_limit = 200'000;
  std::string parameter_file;  ///< RS274/NGC: contents at the start; empty = all zero
  std::string parameter_file_name = "parameter file";  ///< for messages
  /// Called now and then with the number of blocks executed.
  std::function<void(std::size_t)> progress;
  /// Called at the start and whenever slides and axes have come to rest after a move or a turn: seconds
  /// of motion so far, and where everything stands.
  std::function<void(double, const Moment&)> at_rest;

  Problems validate() const;
};

/// Something that must not happen on a machine.
struct Violation {
  ProblemNumber number = ProblemNumber::collision;
  std::optional<ToolPart> tool_part;  ///< absent when no body is involved
  std::string body;                   ///< what was hit or nearly hit
  std::string text;
  Moment moment;
};

/// One trigger.
struct RehearsedTouch {
  int number = 0;  ///< from 1, in time order
  std::string body;
  int artefact = -1;  ///< index into Machine::artefacts; -1: it was no artefact's surface
  Moment moment;      ///< at the latched position
  double time_s = 0.0;
  double feed_mm_per_min = 0.0;
};

/// The time between two turns.
struct StationTime {
  RotaryAngles angles_rad{};
  double seconds = 0.0;
  int touches = 0;
};

struct Clearance {
  double mm = std::numeric_limits<double>::infinity();
  ToolPart tool_part = ToolPart::stylus;
  std::string body;
  Moment moment;
};

struct RehearsalReport {
  bool passed = false;  ///< ran to its end without a violation
  ProgramRun run;
  std::vector<Violation> violations;
  std::vector<RehearsedTouch> touches;
  /// What the program told the operator, in time order. Where a text names variables their values
  /// of that moment follow, as the operator would look them up: "Y IN #512 (= -199.920134)".
  std::vector<std::string> messages;
  std::vector<std::string> notes;  ///< what could not be checked
  /// What the made-up fault did, and where; empty: none was asked for, or it never came to pass.
  std::string fault;
  int moves = 0;
  int operator_stops = 0;
  double seconds = 0.0;  ///< of motion and functions: without the control's and the operator's time
  std::vector<StationTime> stations;
  /// Smallest distance of shank and holder to anything, and of the ball to anything but the
  /// surfaces of artefacts.
  Clearance smallest_clearance;
  double largest_overtravel_mm = 0.0;
  std::string log;             ///< as the control writes it; empty when it keeps none
  std::string parameter_file;  ///< RS274/NGC: rewritten at the end of the program
  Moment end;
  MachineState state_at_end;  ///< where everything really was, made-up faults included
};

/// How controls usually stand when a program is started: the machine file's units, absolute, feed
/// per minute, the first work offset, nothing that bends a move. Where the control sheet knows work
/// offsets, they lie somewhere odd on purpose, so that a program that forgets them is found out.
ControlStart usual_start(const Machine& machine, const ControlSheet& sheet);

/// The text is executed as the control would; nothing of the plan is known here. A collision or an
/// end of travel stops the rehearsal where it happens; a rapid move or a turn too near to something
/// is noted and the rehearsal goes on. `truth` says where everything really is.
/// Errors: P303 options, P106 an axis letter the control cannot have, P101 the parameter file.
Expected<RehearsalReport> rehearse(const std::string& program, const std::string& file,
                                   const Machine& machine, const ControlSheet& sheet,
                                   const RehearsalTruth& truth,
                                   const RehearsalOptions& options = {});

}  // namespace pivotrace
