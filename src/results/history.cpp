#include "pivotrace/results/history.h"

#include <algorithm>
#include <cmath>
#include <map>

#include "base/iso_time.h"
#include "pivotrace/results/statistics.h"
#include "results/epoch_pair.h"
#include "results/in_common.h"
#include "results/level_filter.h"
#include "results/line_motion.h"
#include "results/series.h"

namespace pivotrace {

namespace {

using Why = LeftOutOfHistory::Why;

constexpr double two_sided_95 = 0.975;
/// Level of a slope: common practice, no source.
constexpr double slope_level = 0.01;

std::vector<char> estimated_axes(const FitResult& result) {
  std::vector<char> letters;
  for (const AxisResult& axis : result.axes) {
    if (axis.estimated) letters.push_back(axis.letter);
  }
  return letters;
}

std::string touches_hash(const FitResult& result) {
  const auto input = std::ranges::find(result.inputs, "touches", &InputFile::role);
  return input == result.inputs.end() ? std::string() : input->sha256;
}

void fill_values(const FitResult& result, Epoch& epoch) {
  std::vector<Eigen::Index> kept;
  std::vector<double> values;
  std::vector<double> largest;
  for (std::size_t i = 0; i < result.covariance.names.size(); ++i) {
    const ValueName& name = result.covariance.names[i];
    const Estimate* estimate = find_estimate(result, name);
    const auto axis = std::ranges::find(result.axes, name.axis, &AxisResult::letter);
    if (estimate == nullptr || axis == result.axes.end()) continue;
    kept.push_back(static_cast<Eigen::Index>(i));
    epoch.names.push_back(name);
    epoch.quoted_at_mm.push_back(name.kind == ValueKind::centre ? axis->quoted_at_mm : 0.0);
    epoch.dofs.push_back(estimate->dof);
    values.push_back(estimate->value);
    largest.push_back(estimate->B_absolute);
  }
  epoch.values =
      Eigen::Map<Eigen::VectorXd>(values.data(), static_cast<Eigen::Index>(values.size()));
  epoch.B = Eigen::Map<Eigen::VectorXd>(largest.data(), epoch.values.size());
  epoch.covariance = result.covariance.absolute(kept, kept);
  epoch.repeatable = result.covariance.repeatable(kept, kept);
  epoch.gains = result.gains;
  for (SharedTerm& term : epoch.gains.terms) term.gains = Eigen::VectorXd(term.gains(kept));
}

}  // namespace

std::optional<Epoch> epoch_of(const FitResult& result, const std::string& file,
                              std::vector<LeftOutOfHistory>& left_out) {
  const auto refused = [&](Why why, std::string detail = {}) {
    left_out.push_back({file, why, std::move(detail)});
    return std::nullopt;
  };
  if (!result.usable) return refused(Why::not_usable);
  const auto time_s = seconds_from_iso(result.started);
  if (!time_s) return refused(Why::no_date, result.started);
  Epoch epoch;
  epoch.file = file;
  epoch.started = result.started;
  epoch.time_s = *time_s;
  epoch.simulated = result.simulated;
  epoch.touches_hash = touches_hash(result);
  epoch.conditions = result.conditions;
  fill_values(result, epoch);
  if (epoch.names.empty()) return refused(Why::no_values);
  epoch.shift_gains =
      motion_gains(result, epoch.names, estimated_axes(result), Eigen::Vector3d::Zero())
          .leftCols<3>();
  return epoch;
}

namespace {

void drop_duplicates(std::vector<Epoch>& epochs, std::vector<LeftOutOfHistory>& left_out) {
  std::map<std::string, std::string> seen;
  std::erase_if(epochs, [&](const Epoch& epoch) {
    if (epoch.touches_hash.empty()) return false;
    const auto [first, fresh] = seen.emplace(epoch.touches_hash, epoch.file);
    if (!fresh) left_out.push_back({epoch.file, Why::duplicate, first->second});
    return !fresh;
  });
}

/// Those with the compensation of the newest one alone can be followed.
void drop_other_tables(std::vector<Epoch>& epochs, std::vector<LeftOutOfHistory>& left_out) {
  if (epochs.empty()) return;
  const Conditions newest = epochs.back().conditions;
  std::erase_if(epochs, [&](const Epoch& epoch) {
    const bool other = other_tables(epoch.conditions, newest);
    if (other) left_out.push_back({epoch.file, Why::other_tables, {}});
    return other;
  });
}

std::vector<OtherConditions> other_conditions(const std::vector<Epoch>& epochs) {
  std::vector<OtherConditions> all;
  for (std::size_t e = 0; e + 1 < epochs.size(); ++e) {
    for (const CompareNote& note :
         notes_on_conditions(epochs[e].conditions, epochs.back().conditions)) {
      auto same = std::ranges::find(all, note, &OtherConditions::what);
      if (same == all.end()) same = all.insert(all.end(), {note, {}});
      same->epochs.push_back(e);
    }
  }
  return all;
}

/// Place of a value among those of an epoch, in the same plane; -1 where it is not there.
Eigen::Index place_of(const Epoch& epoch, const ValueName& name, double quoted_at_mm) {
  constexpr double same_plane_mm = 1e-6;
  for (std::size_t i = 0; i < epoch.names.size(); ++i) {
    if (epoch.names[i] == name && std::abs(epoch.quoted_at_mm[i] - quoted_at_mm) <= same_plane_mm) {
      return static_cast<Eigen::Index>(i);
    }
  }
  return -1;
}

/// Of one value as an axis stands on another day: with all it may be off by, and what may lie between.
double whole_U95(const Epoch& epoch, Eigen::Index at, double between_mm) {
  const double between = between_mm * epoch.shift_gains.row(at).cwiseAbs().sum();
  return bounded_expanded(std::sqrt(epoch.covariance(at, at)),
                          epoch.dofs[static_cast<std::size_t>(at)],
                          std::hypot(epoch.B[at], between));
}

class Maker {
 public:
  Maker(History& history, const HistoryOptions& options)
      : history_(history),
        options_(options),
        errors_(shared_errors(history.epochs, options.between_surveys_mm)) {}

