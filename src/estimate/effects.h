// Small systematic effects on a touch: the same list serves as common-mode uncertainty and as
// optional unknowns.
#pragma once

#include <Eigen/Core>
#include <span>
#include <vector>

#include "pivotrace/machine/state.h"
#include "pivotrace/results/effect.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace {

/// What one unit of an effect does to one touch.
struct EffectOnTouch {
  Eigen::Vector3d shown = Eigen::Vector3d::Zero();  ///< added to the shown position
  Eigen::Vector3d arm = Eigen::Vector3d::Zero();    ///< added to the stylus arm
  RotaryAngles angles{};                            ///< added to the rotary angles
  double gap = 0.0;                                 ///< added to the gap
};

/// Everything needed besides the touch itself.
struct EffectContext {
  Eigen::Vector3d origin_mm = Eigen::Vector3d::Zero();  ///< scale and squareness are zero here
  double mean_time_s = 0.0;                             ///< drift is zero here
  Eigen::Vector3d middle_mm =
      Eigen::Vector3d::Zero();  ///< of all positions shown: bow is zero here
  double first_time_s = 0.0;
  double last_time_s = 0.0;        ///< no later than the first: no times were recorded
  std::span<const Touch> in_turn;  ///< the touches of the survey, which outlives this
  /// Of every touch, -1/2 to 1/2 about the mean: how much of the run is over.
  std::vector<double> part_of_run;
  std::vector<RotaryAngles> angles_rad;  ///< per station, as commanded
  /// +1, -1 or 0 per station and axis: side from which the angle was reached, 0 = not known.
  std::vector<RotaryAngles> reached_from;
};

/// What the touches of a survey bring as unknowns of their own: the zero of each setting of an indicator,
/// the way from the first stylus to each other one, and, where each was used at both sides of the
/// spindle, what of it turns with the spindle.
std::vector<Effect> effects_of_survey(const Survey& survey);

/// Adds one that is not there yet.
void add_once(std::vector<Effect>& effects, const Effect& effect);

EffectContext effect_context(const Machine& machine, const Survey& survey);

/// Of a touch of the survey the context was made of.
EffectOnTouch effect_on_touch(const Effect& effect, const Touch& touch,
                              const Eigen::Vector3d& outward_in_spindle,
                              const EffectContext& context);

}  // namespace pivotrace
