#include "results/series.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

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

/// Variance of the step between two neighbours from errors only one of them has.
double step_variance(const Series& series, std::size_t at) {
  if (series.shared.empty()) return 0.0;
  Combination step(series.size(), 0.0);
  step[at] = 1.0;
  step[at - 1] = -1.0;
  return shared_variance(series, step);
}

class Steps {
 public:
  explicit Steps(const Series& series) : sums_(series), variances_(series.size(), 0.0) {
    for (std::size_t k = 1; k < series.size(); ++k) variances_[k] = step_variance(series, k);
  }

  Sums between(std::size_t first, std::size_t last) const { return sums_.between(first, last); }

  BestStep best(std::size_t first, std::size_t last, bool sloping) const {
    BestStep best;
    const Sums whole = between(first, last);
    const double unbroken = sloping ? whole.line_chi2() : whole.level_chi2();
    for (std::size_t k = first + 1; k < last; ++k) {
      const double chi2 = unbroken - gain(first, k, last, sloping, unbroken);
      if (chi2 < best.chi2) best = {k, chi2};
    }
    return best;
  }

 private:
  /// chi2 a step saves: size^2 / variance. What only one side has makes its variance larger.
  double gain(std::size_t first, std::size_t k, std::size_t last, bool sloping,
              double unbroken) const {
    const Sums a = between(first, k);
    const Sums b = between(k, last);
    const double variance = 1.0 / a.w + 1.0 / b.w;
    return (unbroken - stepped_chi2(a, b, sloping)) * variance / (variance + variances_[k]);
  }

  RunningSums sums_;
  std::vector<double> variances_;
};

constexpr double step_or_slope_level = 0.01;

/// Where the stretch is best cut; `last` when it holds together.
std::size_t cut_of(const Steps& steps, std::size_t first, std::size_t last) {
  const std::size_t n = last - first;
  if (n < 2) return last;
  const double slope_cost = chi_squared_quantile(1.0 - step_or_slope_level, 1.0);
  const double step_cost =
      chi_squared_quantile(1.0 - step_or_slope_level / static_cast<double>(n - 1), 1.0);
  const Sums whole = steps.between(first, last);
  const BestStep level_step = steps.best(first, last, false);
  const BestStep sloping_step = steps.best(first, last, true);
  // Two results make a step, never a slope.
  const double unbroken =
      n < 3 ? whole.level_chi2() : std::min(whole.level_chi2(), whole.line_chi2() + slope_cost);
  const double level_broken = level_step.chi2 + step_cost;
  const double sloping_broken =
      n < 4 ? std::numeric_limits<double>::infinity() : sloping_step.chi2 + step_cost + slope_cost;
  if (unbroken <= std::min(level_broken, sloping_broken)) return last;
  return level_broken <= sloping_broken ? level_step.at : sloping_step.at;
}

void cut(const Steps& steps, std::size_t first, std::size_t last,
         std::vector<std::size_t>& starts) {
  const std::size_t at = cut_of(steps, first, last);
  if (at == last) return;
  cut(steps, first, at, starts);
  starts.push_back(at);
  cut(steps, at, last, starts);
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

Combination line_as_combination(const Series& series, std::size_t first, std::size_t last,
                                const LineThrough& line, double time_s) {
  Combination combination(series.size(), 0.0);
  const double level_variance = line.level_u * line.level_u;
  const double slope_variance = line.slope_u * line.slope_u;
  for (std::size_t k = first; k < last; ++k) {
    const double weight = 1.0 / (series.u[k] * series.u[k]);
    combination[k] = weight * (level_variance + slope_variance * (time_s - line.middle_s) *
                                                    (series.time_s[k] - line.middle_s));
  }
  return combination;
}

double shared_variance(const Series& series, const Combination& combination) {
  std::map<std::size_t, double> shifts;
  for (std::size_t k = 0; k < series.shared.size(); ++k) {
    if (combination[k] == 0.0) continue;
    for (const auto& [error, shift] : series.shared[k]) shifts[error] += combination[k] * shift;
  }
  double variance = 0.0;
  for (const auto& [error, shift] : shifts) variance += shift * shift;
  return variance;
}

// r' (D + H H')^-1 r = r' D^-1 r - z' (1 + H' D^-1 H)^-1 z, z = H' D^-1 r.
double chi2_beside_shared(const Series& series, std::size_t first, std::size_t last,
                          const LineThrough& line) {
  if (series.shared.empty()) return line.chi2;
  std::map<std::size_t, Eigen::Index> columns;
  for (std::size_t k = first; k < last; ++k) {
    for (const auto& [error, shift] : series.shared[k]) {
      columns.emplace(error, static_cast<Eigen::Index>(columns.size()));
    }
  }
  const auto size = static_cast<Eigen::Index>(columns.size());
  Eigen::MatrixXd information = Eigen::MatrixXd::Identity(size, size);
  Eigen::VectorXd z = Eigen::VectorXd::Zero(size);
  for (std::size_t k = first; k < last; ++k) {
    Eigen::VectorXd row = Eigen::VectorXd::Zero(size);
    for (const auto& [error, shift] : series.shared[k])
      row[columns.at(error)] = shift / series.u[k];
    information += row * row.transpose();
    z += row * (series.x[k] - line.at(series.time_s[k])) / series.u[k];
  }
  return line.chi2 - z.dot(information.llt().solve(z));
}

std::vector<std::size_t> pieces_of(const Series& series) {
  std::vector<std::size_t> starts = {0};
  if (series.size() >= 2) cut(Steps(series), 0, series.size(), starts);
  std::ranges::sort(starts);
  return starts;
}

}  // namespace pivotrace
