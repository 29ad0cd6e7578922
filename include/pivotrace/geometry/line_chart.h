// A nearly known line held as four numbers: two shifts and two tilts about a nominal line.
#pragma once

#include <Eigen/Core>
#include <cmath>

#include "pivotrace/geometry/line.h"
#include "pivotrace/geometry/rotation.h"

namespace pivotrace {

/// Parameters of a line about its nominal: (shift_first [mm], shift_second [mm], tilt_first [rad],
/// tilt_second [rad]), first and second from cross_pair(nominal direction).
///   point     = nominal point + shift_first e1 + shift_second e2   (stays in the quoted plane)
///   direction = (n + tilt_first e1 + tilt_second e2) / |...|
/// so tilt_first = tan of the lean towards e1. Good for leans below about 45 deg, and the
/// derivatives at small leans are plain: that is why it is used instead of a manifold.
template <class T>
using LineParameters = Eigen::Matrix<T, 4, 1>;

class LineChart {
 public:
  LineChart() : LineChart(Line{}) {}
  explicit LineChart(const Line& nominal)
      : nominal_(nominal), cross_(cross_pair(nominal.direction)) {}

  const Line& nominal() const { return nominal_; }
  const CrossPair& cross() const { return cross_; }

  template <class T>
  Eigen::Matrix<T, 3, 1> point(const LineParameters<T>& p) const {
    return nominal_.point_mm.template cast<T>() + cross_.first.template cast<T>() * p[0] +
           cross_.second.template cast<T>() * p[1];
  }

  template <class T>
  Eigen::Matrix<T, 3, 1> direction(const LineParameters<T>& p) const {
    const Eigen::Matrix<T, 3, 1> leaning = nominal_.direction.template cast<T>() +
                                           cross_.first.template cast<T>() * p[2] +
                                           cross_.second.template cast<T>() * p[3];
    using std::sqrt;
    return leaning / sqrt(leaning.squaredNorm());
  }

  Line line(const LineParameters<double>& p) const {
    return {point<double>(p), direction<double>(p)};
  }

  /// d direction / d (tilt_first, tilt_second), 3x2.
  Eigen::Matrix<double, 3, 2> direction_by_tilt(const LineParameters<double>& p) const;

  /// Parameters of any line that meets the quoted plane: inverse of `line`.
  LineParameters<double> parameters(const Line& line) const;

 private:
  Line nominal_;
  CrossPair cross_;
};

}  // namespace pivotrace