  void make() {
    const Epoch& newest = history_.epochs.back();
    std::vector<char> letters;
    for (std::size_t i = 0; i < newest.names.size(); ++i) {
      gather(newest.names[i], newest.quoted_at_mm[i]);
      if (std::ranges::find(letters, newest.names[i].axis) == letters.end()) {
        letters.push_back(newest.names[i].axis);
      }
    }
    for (const char letter : letters) chart_axis(letter);
    for (std::size_t i = 0; i < history_.values.size(); ++i) follow(i);
  }

 private:
  void gather(const ValueName& name, double quoted_at_mm) {
    ValueHistory value;
    value.name = name;
    Series series;
    for (std::size_t e = 0; e < history_.epochs.size(); ++e) {
      const Epoch& epoch = history_.epochs[e];
      const Eigen::Index at = place_of(epoch, name, quoted_at_mm);
      if (at < 0) continue;
      value.points.push_back(
          {e, epoch.values[at], whole_U95(epoch, at, options_.between_surveys_mm)});
      series.time_s.push_back(epoch.time_s);
      series.x.push_back(epoch.values[at]);
      series.u.push_back(errors_.own[e](at, at));
      auto& shared = series.shared.emplace_back();
      for (const SharedShift& shift : errors_.of_epoch[e]) {
        shared.emplace_back(shift.error, shift.shifts[at]);
      }
    }
    share_evenly(series);
    places_.push_back(quoted_at_mm);
    history_.values.push_back(std::move(value));
    series_.push_back(std::move(series));
  }

  /// Of a shared error the mean of its shifts stays shared; where a result differs from that it has more of
  /// its own. `u` holds variances before, standard uncertainties after.
  static void share_evenly(Series& series) {
    std::map<std::size_t, std::pair<double, int>> sums;
    for (const auto& shared : series.shared) {
      for (const auto& [error, shift] : shared) {
        sums[error].first += shift;
        ++sums[error].second;
      }
    }
    for (std::size_t k = 0; k < series.size(); ++k) {
      for (auto& [error, shift] : series.shared[k]) {
        const double mean = sums[error].first / sums[error].second;
        series.u[k] += (shift - mean) * (shift - mean);
        shift = mean;
      }
      series.u[k] = std::sqrt(series.u[k]);
    }
  }

  /// Chart of one value with a fresh start at every piece.
  void chart(std::size_t i, const std::vector<std::size_t>& starts) {
    ValueHistory& value = history_.values[i];
    std::optional<LevelFilter> filter;
    double Z = 0.0;
    const double scale = std::sqrt((2.0 - options_.weight) / options_.weight);
    for (std::size_t k = 0; k < value.points.size(); ++k) {
      HistoryPoint& point = value.points[k];
      if (std::ranges::find(starts, k) != starts.end()) {
        filter.emplace(errors_);
        Z = 0.0;
      }
      const std::vector<Eigen::Index> at = {
          place_of(history_.epochs[point.epoch], value.name, places_[i])};
      const auto residual = filter->add(point.epoch, at, Eigen::VectorXd::Constant(1, point.value));
      point.residual = residual ? (*residual)[0] : not_run;
      if (residual) Z += options_.weight * (point.residual - Z);
      point.chart = Z * scale;
      point.alarm = std::abs(point.chart) > history_.design.limit;
    }
  }

