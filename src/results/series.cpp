#include "results/series.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>

#include "pivotrace/results/statistics.h"

namespace pivotrace {

namespace {

/// Weighted sums over a stretch of a series; differences of running sums, so any stretch costs the same.
struct Sums {
  double w = 0.0, wt = 0.0, wtt = 0.0, wx = 0.0, wtx = 0.0, wxx = 0.0;

  Sums operator-(const Sums& o) const {
    return {w - o.w, wt - o.wt, wtt - o.wtt, wx - o.wx, wtx - o.wtx, wxx - o.wxx};
  }
  double level_chi2() const { return std::max(0.0, wxx - wx * wx / w); }
  double stt() const { return std::max(0.0, wtt - wt * wt / w); }
  double stx() const { return wtx - wt * wx / w; }
  double line_chi2() const {
    return stt() > 0.0 ? std::max(0.0, level_chi2() - stx() * stx() / stt()) : level_chi2();
  }
};

/// Time and value are counted from the middle of the series and in its own scale, so that the sums keep
/// their digits.
class RunningSums {
 public:
  explicit RunningSums(const Series& series) : sums_(series.size() + 1) {
    const std::size_t n = series.size();
    const double t0 = series.time_s[n / 2];
    const double x0 = series.x[n / 2];
    const double span = std::max(1.0, series.time_s.back() - series.time_s.front());
    for (std::size_t i = 0; i < n; ++i) {
      const double w = 1.0 / (series.u[i] * series.u[i]);
      const double t = (series.time_s[i] - t0) / span;
      const double x = series.x[i] - x0;
      const Sums& s = sums_[i];
      sums_[i + 1] = {s.w + w,      s.wt + w * t,      s.wtt + w * t * t,
                      s.wx + w * x, s.wtx + w * t * x, s.wxx + w * x * x};
    }
  }
  Sums between(std::size_t first, std::size_t last) const { return sums_[last] - sums_[first]; }

 private:
  std::vector<Sums> sums_;
};

/// Two levels, or two parallel lines: chi2 left over.
double stepped_chi2(const Sums& a, const Sums& b, bool sloping) {
  const double levels = a.level_chi2() + b.level_chi2();
  const double stt = a.stt() + b.stt();
  if (!sloping || !(stt > 0.0)) return levels;
  const double stx = a.stx() + b.stx();
  return std::max(0.0, levels - stx * stx / stt);
}

struct BestStep {
  std::size_t at = 0;
  double chi2 = std::numeric_limits<double>::infinity();
};

BestStep best_step(const RunningSums& sums, std::size_t first, std::size_t last, bool sloping) {
  BestStep best;
  for (std::size_t k = first + 1; k < last; ++k) {
    const double chi2 = stepped_chi2(sums.between(first, k), sums.between(k, last), sloping);
    if (chi2 < best.chi2) best = {k, chi2};
  }
  return best;
}

constexpr double step_or_slope_level = 0.01;

/// Where the stretch is best cut; `last` when it holds together.
std::size_t cut_of(const RunningSums& sums, std::size_t first, std::size_t last) {
  const std::size_t n = last - first;
  if (n < 3) return last;
  const double slope_cost = chi_squared_quantile(1.0 - step_or_slope_level, 1.0);
  const double step_cost =
      chi_squared_quantile(1.0 - step_or_slope_level / static_cast<double>(n - 1), 1.0);
  const Sums whole = sums.between(first, last);
  const BestStep level_step = best_step(sums, first, last, false);
  const BestStep sloping_step = best_step(sums, first, last, true);
  const double unbroken = std::min(whole.level_chi2(), whole.line_chi2() + slope_cost);
  const double level_broken = level_step.chi2 + step_cost;
  const double sloping_broken =
      n < 4 ? std::numeric_limits<double>::infinity() : sloping_step.chi2 + step_cost + slope_cost;
  if (unbroken <= std::min(level_broken, sloping_broken)) return last;
  return level_broken <= sloping_broken ? level_step.at : sloping_step.at;
}

void cut(const RunningSums& sums, std::size_t first, std::size_t last,
         std::vector<std::size_t>& starts) {
  const std::size_t at = cut_of(sums, first, last);
  if (at == last) return;
  cut(sums, first, at, starts);
  starts.push_back(at);
  cut(sums, at, last, starts);
}

}  // namespace

double LineThrough::u_at(double time_s) const {
  return std::hypot(level_u, slope_u * (time_s - middle_s));
}

LineThrough line_through(const Series& series, std::size_t first, std::size_t last, bool sloping) {
  double w = 0.0;
  double wt = 0.0;
  double wx = 0.0;
  const double t0 = series.time_s[first];
  const double x0 = series.x[first];
  for (std::size_t i = first; i < last; ++i) {
    const double weight = 1.0 / (series.u[i] * series.u[i]);
    w += weight;
    wt += weight * (series.time_s[i] - t0);
    wx += weight * (series.x[i] - x0);
  }
  LineThrough line;
  line.middle_s = t0 + wt / w;
  line.level = x0 + wx / w;
  line.level_u = 1.0 / std::sqrt(w);
  double stt = 0.0;
  double stx = 0.0;
  for (std::size_t i = first; i < last; ++i) {
    const double weight = 1.0 / (series.u[i] * series.u[i]);
    stt += weight * (series.time_s[i] - line.middle_s) * (series.time_s[i] - line.middle_s);
    stx += weight * (series.time_s[i] - line.middle_s) * (series.x[i] - line.level);
  }
  if (sloping && stt > 0.0) {
    line.slope = stx / stt;
    line.slope_u = 1.0 / std::sqrt(stt);
  }
  for (std::size_t i = first; i < last; ++i) {
    const double r = (series.x[i] - line.at(series.time_s[i])) / series.u[i];
    line.chi2 += r * r;
  }
  return line;
}

std::vector<std::size_t> pieces_of(const Series& series) {
  std::vector<std::size_t> starts = {0};
  if (series.size() >= 3) cut(RunningSums(series), 0, series.size(), starts);
  std::ranges::sort(starts);
  return starts;
}

}  // namespace pivotrace
