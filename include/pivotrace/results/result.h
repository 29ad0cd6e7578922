// The result of a fit: values with uncertainties that are meant to be believed.
// Lengths mm, angles rad here; the JSON file writes degrees. Defaults say "not run".
#pragma once

#include <Eigen/Core>
#include <array>
#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/geometry/line.h"
#include "pivotrace/machine/conditions.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/results/budget.h"
#include "pivotrace/results/effect.h"
#include "pivotrace/results/finding.h"
#include "pivotrace/results/gains.h"
#include "pivotrace/results/sigma_source.h"
#include "pivotrace/results/value_name.h"

namespace pivotrace {

inline constexpr double not_run = std::numeric_limits<double>::quiet_NaN();

/// A value with two standard uncertainties: `u` (repeatable: enough to compare two surveys of the
/// same set-up) and `u_absolute` (with probe offset, diameters, scale: enough to write the value).
/// U95 = t_0.975(dof) u. dof is infinite when every sigma comes from the machine file.
struct Estimate {
  double value = not_run;
  double u = not_run;
  double U95 = not_run;
  double u_absolute = not_run;
  double U95_absolute = not_run;
  double dof = not_run;
  double dof_absolute = not_run;
  /// Largest shift that effects within their bounds can cause: B repeatable counts what differs between
  /// two surveys made alike, B absolute what one survey may be off by.
  double B = 0.0;
  double B_absolute = 0.0;
};

/// One coordinate of a centre, or one angle of an orientation.
struct NamedEstimate {
  ValueName name;
  Estimate estimate;  ///< mm or rad
};

/// Spread of the station deviations about one axis line (ISO 10360-3 names): largest minus
/// smallest, mm. Not an error motion: a handful of stations cannot show one.
struct DeviationRanges {
  double F_R = not_run;  ///< radial
  double F_T = not_run;  ///< tangential
  double F_A = not_run;  ///< axial
};

struct AxisResult {
  char letter = '?';
  AxisSide side = AxisSide::work;
  bool estimated = false;  ///< false: the axis was not turned; its nominal line was used
  Line line;               ///< point in the quoted plane; direction along nominal
  Line nominal;
  std::optional<LinearAxis> along;
  double quoted_at_mm = not_run;
  TurnSense turn = TurnSense::right_hand;
  bool turn_confirmed = false;              ///< the touches rule out the other sense
  std::vector<NamedEstimate> centre;        ///< machine coordinates in the quoted plane, mm
  std::vector<NamedEstimate> orientation;   ///< ISO 230-1 angles, rad
  Estimate lean;                            ///< angle between fitted and nominal direction, rad
  std::optional<Estimate> zero;             ///< absent: these touches leave it open; rad
  std::string zero_by;                      ///< artefact of stated direction or place that tells it
  std::optional<Estimate> pivot_to_stylus;  ///< tool side: perpendicular arm, mm
  std::optional<Estimate> pivot_to_gauge;   ///< tool side: minus the stylus length, mm
  DeviationRanges ranges;
};

struct AxisPairResult {
  char first = '?';
  char second = '?';
  bool parallel = false;
  Estimate distance;                      ///< signed common normal, mm
  Estimate crossing;                      ///< rad
  std::array<Estimate, 3> foot_on_first;  ///< X, Y, Z mm; not run when parallel
  std::array<Estimate, 3> foot_on_second;
  std::array<Estimate, 3> offset;  ///< foot on the second less foot on the first; of parallels too
};

struct ArtefactResult {
  std::string name;
  ArtefactKind kind = ArtefactKind::ball;
  int touches = 0;
  std::array<Estimate, 3> position;          ///< carried frame, mm
  std::optional<Eigen::Vector3d> direction;  ///< pin, bore, flat
  std::optional<Estimate>
      diameter;  ///< artefact alone; absent when only the sum with the stylus is known
  std::optional<Estimate> effective_diameter;  ///< artefact + stylus (bore: - stylus)
  bool diameter_free = false;                  ///< true: found from these touches alone
  /// Flat: its height over the line of each axis that carries it and lies along it, along the normal.
  std::vector<NamedEstimate> heights;
};

struct StationResult {
  std::string label;
  RotaryAngles angles_rad{};
  int touches = 0;
  std::string artefact;
  char axis = '?';        ///< axis the components refer to: innermost turned one
  bool resolved = false;  ///< enough touches here to state a deviation
  double radial_mm = not_run;
  double tangential_mm = not_run;
  double axial_mm = not_run;
  bool excluded = false;
  double statistic = not_run;  ///< blunder test of the station as a whole, see FitSummary
};

struct TouchResult {
  std::string label;
  std::string station;
  std::string artefact;
  double residual_mm =
      not_run;  ///< signed gap left after the fit; centre rows: length of the vector
  std::optional<double> sigma_mm;       ///< of the residual; absent where redundancy is 0
  double redundancy = not_run;          ///< 0..1 (centre rows: 0..3)
  std::optional<double> w;              ///< studentised residual; absent where redundancy is 0
  std::optional<double> detectable_mm;  ///< smallest blunder found in 8 of 10 cases
  bool excluded = false;
  int line = 0;
};

struct FitSummary {
  int touches = 0;
  int readings = 0;  ///< a centre row counts 3
  int unknowns = 0;
  int excluded = 0;
  double dof = not_run;
  double sigma0 = not_run;  ///< sqrt(chi2 / dof)
  double chi2 = not_run;
  double chi2_limit = not_run;  ///< 99.9 % point
  double condition = not_run;   ///< of the whitened, column-scaled Jacobian
  double touch_sigma_mm = not_run;
  double station_sigma_mm = not_run;
  std::vector<std::pair<char, double>> index_sigma_rad;
  std::vector<std::pair<char, double>> index_repeat_sigma_rad;
  std::vector<std::pair<char, double>> axis_motion_sigma_mm;
  SigmaSource sigma_source;
  int iterations = -1;
  double solver_seconds = not_run;
};

/// A systematic effect that was solved for together with the axes.
struct EffectResult {
  EffectName name;
  Estimate estimate;  ///< in effect_unit(name.kind)
};

/// One effect that no scatter shows, with the bound in force and the largest shift it can cause.
struct BoundResult {
  BoundKind kind = BoundKind::lobing;
  char axis = '\0';         ///< index wave: letter of the rotary axis
  double half_width = 0.0;  ///< mm, rad or mm/mm
  BoundSource source = BoundSource::assumed;
  std::vector<std::pair<ValueName, double>> shifts;  ///< per output: mm or rad
};

/// Random errors whose size is one number known with limited certainty: of touches, of stations, ...
struct VarianceGroup {
  BudgetSource source;      ///< touch_noise: with the form of the balls
  double stated_dof = 0.0;  ///< of its sigma as stated, before the survey
  Eigen::MatrixXd part;     ///< of JointCovariance::repeatable
};

/// Joint covariance of every stated axis parameter, in the order of `names`; mm and rad.
struct JointCovariance {
  std::vector<ValueName> names;
  Eigen::MatrixXd repeatable;
  Eigen::MatrixXd absolute;
  std::vector<VarianceGroup>
      groups;  ///< sum up to `repeatable`; empty: made before results held them
  /// Of the relative errors of the variances of `groups`, stated and found pooled: 2 / dof on the diagonal.
  Eigen::MatrixXd group_errors;
};

/// Distribution of one value over the trials of a survey repeated on paper; mm or rad.
struct TrialOutput {
  ValueName name;
  double value = not_run;  ///< of the fit
  double mean = not_run;
  double deviation = not_run;  ///< standard deviation
  double low = not_run;        ///< 2.5 % quantile
  double high = not_run;       ///< 97.5 % quantile
};

struct TrialsResult {
  int trials = 0;
  std::uint64_t seed = 0;
  double seconds = not_run;
  std::vector<TrialOutput> outputs;
};

struct InputFile {
  std::string role;  ///< "machine", "touches"
  std::string file;
  std::string sha256;
};

struct FitResult {
  bool usable = false;
  bool simulated = false;  ///< of touches a rehearsal made, not a machine
  std::string machine_name;
  bool inch = false;  ///< units of the machine file, for what people read; everything here is mm
  std::string started;
  std::string made;  ///< ISO 8601 UTC
  std::string version;
  std::vector<InputFile> inputs;
  Conditions conditions;
  std::vector<AxisResult> axes;
  std::vector<AxisPairResult> axis_pairs;
  std::vector<ArtefactResult> artefacts;
  std::vector<EffectResult> effects;
  FitSummary fit;
  std::vector<BudgetLine> budget;
  std::vector<BoundResult> bounds;
  std::vector<StationResult> stations;
  std::vector<TouchResult> touches;
  std::vector<Finding> findings;
  JointCovariance covariance;
  SurveyGains gains;  ///< no terms: made before results held them
};

}  // namespace pivotrace
