// Surveys made up at random from a stated truth. Shares no code with the core.
#pragma once

#include <Eigen/Core>
#include <random>
#include <vector>

#include "board.h"

namespace pivotrace::testing {

struct DrawOptions {
  int axes = 1;
  bool tool_side = false;
  bool pin = false;
  bool motion = false;  ///< axes are also displaced at their index positions
  bool rough = true;    ///< nominal values up to 10 mm and 0.05 rad off; else 0.3 mm, 0.001 rad
  bool free_diameter = false;
  bool tilted = false;            ///< directions along no machine axis
  bool uncertain_sigmas = false;  ///< stated sigmas are themselves drawn, with 8 degrees of freedom
  bool common = true;             ///< probe offset, diameter, scales and squarenesses are off
  bool noise = true;
  int dof = 8;
  double arm_mm = 70.0;  ///< largest distance of the artefact from an axis
};

struct TrueLine {
  Eigen::Vector3d point_mm;
  Eigen::Vector3d direction;
};

struct DrawnSurvey {
  BoardJob job;
  std::vector<TrueLine> lines;

  /// True location minus nominal centre, in the quoted plane [mm], and ISO angles [rad].
  Eigen::Vector3d location_mm(std::size_t axis) const;
  Eigen::Vector3d orientation_rad(std::size_t axis) const;
};

DrawnSurvey draw_survey(const DrawOptions& options, std::mt19937_64& random);

Eigen::Vector3d millimetres(const std::array<std::int32_t, 3>& counts);
/// Unit vector of a direction in whole numbers.
Eigen::Vector3d unit(const std::array<std::int32_t, 3>& direction);

}  // namespace pivotrace::testing
