#include "report/result_figures.h"

#include <fmt/format.h>

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <variant>

#include "base/number_text.h"
#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/part_steps.h"
#include "pivotrace/report/judge_text.h"
#include "pivots/fitted_machine.h"
#include "report/charts.h"

namespace pivotrace::report {

namespace {

constexpr const char* degree = "\xC2\xB0";
constexpr const char* plus_minus = " \xC2\xB1 ";

/// |w| above this is suspect: 0.1 % two-sided (normal distribution, from memory), as on the inspection
/// sheet.
constexpr double suspect_w = 3.3;

/// Round an axis nobody said a part for. Common practice, no source.
constexpr double assumed_half_box_mm = 50.0;
/// More positions than this no page shows legibly.
constexpr std::size_t most_positions = 12;

/// The two machine directions that an axis is seen along: to the right and up, seen from its + end.
struct View {
  int right = 0;
  int up = 1;
  bool named = false;
};

View view_along(const AxisResult& axis) {
  if (!axis.along) return {};
  const int along = static_cast<int>(*axis.along);
  return {(along + 1) % 3, (along + 2) % 3, true};
}

std::string direction_word(int direction) { return std::string(1, "XYZ"[direction]); }

std::string degrees_text(double radians) {
  return fmt::format("{:.6g}{}", deg_from_rad(radians) + 0.0, degree);
}

std::string amount_text(double value, double U95, const std::string& unit) {
  const int decimals = decimals_for(U95, 2);
  return shown_signed(value, decimals) + plus_minus + shown(U95, decimals) + " " + unit;
}

/// Where the line of an axis pierces the plane through its quoted point, square to its nominal
/// direction, and how it runs there.
Eigen::Vector3d at_distance(const AxisResult& axis, const Line& line, double s_mm) {
  const Eigen::Vector3d along = axis.nominal.direction;
  const double reach = along.dot(axis.line.point_mm - line.point_mm) + s_mm;
  return line.point_mm + line.direction * (reach / along.dot(line.direction));
}

/// Covariance, expanded to 95 %, of the right and up coordinates of the line at this distance.
Eigen::Matrix2d expanded_at(const FitResult& result, std::size_t axis, double s_mm) {
  const FittedMachine fitted(result);
  const View view = view_along(result.axes[axis]);
  const Eigen::MatrixXd covariance = fitted.covariance_of([&](const MachineState& state) {
    const Eigen::Vector3d p = at_distance(result.axes[axis], state.axis_lines[axis], s_mm);
    return Eigen::VectorXd(Eigen::Vector2d(p[view.right], p[view.up]));
  });
  return std::pow(fitted.coverage_factor(), 2) * Eigen::Matrix2d(covariance);
}

/// The absolute U95 that the sheet states of the value of this direction; nothing where it has none.
std::optional<double> stated_U95(const std::vector<NamedEstimate>& values, int direction) {
  for (const NamedEstimate& named : values) {
    if (component(named.name) == direction) return named.estimate.U95_absolute;
  }
  return std::nullopt;
}

/// What makes U95 out of this variance what is stated: every value has its own degrees of freedom and
/// bounds, a covariance has not.
double ratio_to(std::optional<double> stated, double variance) {
  return stated && std::isfinite(*stated) && variance > 0.0 ? *stated / std::sqrt(variance) : 1.0;
}

}  // namespace

double PageUnit::small(double mm) const {
  return unit_ == LengthUnit::inch ? 1e4 * mm / mm_per_inch : 1e3 * mm;
}

double PageUnit::from_mm(double mm) const {
  return unit_ == LengthUnit::inch ? mm / mm_per_inch : mm;
}

double PageUnit::lean_length_mm() const {
  return unit_ == LengthUnit::inch ? 12.0 * mm_per_inch : 300.0;
}

// --- values ---------------------------------------------------------------------------------------

Figure values_figure(const FitResult& result, const PageUnit& unit) {
  Figure figure;
  ValueChart chart{unit.small_word(), {}};
  figure.numbers.head = {"centre", unit.word(), "U95", "from nominal, " + unit.small_word()};
  const ValueRow* largest = nullptr;
  for (const AxisResult& axis : result.axes) {
    if (!axis.estimated) continue;
    for (const NamedEstimate& named : axis.centre) {
      const Estimate& e = named.estimate;
      const double change = e.value - axis.nominal.point_mm[component(named.name)];
      chart.rows.push_back({text_of(named.name), unit.small(change), unit.small(e.U95_absolute)});
      const int decimals = decimals_for(unit.from_mm(e.U95_absolute), 6);
      const ValueRow& row = chart.rows.back();
      figure.numbers.rows.push_back({row.name, shown(unit.from_mm(e.value), decimals),
                                     shown(unit.from_mm(e.U95_absolute), decimals),
                                     shown_signed(row.value, decimals_for(row.U95, 2))});
    }
  }
  if (chart.rows.empty()) return figure;
  for (const ValueRow& row : chart.rows) {
    if (largest == nullptr || std::abs(row.value) > std::abs(largest->value)) largest = &row;
  }
  const bool proven = std::abs(largest->value) > largest->U95;
  figure.claim = proven ? fmt::format("{} is {} from nominal", largest->name,
                                      amount_text(largest->value, largest->U95, chart.unit))
                        : "Every centre is where the machine file says, within its U95";
  figure.subtitle = "Centres: change from the machine file (dot) with absolute U95 (band)";
  figure.svg = value_chart(chart).element(figure.claim, figure.subtitle);
  return figure;
}

// --- limits ---------------------------------------------------------------------------------------

Figure limits_figure(const JudgeReport& judged) {
  Figure figure;
  std::vector<LimitRow> rows;
  figure.numbers.head = {"limit on", "unit", "value", "U95", "low", "high", "guard", "verdict"};
  std::map<Verdict, int> counts;
  for (const Judgement& j : judged.judgements) {
    const ShownUnit shown_in = shown_unit(j.unit);
    // What a program believes is told in the table; a figure has no room for it.
    const bool of_a_part = std::holds_alternative<Believed>(j.subject);
    LimitRow row{of_a_part ? "part mismatch" : subject_text(j),
                 shown_in.word,
                 j.measured,
                 j.U95,
                 j.guard,
                 j.low,
                 j.high,
                 shown_in.decimals,
                 verdict_word(j.verdict)};
    const auto limit = [&](const std::optional<double>& at) {
      return at ? shown(*at, row.decimals) : std::string();
    };
    figure.numbers.rows.push_back({subject_text(j), row.unit, shown(row.value, row.decimals),
                                   shown(row.U95, row.decimals), limit(row.low), limit(row.high),
                                   shown(row.guard, row.decimals), row.verdict});
    rows.push_back(std::move(row));
    ++counts[j.verdict];
  }
  const auto count = [&](Verdict verdict) { return counts.count(verdict) ? counts[verdict] : 0; };
  figure.claim = judged.verdict == Verdict::conforms
                     ? fmt::format("All {} limits are kept", rows.size())
                     : fmt::format("Of {} limits {} kept, {} not, {} not proven", rows.size(),
                                   count(Verdict::conforms), count(Verdict::does_not_conform),
                                   count(Verdict::not_proven));
  figure.subtitle =
      "Value (dot) with U95 (band) between its limits (dashed); short lines: limits moved inwards "
      "by "
      "the guard band (ISO 14253-1)";
  figure.svg = limit_chart(rows).element(figure.claim, figure.subtitle);
  return figure;
}

// --- orbit ----------------------------------------------------------------------------------------

namespace {

/// Angle of the artefact about the axis with all rotary axes at 0, against the clock from the right.
double phase_deg(const FitResult& result, const AxisResult& axis, const StationResult& station) {
  if (axis.side == AxisSide::tool) return 0.0;
  const View view = view_along(axis);
  for (const ArtefactResult& artefact : result.artefacts) {
    if (artefact.name != station.artefact) continue;
    const double right = artefact.position[view.right].value - axis.line.point_mm[view.right];
    const double up = artefact.position[view.up].value - axis.line.point_mm[view.up];
    return deg_from_rad(std::atan2(up, right));
  }
  return 0.0;
}

void add_stations(const FitResult& result, std::size_t index, const PageUnit& unit,
                  OrbitChart& chart, Table& numbers) {
  const AxisResult& axis = result.axes[index];
  numbers.head = {"station", "angle", "radial, " + unit.small_word(), "tangential", "axial", ""};
  for (const StationResult& station : result.stations) {
    if (station.axis != axis.letter || !station.resolved) continue;
    const double turned = turn_sign(axis.turn) * deg_from_rad(station.angles_rad[index]);
    // A station may tell one direction and not the other: then it has no place in the picture.
    const bool has_place = std::isfinite(station.radial_mm) && std::isfinite(station.tangential_mm);
    if (has_place)
      chart.stations.push_back(
          {degrees_text(station.angles_rad[index]), phase_deg(result, axis, station) + turned,
           unit.small(station.radial_mm), unit.small(station.tangential_mm), station.excluded});
    numbers.rows.push_back({station.label, degrees_text(station.angles_rad[index]),
                            shown_signed(unit.small(station.radial_mm), 1),
                            shown_signed(unit.small(station.tangential_mm), 1),
                            shown_signed(unit.small(station.axial_mm), 1),
                            station.excluded ? "left out" : ""});
  }
}

/// The region whose width and height are the U95 of the two coordinates.
void add_ellipse(const FitResult& result, std::size_t index, const PageUnit& unit,
                 OrbitChart& chart) {
  const AxisResult& axis = result.axes[index];
  const View view = view_along(axis);
  const Eigen::Matrix2d covariance = expanded_at(result, index, 0.0);
  const Eigen::Vector2d ratio(ratio_to(stated_U95(axis.centre, view.right), covariance(0, 0)),
                              ratio_to(stated_U95(axis.centre, view.up), covariance(1, 1)));
  const Eigen::Matrix2d expanded = ratio.asDiagonal() * covariance * ratio.asDiagonal();
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> eigen(expanded);
  const Eigen::Vector2d longest = eigen.eigenvectors().col(1);
  chart.ellipse_half_long = unit.small(std::sqrt(std::max(0.0, eigen.eigenvalues()[1])));
  chart.ellipse_half_short = unit.small(std::sqrt(std::max(0.0, eigen.eigenvalues()[0])));
  chart.ellipse_turned_deg = deg_from_rad(std::atan2(longest.y(), longest.x()));
  chart.U95_right = unit.small(std::sqrt(std::max(0.0, expanded(0, 0))));
  chart.U95_up = unit.small(std::sqrt(std::max(0.0, expanded(1, 1))));
}

}  // namespace

Figure orbit_figure(const FitResult& result, std::size_t index, const PageUnit& unit) {
  Figure figure;
  const AxisResult& axis = result.axes[index];
  const View view = view_along(axis);
  OrbitChart chart;
  chart.unit = unit.small_word();
  if (view.named) {
    chart.right = direction_word(view.right);
    chart.up = direction_word(view.up);
  }
  add_stations(result, index, unit, chart, figure.numbers);
  if (!axis.estimated || chart.stations.empty()) return {};
  add_ellipse(result, index, unit, chart);
  figure.claim = std::isnan(axis.ranges.F_R)
                     ? fmt::format("The stations of {}", axis.letter)
                     : fmt::format("The stations of {} keep to their circle within {} {}",
                                   axis.letter, shown(unit.small(axis.ranges.F_R), 1), chart.unit);
  figure.subtitle = fmt::format(
      "{} seen along itself from its + end. Stations on their circle, which is not to scale; "
      "deviations and the U95 of the centre enlarged, see the bar",
      axis.letter);
  const std::size_t without_place = figure.numbers.rows.size() - chart.stations.size();
  if (without_place > 0) {
    figure.subtitle +=
        fmt::format(". Not drawn: {} with too few touches to tell both directions", without_place);
  }
  figure.svg = orbit_chart(chart).element(figure.claim, figure.subtitle);
  return figure;
}

// --- lean -----------------------------------------------------------------------------------------

namespace {

/// The lean about one of the two directions across an axis moves the line towards the other.
LeanTrace trace_towards(const FitResult& result, std::size_t index, int direction, bool right,
                        const PageUnit& unit) {
  const AxisResult& axis = result.axes[index];
  const double half_mm = 0.5 * unit.lean_length_mm();
  const auto deviation = [&](double s_mm) {
    return at_distance(axis, axis.line, s_mm)[direction] - s_mm * axis.nominal.direction[direction];
  };
  const int i = right ? 0 : 1;
  const double low = expanded_at(result, index, -half_mm)(i, i);
  const double high = expanded_at(result, index, half_mm)(i, i);
  const double middle = expanded_at(result, index, 0.0)(i, i);
  // The variance is a parabola in s: three of its points give it.
  const double slope = (0.5 * (high + low) - middle) / (half_mm * half_mm);
  const View view = view_along(axis);
  const double to_centre = ratio_to(stated_U95(axis.centre, direction), middle);
  const double to_slope =
      ratio_to(stated_U95(axis.orientation, right ? view.up : view.right), slope);
  const double per_length = unit.small(1.0) / unit.from_mm(1.0);
  LeanTrace trace;
  trace.towards = direction_word(direction);
  trace.slope = per_length * (deviation(half_mm) - deviation(-half_mm)) / (2.0 * half_mm);
  trace.U95_at_plane = unit.small(to_centre * std::sqrt(std::max(0.0, middle)));
  trace.U95_slope = per_length * to_slope * std::sqrt(std::max(0.0, slope));
  trace.covariance =
      unit.small(1.0) * per_length * to_centre * to_slope * (high - low) / (4.0 * half_mm);
  return trace;
}

}  // namespace

Figure lean_figure(const FitResult& result, std::size_t index, const PageUnit& unit) {
  const AxisResult& axis = result.axes[index];
  if (!axis.estimated || axis.orientation.empty() || !axis.along) return {};
  const View view = view_along(axis);
  LeanChart chart;
  chart.length = unit.from_mm(unit.lean_length_mm());
  chart.along = direction_word(static_cast<int>(*axis.along));
  chart.length_unit = unit.word();
  chart.unit = unit.small_word();
  chart.traces = {trace_towards(result, index, view.right, true, unit),
                  trace_towards(result, index, view.up, false, unit)};
  Figure figure;
  figure.numbers.head = {"towards",
                         chart.unit + " over " + shown(chart.length, 0) + " " + chart.length_unit,
                         "U95", "arcsec"};
  for (const LeanTrace& trace : chart.traces) {
    const double over = trace.slope * chart.length;
    const double U95 = trace.U95_slope * chart.length;
    const double rad = trace.slope / unit.small(1.0) * unit.from_mm(1.0);
    figure.numbers.rows.push_back({trace.towards, shown_signed(over, decimals_for(U95, 1)),
                                   shown(U95, decimals_for(U95, 1)),
                                   shown_signed(arcsec_from_rad(rad), 1)});
  }
  const LeanTrace& most = std::abs(chart.traces[0].slope) > std::abs(chart.traces[1].slope)
                              ? chart.traces[0]
                              : chart.traces[1];
  const double U95 = most.U95_slope * chart.length;
  const double over = most.slope * chart.length;
  const int decimals = decimals_for(U95, 1);
  figure.claim = std::abs(over) > U95 ? fmt::format("{} leans {}{}{} {} towards {}{} over {} {}",
                                                    axis.letter, shown(std::abs(over), decimals),
                                                    plus_minus, shown(U95, decimals), chart.unit,
                                                    over < 0.0 ? "\xE2\x88\x92" : "+", most.towards,
                                                    shown(chart.length, 0), chart.length_unit)
                                      : fmt::format("No lean of {} is proven", axis.letter);
  figure.subtitle = fmt::format(
      "The line of {} (solid) from its nominal direction (long-short line), with absolute U95 "
      "(band)",
      axis.letter);
  figure.svg = lean_chart(chart).element(figure.claim, figure.subtitle);
  return figure;
}

// --- residuals ------------------------------------------------------------------------------------

namespace {

std::string residual_claim(const ResidualChart& chart) {
  const auto& touches = chart.touches;
  const auto out = std::count_if(touches.begin(), touches.end(),
                                 [](const ResidualTouch& touch) { return touch.left_out; });
  std::vector<std::string> suspects;
  for (const ResidualTouch& touch : touches) {
    if (!touch.left_out && std::abs(touch.w) > chart.critical) suspects.push_back(touch.label);
  }
  std::string claim = suspects.empty()       ? "No touch stands out"
                      : suspects.size() == 1 ? "Touch " + suspects[0] + " stands out"
                                             : fmt::format("{} touches stand out", suspects.size());
  if (out > 0) claim += fmt::format("; {} left out", out);
  return claim;
}

}  // namespace

Figure residuals_figure(const FitResult& result, const PageUnit& unit) {
  Figure figure;
  ResidualChart chart;
  chart.critical = suspect_w;
  std::map<std::string, int> column;
  figure.numbers.head = {"touch", "station", "artefact", "left over, " + unit.small_word(),
                         "w",     ""};
  for (const TouchResult& touch : result.touches) {
    const auto [place, is_new] =
        column.emplace(touch.station, static_cast<int>(chart.stations.size()));
    if (is_new) chart.stations.push_back(touch.station);
    if (touch.w) chart.touches.push_back({place->second, *touch.w, touch.excluded, touch.label});
    figure.numbers.rows.push_back(
        {touch.label, touch.station, touch.artefact, shown_signed(unit.small(touch.residual_mm), 1),
         touch.w ? shown_signed(*touch.w, 2) : "not checked", touch.excluded ? "left out" : ""});
  }
  if (chart.touches.empty()) return {};
  figure.claim = residual_claim(chart);
  figure.subtitle =
      "What is left over of each touch, in units of its own sigma; beyond the dashed lines 1 good "
      "touch in 1000";
  figure.svg = residual_chart(chart).element(figure.claim, figure.subtitle);
  return figure;
}

// --- budget ---------------------------------------------------------------------------------------

Figure budget_figure(const FitResult& result) {
  Figure figure;
  std::vector<BudgetRow> rows;
  figure.numbers.head = {"value", "source", "share of the variance, %"};
  for (const BudgetLine& line : result.budget) {
    const std::string name = text_of(line.output);
    if (rows.empty() || rows.back().name != name) rows.push_back({name, {}});
    if (!(line.share >= 0.0005)) continue;
    rows.back().parts.push_back({text_of(line.source), line.share});
    figure.numbers.rows.push_back({name, text_of(line.source), shown(100.0 * line.share, 1)});
  }
  if (rows.empty() || rows.front().parts.empty()) return {};
  std::map<std::string, double> total;
  for (const BudgetRow& row : rows) {
    for (const BudgetPart& part : row.parts) total[part.source] += part.share;
  }
  const auto most = std::max_element(
      total.begin(), total.end(), [](const auto& a, const auto& b) { return a.second < b.second; });
  figure.claim = "Most of the uncertainty comes from: " + most->first;
  figure.subtitle = "Shares of the variance of each value; a bar is the whole of it";
  figure.svg = budget_chart(rows).element(figure.claim, figure.subtitle);
  return figure;
}

// --- steps ----------------------------------------------------------------------------------------

namespace {

/// "A 90 C 45": short enough for the edge of a map.
std::string position_name(const FitResult& result, const RotaryAngles& angles_rad) {
  std::string text;
  for (std::size_t i = 0; i < result.axes.size(); ++i) {
    if (result.axes[i].side != AxisSide::work) continue;
    text += fmt::format("{}{} {:.4g}", text.empty() ? "" : " ", result.axes[i].letter,
                        deg_from_rad(angles_rad[i]) + 0.0);
  }
  return text;
}

}  // namespace

PartSteps assumed_part(const FitResult& result) {
  PartSteps steps;
  steps.assumed = true;
  for (const AxisResult& axis : result.axes) {
    if (axis.side != AxisSide::work || !axis.estimated) continue;
    const Eigen::Vector3d half = Eigen::Vector3d::Constant(assumed_half_box_mm);
    steps.part.from_mm = axis.line.point_mm - half;
    steps.part.to_mm = axis.line.point_mm + half;
  }
  for (const StationResult& station : result.stations) {
    const auto same = [&](const RotaryAngles& angles) {
      for (std::size_t i = 0; i < result.axes.size(); ++i) {
        if (std::abs(angles[i] - station.angles_rad[i]) > 1e-6) return false;
      }
      return true;
    };
    if (std::none_of(steps.positions.begin(), steps.positions.end(), same)) {
      steps.positions.push_back(station.angles_rad);
    }
  }
  return steps;
}

Figure steps_figure(const FitResult& result, const PartSteps& steps, const PageUnit& unit) {
  std::vector<RotaryAngles> positions = steps.positions;
  if (positions.size() > most_positions) positions.resize(most_positions);
  const bool has_work_axis = std::any_of(
      result.axes.begin(), result.axes.end(),
      [](const AxisResult& axis) { return axis.estimated && axis.side == AxisSide::work; });
  if (positions.size() < 2 || !has_work_axis) return {};
  StepMap map;
  map.unit = unit.small_word();
  Figure figure;
  figure.numbers.head = {""};
  const auto steps_mm = part_steps(result, steps.part, positions);
  for (std::size_t row = 0; row < positions.size(); ++row) {
    map.positions.push_back(position_name(result, positions[row]));
    figure.numbers.head.push_back(std::to_string(row + 1));  // as the map numbers them
    map.steps.emplace_back();
    for (std::size_t column = 0; column < positions.size(); ++column) {
      map.steps.back().push_back(unit.small(steps_mm[row][column]));
    }
  }
  const auto [worst_row, worst_column] = worst_cell(map);
  for (std::size_t row = 0; row < positions.size(); ++row) {
    std::vector<std::string> cells = {fmt::format("{}: {}", row + 1, map.positions[row])};
    for (const double step : map.steps[row]) cells.push_back(shown(step, map.decimals));
    figure.numbers.rows.push_back(std::move(cells));
  }
  figure.claim = fmt::format(
      "With the values of the machine file, features step by up to {} {} "
      "between {} and {}",
      shown(map.steps[worst_row][worst_column], map.decimals), map.unit, map.positions[worst_row],
      map.positions[worst_column]);
  figure.subtitle = fmt::format(
      "Steps in {} between features cut at two index positions, at the worst corner of {}",
      map.unit, steps.assumed ? "an assumed box of 100 mm round the axis" : "the part");
  figure.svg = step_map(map).element(figure.claim, figure.subtitle);
  return figure;
}

// --- trials ---------------------------------------------------------------------------------------

namespace {

constexpr int histogram_bars = 41;
/// Beyond so many degrees of freedom Student's t is the normal to the eye.
constexpr double normal_from_dof = 200.0;

const Estimate* estimate_of(const FitResult& result, const ValueName& name) {
  for (const AxisResult& axis : result.axes) {
    for (const auto* estimates : {&axis.centre, &axis.orientation}) {
      for (const NamedEstimate& named : *estimates) {
        if (named.name == name) return &named.estimate;
      }
    }
  }
  return nullptr;
}

/// Density of Student's t with this scale; of the normal where the degrees of freedom are many.
double stated_density(double x, double u, double dof) {
  const double z = x / u;
  if (!(dof < normal_from_dof)) {
    return std::exp(-0.5 * z * z) / (u * std::sqrt(2.0 * std::numbers::pi));
  }
  const double constant = std::exp(std::lgamma(0.5 * (dof + 1.0)) - std::lgamma(0.5 * dof)) /
                          std::sqrt(dof * std::numbers::pi);
  return constant / u * std::pow(1.0 + z * z / dof, -0.5 * (dof + 1.0));
}

Histogram histogram_of(const std::vector<double>& deviations, double u, double U95, double dof) {
  Histogram histogram;
  double reach = 1.1 * U95;
  for (const double deviation : deviations) reach = std::max(reach, std::abs(deviation));
  reach = std::min(reach, 2.0 * U95);  // further out they stand in the last bar
  histogram.low = -reach;
  histogram.high = reach;
  histogram.U95 = U95;
  const double step = 2.0 * reach / histogram_bars;
  histogram.density.assign(histogram_bars, 0.0);
  for (const double deviation : deviations) {
    const int bar = std::clamp(static_cast<int>((deviation + reach) / step), 0, histogram_bars - 1);
    histogram.density[static_cast<std::size_t>(bar)] +=
        1.0 / (step * static_cast<double>(deviations.size()));
  }
  for (int i = 0; i <= 160; ++i) {
    const double x = reach * (i / 80.0 - 1.0);
    histogram.stated.emplace_back(x, stated_density(x, u, dof));
  }
  return histogram;
}

}  // namespace

Figure trials_figure(const FitResult& result, const TrialSpread& spread, const PageUnit& unit) {
  const Estimate* estimate = estimate_of(result, spread.name);
  if (estimate == nullptr || spread.deviations.empty() || !(estimate->U95_absolute > 0.0))
    return {};
  const bool angle = is_angle(spread.name);
  const auto in_unit = [&](double value) {
    return angle ? arcsec_from_rad(value) : unit.small(value);
  };
  std::vector<double> deviations;
  for (const double deviation : spread.deviations) deviations.push_back(in_unit(deviation));
  const double U95 = in_unit(estimate->U95_absolute);
  Histogram histogram =
      histogram_of(deviations, in_unit(estimate->u_absolute), U95, estimate->dof_absolute);
  histogram.unit = angle ? "arcsec" : unit.small_word();
  const auto inside = std::count_if(deviations.begin(), deviations.end(),
                                    [&](double d) { return std::abs(d) <= U95; });
  const double share = 100.0 * static_cast<double>(inside) / static_cast<double>(deviations.size());
  Figure figure;
  figure.claim = fmt::format("{}: {} % of {} trials lie within U95", text_of(spread.name),
                             shown(share, 1), deviations.size());
  const bool normal = !(estimate->dof_absolute < normal_from_dof);
  figure.subtitle = fmt::format(
      "Bars: the survey repeated on paper, less the fitted value. Line: {} with the "
      "stated u. U95 is wider than its 95 % where effects no trial draws are bounded",
      normal
          ? "the normal distribution"
          : fmt::format("Student's t, {} degrees of freedom,", shown(estimate->dof_absolute, 0)));
  figure.numbers.head = {"trials", "mean, " + histogram.unit, "stated u", "stated U95",
                         "within U95, %"};
  double sum = 0.0;
  for (const double deviation : deviations) sum += deviation;
  figure.numbers.rows = {{std::to_string(deviations.size()),
                          shown_signed(sum / static_cast<double>(deviations.size()), 2),
                          shown(in_unit(estimate->u_absolute), 2), shown(U95, 2), shown(share, 1)}};
  figure.svg = histogram_chart(histogram).element(figure.claim, figure.subtitle);
  return figure;
}

}  // namespace pivotrace::report
