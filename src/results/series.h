// One value over time as pieces: level, sloping, with a step.
#pragma once

#include <cstddef>
#include <utility>
#include <vector>

namespace pivotrace {

/// x(t) with standard uncertainties of their own, oldest first.
struct Series {
  std::vector<double> time_s;
  std::vector<double> x;
  std::vector<double> u;
  /// Per result: errors it has in common with others, and how far one standard uncertainty of each shifts
  /// it. Empty: none.
  std::vector<std::vector<std::pair<std::size_t, double>>> shared = {};

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

/// A linear combination of results: sum of factor[k] x[k].
using Combination = std::vector<double>;
/// What line_through says at a time, as a combination of the results of the whole series.
Combination line_as_combination(const Series& series, std::size_t first, std::size_t last,
                                const LineThrough& line, double time_s);
/// Variance a combination has from errors several results share.
double shared_variance(const Series& series, const Combination& combination);
/// chi2 about a line when results may be off together by what they share.
double chi2_beside_shared(const Series& series, std::size_t first, std::size_t last,
                          const LineThrough& line);

/// Pieces between jumps: the first index of every piece, the first one 0.
std::vector<std::size_t> pieces_of(const Series& series);

}  // namespace pivotrace
