// The figures of a report, each a pure drawing of the numbers it is given: what they mean is said
// by whoever fills them in. Titles state the claim; the numbers stand in a table beside.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "report/svg.h"

namespace pivotrace::report {

/// The next number of 1, 2, 5, 10 ... at or above `amount` > 0.
double nice_ceiling(double amount);

/// With a true minus sign (U+2212) and no sign on zero: "-1.5" -> "−1.5". What is not finite was not
/// told: a dash.
std::string shown(double value, int decimals);
/// The same with + shown.
std::string shown_signed(double value, int decimals);
/// Decimals that show the second digit of an uncertainty: 0.0123 -> 3, 12.3 -> 0; at most `most`.
int decimals_for(double U95, int most);

// --- values ---------------------------------------------------------------------------------------

/// One value beside its U95; all rows of one chart in one unit and at one scale.
struct ValueRow {
  std::string name;
  double value = 0.0;  ///< from nominal
  double U95 = 0.0;
};
struct ValueChart {
  std::string unit;
  std::vector<ValueRow> rows;
};
Svg value_chart(const ValueChart& chart);

/// One value between its limits; every row at its own scale, limits under each other.
struct LimitRow {
  std::string name;
  std::string unit;
  double value = 0.0;
  double U95 = 0.0;
  double guard = 0.0;
  std::optional<double> low;
  std::optional<double> high;
  int decimals = 4;
  std::string verdict;
};
Svg limit_chart(const std::vector<LimitRow>& rows);

// --- one axis seen along itself -------------------------------------------------------------------

struct OrbitStation {
  std::string label;       ///< the index angle
  double place_deg = 0.0;  ///< where it stands on the circle, against the clock from the right
  double radial = 0.0;
  double tangential = 0.0;  ///< against the clock
  bool left_out = false;
};
struct OrbitChart {
  std::string right;  ///< machine direction to the right, "Y"; empty = none
  std::string up;
  std::string unit;  ///< of deviations and of the ellipse: "um"
  std::vector<OrbitStation> stations;
  /// Region of the centre whose width and height are its U95: half-axes and turn.
  double ellipse_half_long = 0.0;
  double ellipse_half_short = 0.0;
  double ellipse_turned_deg = 0.0;
  double U95_right = 0.0;
  double U95_up = 0.0;
};
Svg orbit_chart(const OrbitChart& chart);

// --- lean over a length ---------------------------------------------------------------------------

/// Deviation of the line found from the nominal direction, towards one machine direction.
struct LeanTrace {
  std::string towards;  ///< "Y"
  double slope = 0.0;   ///< deviation unit per length unit
  /// Half-width of the band: sqrt(U0^2 + 2 c s + (U1 s)^2) at distance s from the quoted plane.
  double U95_at_plane = 0.0;
  double U95_slope = 0.0;
  double covariance = 0.0;  ///< of the two, in the same expanded scale
};
struct LeanChart {
  double length = 300.0;
  std::string along;        ///< "X"
  std::string length_unit;  ///< "mm"
  std::string unit;         ///< of the deviation: "um"
  std::vector<LeanTrace> traces;
};
Svg lean_chart(const LeanChart& chart);

// --- what is left over ----------------------------------------------------------------------------

struct ResidualTouch {
  int station = 0;  ///< into ResidualChart::stations
  double w = 0.0;   ///< residual over its own sigma
  bool left_out = false;
  std::string label;
};
struct ResidualChart {
  std::vector<std::string> stations;
  std::vector<ResidualTouch> touches;
  double critical = 3.3;
};
Svg residual_chart(const ResidualChart& chart);

// --- what the uncertainty is made of --------------------------------------------------------------

struct BudgetPart {
  std::string source;
  double share = 0.0;
};
struct BudgetRow {
  std::string name;
  std::vector<BudgetPart> parts;  ///< shares of the variance, summing to 1
};
Svg budget_chart(const std::vector<BudgetRow>& rows);

// --- steps on a part ------------------------------------------------------------------------------

struct StepMap {
  std::vector<std::string> positions;
  std::vector<std::vector<double>> steps;  ///< symmetric, positions by positions
  std::string unit;
  int decimals = 0;
};
Svg step_map(const StepMap& map);
/// Row and column of the largest step; of equal ones the first, whatever the last digits say.
std::pair<std::size_t, std::size_t> worst_cell(const StepMap& map);

// --- one value over time ----------------------------------------------------------------------------

struct HistoryChartPoint {
  double time = 0.0;  ///< any unit
  std::string date;
  double change = 0.0;  ///< from the first
  double U95 = 0.0;
  double chart = 0.0;  ///< statistic of the control chart
  bool alarm = false;
};
struct HistoryChart {
  std::string unit;
  std::vector<HistoryChartPoint> points;
  std::vector<std::size_t> jumps_after;  ///< place of the last point before each step
  double chart_limit = 1.0;
  std::vector<double> limits;  ///< of the change from the first
};
Svg history_chart(const HistoryChart& chart);

// --- trials -----------------------------------------------------------------------------------------

/// Deviations from the fitted value: bars of trials, the density stated as a line, and +-U95.
struct Histogram {
  std::string unit;
  double low = 0.0;  ///< of the first bar
  double high = 1.0;
  std::vector<double> density;                    ///< of every bar, per unit
  std::vector<std::pair<double, double>> stated;  ///< place, density
  double U95 = 0.0;
};
Svg histogram_chart(const Histogram& histogram);

}  // namespace pivotrace::report
