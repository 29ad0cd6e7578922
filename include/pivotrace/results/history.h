// Results of one machine over time: what stays, what jumped, what creeps, when to look again.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/results/charts.h"
#include "pivotrace/results/compare.h"
#include "pivotrace/results/result.h"
#include "pivotrace/results/value_room.h"

namespace pivotrace {

/// What one result adds to a history.
struct Epoch {
  std::string file;
  std::string started;  ///< ISO 8601
  double time_s = not_run;
  bool simulated = false;    ///< of touches a rehearsal made
  std::string touches_hash;  ///< of its touch record; empty: not known
  std::vector<ValueName> names;
  std::vector<double> quoted_at_mm;  ///< per name: plane of the axis
  Eigen::VectorXd values;            ///< mm, rad
  Eigen::MatrixXd covariance;        ///< absolute: with what surveys share
  Eigen::MatrixXd repeatable;        ///< without, index errors and motions left in
  SurveyGains gains;                 ///< of `values`; no terms: not known, all stays in
  Conditions conditions;
  Eigen::MatrixXd shift_gains;  ///< (n x 3) of all axes shifted along X, Y, Z
  std::vector<double> dofs;
  Eigen::VectorXd B;  ///< largest shift of each value by what is bounded
};

/// Why a file takes no part. Nothing about it is guessed.
struct LeftOutOfHistory {
  enum class Why {
    unreadable,
    other_machine,
    not_usable,
    no_date,
    duplicate,
    no_values,
    other_tables
  };
  std::string file;
  Why why = Why::unreadable;
  std::string detail;  ///< the first problem, the machine it names, or the file it repeats
};

/// Results made under other conditions than the newest one.
struct OtherConditions {
  CompareNote what;
  std::vector<std::size_t> epochs;
};

struct HistoryOptions {
  /// Results between two false alarms of one chart, on average.
  double run_length = 500.0;
  double weight = 0.2;  ///< of the newest result in the charts
  double between_surveys_mm = 0.003;
  /// How far a value may be from where it was after the last jump: mm; leans over 300 mm. For values that
  /// have no room of their own.
  std::optional<double> within_mm;
  std::vector<ValueRoom> rooms;
};

struct HistoryPoint {
  std::size_t epoch = 0;
  double value = not_run;
  double U95 = not_run;
  /// Result less what all earlier ones since the last jump predict, divided by the standard uncertainty of
  /// that difference (level_filter.h); not run for the first one after a jump.
  double residual = not_run;
  double chart = 0.0;  ///< weighted mean of the residuals, in its own standard deviations
  bool alarm = false;
};

/// A step between two results.
struct Jump {
  std::size_t before = 0;  ///< place among the points: the last before the step
  double size = not_run;
  double U95 = not_run;
};

/// Straight line through the results since the last jump.
struct Trend {
  int results = 0;
  double per_month = not_run;  ///< mm or rad per 30.4375 days
  double U95 = not_run;
  bool creeps = false;  ///< the slope is beyond its 1 % limit and the charts cried
};

struct NextCheck {
  enum class Kind { no_limit, not_enough_results, overdue, by_date, beyond_horizon };
  Kind kind = Kind::no_limit;
  double time_s = not_run;  ///< by_date
};

struct ValueHistory {
  ValueName name;
  std::vector<HistoryPoint> points;
  std::vector<Jump> jumps;
  Trend trend;
  NextCheck next;
  std::optional<Room> limits;  ///< in force since the last jump: mm, rad
  /// Scatter about the steps and the line, against what the results state; above 1 they state too little,
  /// and U95 of jumps, trend and date are enlarged by it.
  double scatter = 1.0;
};

/// All values of one axis in one chart.
struct AxisHistory {
  char letter = '?';
  VectorEwmaDesign design;
  std::vector<std::size_t> epochs;
  std::vector<double> statistic;  ///< against design.limit
  std::vector<bool> alarm;
};

struct History {
  std::string machine_name;
  std::vector<Epoch> epochs;  ///< oldest first
  std::vector<LeftOutOfHistory> left_out;
  std::vector<OtherConditions> conditions;
  EwmaDesign design;
  double run_length = not_run;
  double between_surveys_mm = not_run;
  std::vector<ValueHistory> values;
  std::vector<AxisHistory> axes;

  bool alarmed() const;
  bool simulated() const;  ///< one result at least
};

inline constexpr double seconds_per_month = 30.4375 * 86400.0;
/// No date further off than this is stated.
inline constexpr double horizon_months = 60.0;

/// The part of a result a history keeps, or why it takes no part (machine not yet looked at).
std::optional<Epoch> epoch_of(const FitResult& result, const std::string& file,
                              std::vector<LeftOutOfHistory>& left_out);

/// Sorts by time, leaves out the second of two results from one touch record, charts every value in the
/// plane the newest result quotes it at.
/// Results made with other compensation tables than the newest are left out; other conditions are named, and
/// what they change enters with those results.
/// Errors results share (shared_errors.h) cancel between results that have them, and enter once between
/// results that do not.
/// Charts: see charts.h. Where a chart of the value or of its axis cries, its results are cut into pieces:
/// each piece is level, a slope, a step, or slope and step, whichever leaves least
///   chi2 + cost, cost 0, chi2_0.99(1), chi2_(1 - 0.01 / places)(1) and both,
/// and a piece with a step is cut there and looked at again.
/// Next check: the line at t and its U95 reach the end of the value's room, counted from the level after the
/// last jump. A room of the value itself is reached with everything the value may be off by, one of its change
/// with what differs between results only.
History make_history(std::string machine_name, std::vector<Epoch> epochs,
                     std::vector<LeftOutOfHistory> left_out, const HistoryOptions& options);

}  // namespace pivotrace