  /// Residuals of all values of an axis together.
  void chart_axis(char letter) {
    AxisHistory axis;
    axis.letter = letter;
    std::vector<std::size_t> values;
    for (std::size_t i = 0; i < history_.values.size(); ++i) {
      if (history_.values[i].name.axis == letter) values.push_back(i);
    }
    const auto n = static_cast<Eigen::Index>(values.size());
    axis.design = design(static_cast<int>(n));
    LevelFilter filter(errors_);
    Eigen::VectorXd Z = Eigen::VectorXd::Zero(n);
    for (std::size_t e = 0; e < history_.epochs.size(); ++e) {
      const std::vector<Eigen::Index> at = places(e, values);
      if (std::ranges::find(at, -1) != at.end()) continue;
      const auto residual = filter.add(e, at, history_.epochs[e].values(at));
      if (residual) Z += options_.weight * (*residual - Z);
      axis.epochs.push_back(e);
      axis.statistic.push_back(Z.squaredNorm() * (2.0 - options_.weight) / options_.weight);
      axis.alarm.push_back(axis.statistic.back() > axis.design.limit);
    }
    history_.axes.push_back(std::move(axis));
  }

  std::vector<Eigen::Index> places(std::size_t e, const std::vector<std::size_t>& values) const {
    std::vector<Eigen::Index> at;
    for (const std::size_t i : values) {
      at.push_back(place_of(history_.epochs[e], history_.values[i].name, places_[i]));
    }
    return at;
  }

  VectorEwmaDesign design(int size) {
    const auto known = designs_.find(size);
    if (known != designs_.end()) return known->second;
    return designs_[size] = design_vector_ewma(size, options_.weight, options_.run_length);
  }

  bool cried(std::size_t i) const {
    const ValueHistory& value = history_.values[i];
    if (std::ranges::any_of(value.points, &HistoryPoint::alarm)) return true;
    const auto axis = std::ranges::find(history_.axes, value.name.axis, &AxisHistory::letter);
    return std::ranges::find(axis->alarm, true) != axis->alarm.end();
  }

  void follow(std::size_t i) {
    const Series& series = series_[i];
    chart(i, {0});
    const bool opened = cried(i);
    const std::vector<std::size_t> starts =
        opened ? pieces_of(series) : std::vector<std::size_t>{0};
    if (starts.size() > 1) chart(i, starts);
    ValueHistory& value = history_.values[i];
    value.scatter = scatter_about(series, starts);
    for (std::size_t p = 1; p < starts.size(); ++p) {
      const std::size_t end = p + 1 < starts.size() ? starts[p + 1] : series.size();
      value.jumps.push_back(jump(series, starts[p - 1], starts[p], end, value.scatter));
    }
    fill_trend(series, starts.back(), opened, value);
    fill_next(series, starts.back(), value);
  }

  /// sqrt(chi2 / dof) about the pieces where that is more than chance makes of it (1 %), else 1.
  static double scatter_about(const Series& series, const std::vector<std::size_t>& starts) {
    double chi2 = 0.0;
    double dof = 0.0;
    for (std::size_t p = 0; p < starts.size(); ++p) {
      const std::size_t end = p + 1 < starts.size() ? starts[p + 1] : series.size();
      const bool sloping = end - starts[p] > 2;
      chi2 +=
          chi2_beside_shared(series, starts[p], end, line_through(series, starts[p], end, sloping));
      dof += static_cast<double>(end - starts[p]) - (sloping ? 2.0 : 1.0);
    }
    if (dof < 1.0 || chi2 < chi_squared_quantile(1.0 - slope_level, dof)) return 1.0;
    return std::sqrt(chi2 / dof);
  }

  /// Between the lines (levels) on both sides, half-way between the two results.
  static Jump jump(const Series& series, std::size_t first, std::size_t at, std::size_t end,
                   double scatter) {
    const double t = 0.5 * (series.time_s[at - 1] + series.time_s[at]);
    const LineThrough before = significant_line(series, first, at);
    const LineThrough after = significant_line(series, at, end);
    Combination step = line_as_combination(series, at, end, after, t);
    const Combination from = line_as_combination(series, first, at, before, t);
    for (std::size_t k = 0; k < step.size(); ++k) step[k] -= from[k];
    Jump jump;
    jump.before = at - 1;
    jump.size = after.at(t) - before.at(t);
    jump.U95 = normal_quantile(two_sided_95) *
               std::hypot(scatter * std::hypot(before.u_at(t), after.u_at(t)),
                          std::sqrt(shared_variance(series, step)));
    return jump;
  }

