// Where rotary axes really come to rest: an axis that is not commanded keeps its error, and what
// repeats comes back at every visit. Used by everything that makes up machines; the estimator's own
// view of the same (src/estimate/index_positions.h) shares nothing with it.
#pragma once

#include <array>
#include <vector>

#include "pivotrace/survey/random_stream.h"
#include "pivotrace/survey/synthetic.h"

namespace pivotrace {

/// Displacement of what an axis carries against the ideal turn about its average line, in the frame
/// of what carries the axis, rotary axes outside it at 0 [mm].
using AxisMotions = std::array<Eigen::Vector3d, max_rotary_axes>;
AxisMotions no_motion();

/// Errors of every axis where it now rests.
///
/// An index position is an angle, modulo one turn and taken as one within 1 deg, reached from one
/// side. Its index error and its motion are drawn once and held for the whole survey; an error of
/// `index_repeat_sigma_rad` is drawn anew at each arrival.
class RestingAxes {
 public:
  RestingAxes(const SurveyTruth& truth, const SurveyNoise& noise);

  /// The axis was commanded to `angle_rad` and came to it from below (+1), from above (-1), or it is
  /// not known how it once came there (0).
  void arrive(int axis, double angle_rad, int side);

  /// Real minus commanded angles: index errors, reversal, wave.
  const RotaryAngles& errors_rad() const { return errors_rad_; }
  const AxisMotions& motions_mm() const { return motions_mm_; }

 private:
  struct Position {
    int axis = 0;
    double angle_rad = 0.0;
    int side = 0;
    double error_rad = 0.0;
    Eigen::Vector3d motion_mm = Eigen::Vector3d::Zero();
  };
  const Position& position(int axis, double angle_rad, int side);
  Position drawn(int axis, double angle_rad, int side, RandomStream& random) const;

  const SurveyTruth& truth_;
  const SurveyNoise& noise_;
  RandomStream random_;
  std::vector<Position> positions_;
  RotaryAngles errors_rad_{};
  AxisMotions motions_mm_ = no_motion();
};

/// Displacement in the machine frame of what work-side axis `last` carries (-1 = the bed: none) and
/// of the tool, by the motions of all axes on the way [mm].
Eigen::Vector3d work_displacement_mm(const Machine& machine, const MachineState& state, int last,
                                     const RotaryAngles& angles_rad, const AxisMotions& motions);
Eigen::Vector3d tool_displacement_mm(const Machine& machine, const MachineState& state,
                                     const RotaryAngles& angles_rad, const AxisMotions& motions);

}  // namespace pivotrace
