// What a machine does wrong while it is probed: where its slides and rotary axes really stand, and when
// its probe triggers. One class for the virtual machine and for surveys that are made up without one.
#pragma once

#include <vector>

#include "pivotrace/survey/random_stream.h"
#include "pivotrace/survey/rehearsal_truth.h"
#include "pivotrace/survey/resting_axes.h"
#include "pivotrace/survey/synthetic.h"

namespace pivotrace {

/// Draws in the order it is asked: the same calls with the same seed give the same errors. Machine, truth
/// and noise must outlive it.
class MachineErrors {
 public:
  MachineErrors(const Machine& machine, const SurveyTruth& truth, const SurveyNoise& noise,
                const std::vector<IndexError>& index_errors = {});

  /// A rotary axis came to rest: see RestingAxes::arrive.
  void arrive(int axis, double commanded_rad, int side) { axes_.arrive(axis, commanded_rad, side); }
  /// Where an axis told to stand at `commanded_rad` really stands since it last arrived, when it turned to
  /// `turned_rad`: the same, unless a fault sent it elsewhere.
  double stands_at_rad(int axis, double commanded_rad, double turned_rad) const;
  /// Displacements of all axes since they last arrived.
  const AxisMotions& motions_mm() const { return axes_.motions_mm(); }

  /// The slides came to rest anew: draws the error that all touches from here on share.
  void begin_station();
  /// Where the slides really stand when the control shows `shown_mm`, `seconds` after the start, machine
  /// frame. A moving work axis is seen as the slides standing elsewhere, the other way.
  Eigen::Vector3d slides_at_mm(
      const Eigen::Vector3d& shown_mm, double seconds,
      const Eigen::Vector3d& tool_moved_mm = Eigen::Vector3d::Zero(),
      const Eigen::Vector3d& work_moved_mm = Eigen::Vector3d::Zero()) const;

  /// Draws how far from the surface one touch triggers (> 0: before it).
  double touch_scatter_mm();
  /// Gap at the trigger of a lobed probe: amplitude * cos 3 (phi - phase), phi the direction of the
  /// outward normal about Z in the spindle's frame, which has turned by `spindle_rad`.
  double lobing_mm(const Eigen::Vector3d& normal_in_machine, const RotaryAngles& commanded_rad,
                   double spindle_rad) const;

 private:
  const Machine& machine_;
  const SurveyTruth& truth_;
  const SurveyNoise& noise_;
  std::vector<IndexError> index_errors_;
  RandomStream random_;
  RestingAxes axes_;
  Eigen::Vector3d station_error_mm_ = Eigen::Vector3d::Zero();
};

}  // namespace pivotrace