  static LineThrough significant_line(const Series& series, std::size_t first, std::size_t last) {
    if (last - first > 2) {
      const LineThrough line = line_through(series, first, last, true);
      if (std::abs(line.slope) > normal_quantile(1.0 - 0.5 * slope_level) * line.slope_u)
        return line;
    }
    return line_through(series, first, last, false);
  }

  /// Of the line at `time_s` less the line at `origin_s`; without an origin, of the value itself there.
  static double line_u(const Series& series, std::size_t first, const LineThrough& line,
                       double time_s, std::optional<double> origin_s, double own) {
    Combination rise = line_as_combination(series, first, series.size(), line, time_s);
    if (origin_s) {
      const Combination from = line_as_combination(series, first, series.size(), line, *origin_s);
      for (std::size_t k = 0; k < rise.size(); ++k) rise[k] -= from[k];
    }
    return std::hypot(own, std::sqrt(shared_variance(series, rise)));
  }

  static void fill_trend(const Series& series, std::size_t first, bool opened,
                         ValueHistory& value) {
    value.trend.results = static_cast<int>(series.size() - first);
    if (value.trend.results < 3) return;
    const LineThrough line = line_through(series, first, series.size(), true);
    const double second_later = line.middle_s + 1.0;
    const double u =
        line_u(series, first, line, second_later, line.middle_s, line.slope_u * value.scatter);
    value.trend.per_month = line.slope * seconds_per_month;
    value.trend.U95 = normal_quantile(two_sided_95) * u * seconds_per_month;
    value.trend.creeps =
        opened && std::abs(line.slope) > normal_quantile(1.0 - 0.5 * slope_level) * u;
  }

  bool limits_value_itself(const ValueName& name) const {
    return std::ranges::any_of(options_.rooms, [&](const ValueRoom& room) {
      return room.name == name && !room.of_change;
    });
  }

  void fill_next(const Series& series, std::size_t first, ValueHistory& value) const {
    const bool enough = value.trend.results >= 3;
    const LineThrough line = line_through(series, first, series.size(), enough);
    const double first_s = series.time_s[first];
    const double start = line.at(first_s);
    const auto room = room_from(value.name, start, options_.rooms, options_.within_mm);
    if (!room) return;
    value.limits = room->from(-start);
    using Kind = NextCheck::Kind;
    value.next.kind = Kind::not_enough_results;
    if (!enough) return;
    const std::optional<double> origin_s =
        limits_value_itself(value.name) ? std::nullopt : std::optional(first_s);
    const auto over = [&](double time_s) {
      const double u =
          line_u(series, first, line, time_s, origin_s, value.scatter * line.u_at(time_s));
      return normal_quantile(two_sided_95) * u > room->left_at(line.at(time_s) - start);
    };
    const double last = series.time_s.back();
    double low = last;
    double high = last + horizon_months * seconds_per_month;
    value.next.kind = over(low) ? Kind::overdue : Kind::beyond_horizon;
    if (over(low) || !over(high)) return;
    while (high - low > 3600.0) {
      const double middle = 0.5 * (low + high);
      (over(middle) ? high : low) = middle;
    }
    value.next = {Kind::by_date, low};
  }

  History& history_;
  const HistoryOptions& options_;
  SharedErrors errors_;
  std::vector<Series> series_;  ///< per value
  std::vector<double> places_;  ///< per value: its plane
  std::map<int, VectorEwmaDesign> designs_;
};

}  // namespace

bool History::simulated() const { return std::ranges::any_of(epochs, &Epoch::simulated); }

bool History::alarmed() const {
  const bool by_value = std::ranges::any_of(values, [](const ValueHistory& value) {
    return !value.jumps.empty() || value.trend.creeps ||
           std::ranges::any_of(value.points, &HistoryPoint::alarm);
  });
  return by_value || std::ranges::any_of(axes, [](const AxisHistory& axis) {
           return std::ranges::find(axis.alarm, true) != axis.alarm.end();
         });
}

History make_history(std::string machine_name, std::vector<Epoch> epochs,
                     std::vector<LeftOutOfHistory> left_out, const HistoryOptions& options) {
  History history;
  history.machine_name = std::move(machine_name);
  std::ranges::stable_sort(epochs, std::less<>(), &Epoch::time_s);
  drop_duplicates(epochs, left_out);
  drop_other_tables(epochs, left_out);
  history.epochs = std::move(epochs);
  history.left_out = std::move(left_out);
  history.conditions = other_conditions(history.epochs);
  history.run_length = options.run_length;
  history.between_surveys_mm = options.between_surveys_mm;
  history.design = design_ewma(options.weight, options.run_length);
  if (!history.epochs.empty()) Maker(history, options).make();
  return history;
}

}  // namespace pivotrace
