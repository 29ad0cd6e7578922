// Limits a result is judged against.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/results/value_name.h"

namespace pivotrace {

enum class LimitUnit { automatic, mm, inch, deg, arcsec, mm_per_300 };

/// One limit. `low` and `high` in `unit`; at least one of them, with low < high.
struct Limit {
  /// A pivot value (A.centre.Y, A.slope.B, A-C.distance), a deviation range (A.F_R, A.F_T, A.F_A), or
  /// with `change` the difference of a pivot value to a previous result.
  AskedValue value;
  bool change = false;
  std::optional<double> low;
  std::optional<double> high;
  LimitUnit unit = LimitUnit::automatic;
  Place where;
};

/// What parts are made: the box that holds them and the index positions features are cut at.
struct PartEnvelope {
  Eigen::Vector3d from_mm = Eigen::Vector3d::Zero();  ///< machine coordinates, rotary axes at 0
  Eigen::Vector3d to_mm = Eigen::Vector3d::Zero();
  std::vector<std::string> at;  ///< index positions, each "A=0 C=90", or lists (index_angles.h)
  std::optional<double> mismatch_mm;  ///< largest step allowed between features
  Place where;
};

struct Limits {
  std::string machine;  ///< empty = any
  bool inch = false;    ///< lengths without a unit of their own are in inches
  /// Width of the guard band in U95: 1 by ISO 14253-1, 0 = simple acceptance (JCGM 106 8.2.1).
  double guard_factor = 1.0;
  std::vector<Limit> limits;
  std::optional<PartEnvelope> part;
  std::string file;

  /// Every problem with these limits by themselves; empty when they can be used.
  Problems validate() const;
};

}  // namespace pivotrace
