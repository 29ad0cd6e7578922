// How the touches of a plan are arranged into stays, visits and segments before any step is made.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/machine/kinematics.h"
#include "pivotrace/plan/check_plan.h"
#include "pivotrace/plan/foresight.h"

namespace pivotrace {

/// A touch that ends this near to where it gives up has met nothing, whatever the control says of
/// it [mm]: common practice, no source. Far above rounding, far below what a stylus gives.
inline constexpr double missed_mm = 0.05;

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
  /// In a pass that measures the stylus comes from the touch before beside the artefact, not over it.
  /// The first touch has what the second has, so that tables are short.
  bool beside = false;
};

/// All touches on one target during one stay.
struct CycleVisit {
  int target = 0;
  std::vector<CycleTouch> touches;
  int finding_passes = 0;
  double met_off_mm = 0.0;   ///< of its touches while it is being found, ForeseenVisit
  double felt_off_mm = 0.0;  ///< of a feeler from above
  /// coordinate += gain * (found - predicted), one row per coordinate of the layout.
  Eigen::MatrixXd gain;
};

/// What the program does after the turn to a stay, before it goes down.
enum class TurnProof {
  none,   ///< a wrong turn would be felt on the way to the first touch
  feel,   ///< look by touch whether the place is empty where the artefact was after a wrong turn
  watch,  ///< the operator looks
};

struct CycleStay {
  int number = 1;  ///< from 1, in plan order
  RotaryAngles angles_rad{};
  bool flip = false;
  std::vector<CycleVisit> visits;
  TurnProof proof = TurnProof::none;
  Eigen::Vector3d empty_shown_mm = Eigen::Vector3d::Zero();  ///< TurnProof::feel
};

/// Consecutive stays with the same targets: one loop of the program.
struct Segment {
  std::vector<int> axes;  ///< that turn between its stays
  std::vector<CycleStay> stays;
  bool learns = false;  ///< its visits correct the coordinates by their gains
  /// The control can work out the centre of the one axis that turns here (outer axes of its chain
  /// stand at 0), and its running sums are then good for it.
  bool gives_centre = false;
};

struct CycleLayout {
  std::vector<CycleTarget> targets;
  std::vector<LearnedCoordinate> coordinates;
  std::vector<Segment> segments;
};

/// How stays are put together.
struct Arrangement {
  bool watched = true;  ///< the control watches positioning moves
  /// One axis per segment, so that its centre can be worked out from running sums; every visit then
  /// begins no further than `sums_sure_mm` from its target.
  bool for_sums = false;
};

/// A ball centre found from touches that far beside their normals is off by e^2 / 2R, 0.3 um on the
/// usual reach [mm].
inline constexpr double sums_sure_mm = 0.1;

CycleLayout lay_out(const Machine& machine, const MachineState& state, const Plan& plan,
                    const Arrangement& how);

/// Spread of a set of angles, N - |sum e|^2 / N with e = exp(j angle): 0 when all are equal, N for
/// an even full circle. 1 / sqrt(spread) is the standard deviation of the centre in units of that
/// of one position: that of the constant of the regression z = c + b e.
double spread_of(const std::vector<double>& angles_rad);

}  // namespace pivotrace
