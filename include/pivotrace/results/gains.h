// How the values of one survey answer to what another survey of the same machine may share with it.
#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

#include "pivotrace/results/effect.h"

namespace pivotrace {

/// One error that is the same for all touches of a survey, or for all at one index position, with what
/// it does to every value: value = true value + gains * error.
struct SharedTerm {
  enum class Kind {
    effect,             ///< of probe or slides: an offset, a scale, lobing, a bow, ...
    artefact_diameter,  ///< error of the stated radius [mm]
    stylus_diameter,    ///< likewise
    index_error,        ///< of one index position [rad]
    axis_motion,        ///< one coordinate of where the axis is at one index position [mm]
  };
  Kind kind = Kind::effect;
  EffectName effect;        ///< effect
  std::string artefact;     ///< artefact_diameter: name in the machine file
  char axis = '\0';         ///< index_error, axis_motion
  double angle_rad = 0.0;   ///< likewise, from 0 to a turn
  int side = 0;             ///< likewise: -1, +1 = reached from below, above; 0 = not told apart
  int component = 0;        ///< axis_motion: 0..2
  double u = 0.0;           ///< standard uncertainty; 0 where the error is bounded instead
  double half_width = 0.0;  ///< bound; 0 where `u` is stated
  Eigen::VectorXd gains;    ///< (n) in the order of JointCovariance::names
};

/// Index errors and motions are part of JointCovariance::repeatable, all else with a `u` is what
/// `absolute` has beyond it; bounded errors are in neither.
struct SurveyGains {
  Eigen::Vector3d origin_mm = Eigen::Vector3d::Zero();  ///< scale and squareness are zero here
  Eigen::Vector3d middle_mm = Eigen::Vector3d::Zero();  ///< bows are zero here
  std::vector<SharedTerm> terms;                        ///< empty: not known (an old result)
};

}  // namespace pivotrace
