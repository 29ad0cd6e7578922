// What a program knows, at every visit of a plan, of where its target will be: how far off its
// prediction can be, and what the visit teaches it of axis centres and places.
#pragma once

#include <Eigen/Core>
#include <functional>
#include <vector>

#include "pivotrace/plan/plan.h"

namespace pivotrace {

/// Two touches on one point a program keeps track of: on one ball, one section of a pin or bore, one
/// point of a flat. Between them the stylus stays down.
bool same_target(const Machine& machine, const PlannedTouch& a, const PlannedTouch& b);

/// A coordinate the program corrects while it runs, machine frame with rotary axes at 0: of the
/// centre of a rotary axis (only those across it), or of a target.
struct LearnedCoordinate {
  int axis = -1;    ///< index into Machine::rotary, or
  int target = -1;  ///< index into Foresight::targets
  int along = 0;    ///< 0 = X, 1 = Y, 2 = Z
};

/// All touches on one target during one station.
struct ForeseenVisit {
  int target = 0;
  std::size_t first_touch = 0;  ///< of the station
  std::size_t touches = 0;
  /// The target is no further than this from where it is predicted when the visit begins [mm], in
  /// the directions its touches see, when everything of the file is within `rough`.
  double off_mm = 0.0;
  /// No touch of its first pass is met further than this from where it is predicted, and no feeler from
  /// +Z [mm]. Whatever is further off is not where the file has it, give or take `rough`: learned from
  /// all the same, it would send the next station astray by many times as much.
  double met_off_mm = 0.0;
  double felt_off_mm = 0.0;
  /// Fast passes that find it before the pass that measures.
  int finding_passes = 0;
  /// coordinate += gain * (found - predicted), n x 3, machine frame, one row per coordinate.
  Eigen::MatrixXd gain;
};

struct Foresight {
  std::vector<PlannedTouch> targets;  ///< one touch on each
  std::vector<LearnedCoordinate> coordinates;
  std::vector<std::vector<ForeseenVisit>> stations;
  /// From this station on every place is known well enough: nothing is found first, and it is enough
  /// to keep each target where it was found last, turned about the centres known by then.
  std::size_t learned_after = 0;
};

/// A measuring pass may begin this far from where the target is, in shares of the largest distance
/// from prediction that is let pass: the other half is for what nominal directions do not say.
inline constexpr double sure_share_of_limit = 0.5;
/// What nominal directions and zeros of the axes leave unsaid of a place between two stations [mm]:
/// 50 arcsec over 80 mm. Common practice, no source.
inline constexpr double unsaid_mm = 0.02;

/// How the visit of one target sees errors of the file: found - predicted = H x. Of one station alone, whatever plan
/// it is part of.
struct TargetSight {
  Eigen::Matrix3Xd of_axes;   ///< H of the centres of all axes, in the order of LearnedCoordinate
  Eigen::Matrix3d of_target;  ///< H of the place of the target itself
  Eigen::MatrixXd seen;       ///< 3 x m: orthonormal directions its touches see
  Eigen::Matrix3Xd outward;   ///< of every touch
  double curve_mm = 0.0;      ///< radius of the surface the stylus centre meets; 0 = flat
};
/// Of every target of a station, in the order of its visits.
std::vector<TargetSight> sights_at(const Machine& machine, const MachineState& state,
                                   const ProbingDistances& distances,
                                   const PlannedStation& station);

/// Where the control shows the target is linear in the coordinates of centres and places, with
/// factors that depend on the angles alone: p = c_1 + R_1 (c_2 - c_1 + R_2 (b - c_2)), less the arm
/// of the tool-side axes. So what every visit teaches is known before the program runs:
/// K = P H' (H P H' + unsaid^2)^-1 with P from `rough` on every coordinate, H restricted to the
/// directions the touches see; P -> (I - K H) P.
///
/// off_mm follows the errors of the file themselves, x -> (I - K H) x: every centre and place within
/// `rough` (length of its error), the largest they can add up to, and two sigma of `unsaid_mm`
/// carried the same way. A finding pass turns a sideways error e into at most 0.75 e^2 / R on a
/// surface of radius R (e^2 / 2R, half of it again for the way touches share it).
///
/// `sure_mm`: no visit measures while its target may be further off. Plans without touches give no
/// visits.
Foresight foresee(const Machine& machine, const Plan& plan, double sure_mm);
/// The same with the usual share of the plan's limit.
Foresight foresee(const Machine& machine, const Plan& plan);
/// The same, met_off_mm and felt_off_mm left at 0: finding passes alone, in half the time. `sights`: what sights_at()
/// says of a station, for who asks of the same ones again and again.
Foresight foresee_passes(
    const Machine& machine, const Plan& plan,
    const std::function<const std::vector<TargetSight>&(std::size_t station)>& sights = {});

}  // namespace pivotrace
