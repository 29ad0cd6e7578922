// Fit results made from stated axis lines, for tests: no fit, no noise, every number invented.
#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

#include "pivotrace/results/result.h"

namespace pivotrace::testing {

/// One axis of an invented result. `line` may pass anywhere; it is quoted at `quoted_at_mm`.
struct SampleAxis {
  char letter = 'A';
  AxisSide side = AxisSide::work;
  LinearAxis along = LinearAxis::X;
  TurnSense turn = TurnSense::right_hand;
  Line line;
  double quoted_at_mm = 0.0;
  double u_location_mm = 0.001;
  double u_orientation_rad = 1e-5;
};

/// Dof infinite, U95 = 1.959964 u, absolute = sqrt(u^2 + (0.002 mm or 5e-6 rad)^2).
FitResult sample_result(const std::vector<SampleAxis>& axes);

/// A rotary table with its axis along X: centre Y -200.0123, Z -250.0342 at X = -300, leaning.
SampleAxis sample_a_axis();
/// A table turning about Z on it: centre X -299.987, Y -199.95 at Z = -250.
SampleAxis sample_c_axis();
/// A swivel head about Y on the tool side: pivot 200.1234 mm above the stylus centre.
SampleAxis sample_head_axis();

/// One work-side axis: sample_a_axis().
FitResult one_axis_result();
/// Trunnion: sample_a_axis() carrying sample_c_axis().
FitResult trunnion_result();

}  // namespace pivotrace::testing
