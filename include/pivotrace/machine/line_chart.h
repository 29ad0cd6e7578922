// A nearly known line held as four numbers, from and to the lines of this machine.
#pragma once

#include <Eigen/Core>

#include "pivotrace/contact/near_line.h"
#include "pivotrace/geometry/line.h"
#include "pivotrace/geometry/rotation.h"

namespace pivotrace {

/// Parameters of a line about its nominal: (shift_first [mm], shift_second [mm], tilt_first [rad],
/// tilt_second [rad]), first and second from cross_pair(nominal direction). Formula and limits:
/// contact/near_line.h. The point stays in the quoted plane.
using LineParameters = Eigen::Vector4d;

class LineChart {
 public:
  LineChart() : LineChart(Line{}) {}
  explicit LineChart(const Line& nominal);

  const Line& nominal() const { return nominal_; }
  const CrossPair& cross() const { return cross_; }
  const contact::NearLine<double>& near_line() const { return near_line_; }

  Line line(const LineParameters& p) const;
  contact::Lean<double> lean(const LineParameters& p) const;

  /// Parameters of any line that meets the quoted plane: inverse of `line`.
  LineParameters parameters(const Line& line) const;

 private:
  Line nominal_;
  CrossPair cross_;
  contact::NearLine<double> near_line_;
};

}  // namespace pivotrace
