// One value over time as pieces: level, sloping, with a step.
#pragma once

#include <cstddef>
#include <vector>

namespace pivotrace {

/// x(t) with standard uncertainties of their own, oldest first.
struct Series {
  std::vector<double> time_s;
  std::vector<double> x;
  std::vector<double> u;

  std::size_t size() const { return x.size(); }
};

/// Weighted straight line (or level) through the results first .. last - 1.
struct LineThrough {
  double middle_s = 0.0;  ///< weighted mean time
  double level = 0.0;     ///< at middle_s
  double level_u = 0.0;
  double slope = 0.0;  ///< per second; 0 where only a level was asked for
  double slope_u = 0.0;
  double chi2 = 0.0;

  double at(double time_s) const { return level + slope * (time_s - middle_s); }
  double u_at(double time_s) const;
};
LineThrough line_through(const Series& series, std::size_t first, std::size_t last, bool sloping);

/// Pieces between jumps: the first index of every piece, the first one 0.
std::vector<std::size_t> pieces_of(const Series& series);

}  // namespace pivotrace
