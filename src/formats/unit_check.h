// Do the positions of a survey make sense in the unit its record declares?
#pragma once

#include "pivotrace/machine/machine.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace::formats {

/// Smallest and largest shown position of a survey [mm].
struct PositionBox {
  Eigen::Vector3d low = Eigen::Vector3d::Constant(1e300);
  Eigen::Vector3d high = Eigen::Vector3d::Constant(-1e300);

  void add(const Eigen::Vector3d& p_mm) {
    low = low.cwiseMin(p_mm);
    high = high.cwiseMax(p_mm);
  }
  /// After multiplying every position by `factor`: does the box lie within the travel, widened?
  bool fits(const LinearAxes& axes, double slack_mm, double factor = 1.0) const;
};

/// True when the touches lie where the machine file expects the artefacts only after multiplying all
/// positions by `factor` (25.4 or 1/25.4): the mean distance from the nominal place then falls below
/// a quarter of what it is, and what it is exceeds 25 mm. Catches a swapped unit that the travel
/// cannot show: inch values read as mm are small and fit any travel that ends at zero.
bool other_unit_fits_better(const Machine& machine, const Survey& survey, double factor);

/// What the shape of the positions says, whatever they are counted from: their spread about their
/// middle against the spread that the machine file leads one to expect. Medians, so that a few rows
/// typed wrong do not matter.
struct ShapeOfPositions {
  bool known = false;      ///< the artefacts move more than a few mm from station to station
  bool unit_fits = false;  ///< the spread is within a factor of two of what is expected
  /// What to add to all positions to bring them where the artefacts are expected [mm].
  Eigen::Vector3d shift_mm = Eigen::Vector3d::Zero();
  bool shifted = false;  ///< by more than any rough guess, all rows alike
};

ShapeOfPositions shape_of_positions(const Machine& machine, const Survey& survey);

}  // namespace pivotrace::formats
