// Where axes were and where they are, seen across them.
#pragma once

#include <string>
#include <vector>

#include "report/svg.h"

namespace pivotrace::report {

/// One axis before and after, seen so that it stands upright and one machine direction runs to the right.
struct ChangeView {
  std::string axis;           ///< "B"
  std::string towards;        ///< "X"
  double at_plane = 0.0;      ///< change in the quoted plane, in the unit of the chart
  double further = 0.0;       ///< change one `length` further along the axis
  double U95_at_plane = 0.0;  ///< 0: not known
  double U95_further = 0.0;   ///< of the lean alone, over that length; 0: not known
};

/// All views at one scale.
struct ChangeChart {
  std::string claim;  ///< "Axis B moved"
  std::string unit;   ///< of changes
  double units_per_length_unit = 1000.0;
  double length = 300.0;
  std::string length_unit;  ///< "mm"
  std::vector<ChangeView> views;
};
Svg change_chart(const ChangeChart& chart);

}  // namespace pivotrace::report
