// How the touches of a plan are arranged into stays, visits and segments before any step is made.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/machine/kinematics.h"
#include "pivotrace/plan/plan.h"

namespace pivotrace {

/// One point the program keeps track of: a ball, a section of a pin or bore, a point of a flat.
struct CycleTarget {
  int artefact = 0;
  double along_mm = 0.0;
  double out_mm = 0.0;
  double around_rad = 0.0;                          ///< flats only
  Eigen::Vector3d at_mm = Eigen::Vector3d::Zero();  ///< nominal, rotary axes at 0
  std::string name;
};

/// One touch of a visit, tool frame: where to touch and how its excess moves the centre.
struct CycleTouch {
  Eigen::Vector3d direction = Eigen::Vector3d::UnitZ();
  Eigen::Vector3d share = Eigen::Vector3d::Zero();  ///< centre shift = sum of share * excess
};

/// All touches on one target during one stay.
struct Visit {
  int target = 0;
  std::vector<CycleTouch> touches;
};

/// What the program does after the turn to a stay, before it goes down.
enum class TurnProof {
  none,   ///< a wrong turn would be felt on the way to the first touch
  feel,   ///< look by touch whether the place is empty where the artefact was after a wrong turn
  watch,  ///< the operator looks
};

struct Stay {
  int number = 1;  ///< from 1, in plan order
  RotaryAngles angles_rad{};
  bool flip = false;
  std::vector<Visit> visits;
  TurnProof proof = TurnProof::none;
  Eigen::Vector3d empty_shown_mm = Eigen::Vector3d::Zero();  ///< TurnProof::feel
};

/// Consecutive stays in which one axis turns and everything else stays: one loop of the program.
struct Segment {
  int axis = -1;  ///< the axis that turns; -1 = a single stay
  std::vector<Stay> stays;
  /// The centre of `axis` can be worked out here (outer axes of its chain stand at 0).
  bool updates_centre = false;
  /// Stays after which the running sums are good for a centre.
  int sums_usable_after = 0;
};

struct CycleLayout {
  std::vector<CycleTarget> targets;
  std::vector<Segment> segments;
};

/// `watched`: the control watches positioning moves.
CycleLayout lay_out(const Machine& machine, const MachineState& state, const Plan& plan,
                    bool watched);

/// Spread of a set of angles, N - |sum e|^2 / N with e = exp(j angle): 0 when all are equal, N for
/// an even full circle. 1 / sqrt(spread) is the standard deviation of the centre in units of that
/// of one position: that of the constant of the regression z = c + b e.
double spread_of(const std::vector<double>& angles_rad);

}  // namespace pivotrace
