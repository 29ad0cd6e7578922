// Conformity with limits, with the uncertainty counted against whoever makes the claim.
//
// Decision rule of ISO 14253-1 (and JCGM 106:2012, guarded acceptance): the measured value lies in
// the acceptance zone, limits narrowed by the guard band g = factor * U95: conforms; beyond the
// limits widened by g: does not conform; between: not proven, neither one nor the other.
#pragma once

#include <optional>
#include <variant>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/pivots/limits.h"
#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

enum class Verdict { conforms, not_proven, does_not_conform };

/// The three-way decision for a value y with guard band g >= 0. Bounds count as inside, as in
/// JCGM 106 (closed intervals).
Verdict verdict_of(double y, double guard, std::optional<double> low, std::optional<double> high);

/// Probability that the true value lies within the limits, normal distribution N(y, u^2):
/// p_c = Phi((high - y)/u) - Phi((low - y)/u). Source: JCGM 106:2012 clause 7 (equation from
/// memory); u = 0 gives 0 or 1.
double conformance_probability(double y, double u, std::optional<double> low,
                               std::optional<double> high);

/// A value, or how it changed since a previous result.
struct JudgedValue {
  ValueName name;
  bool change = false;
};

/// Whose values the program that cuts the part uses.
enum class Believed {
  machine_file,      ///< the old ones, from the machine file
  previous_result,   ///< the old ones, centres only, from a previous result
  centres,           ///< the new centres, with nominal directions
  centres_and_leans  ///< the new axis lines
};

/// What would settle a limit that is not proven, or what to do where it is exceeded.
struct Settling {
  enum class Kind {
    nothing_to_settle,  ///< it conforms
    correct_it,         ///< out by `out_by`
    move_inwards,       ///< it lies on the limit: no measurement settles that
    measure_better,     ///< U95 of `U95_needed` or less
    align_unit,         ///< a part mismatch, which no work offset takes out
  };
  /// How far more stations of the same kind would go.
  enum class MoreStations {
    not_known,     ///< the result tells no shares
    cannot_do_it,  ///< `common_share` of the variance is common to all touches
    too_many,      ///< beyond what is sensible
    would_do,      ///< `stations_wanted` in place of `stations`
  };
  Kind kind = Kind::nothing_to_settle;
  double out_by = not_run;      ///< in the unit of the judgement
  double U95_needed = not_run;  ///< likewise
  MoreStations more_stations = MoreStations::not_known;
  double common_share = 0.0;
  std::optional<BudgetSource> largest_common;
  int stations = 0;
  int stations_wanted = 0;
  bool no_acceptance_zone = false;  ///< the guard bands meet: nothing could be accepted
};

/// One limit judged; everything in `unit`.
struct Judgement {
  std::variant<JudgedValue, Believed> subject;  ///< a value, or the part mismatch of some values
  LimitUnit unit = LimitUnit::mm;               ///< never automatic
  double measured = not_run;
  double U95 = not_run;
  double guard = not_run;
  std::optional<double> low;
  std::optional<double> high;
  double probability = not_run;  ///< of conformance
  Verdict verdict = Verdict::not_proven;
  Settling settling;
};

/// How features cut at two index positions meet on the part, for one set of pivot values.
struct PartMismatch {
  Believed believed = Believed::machine_file;
  double worst_mm = 0.0;  ///< largest distance between where the two features should and do meet
  double U95_mm = 0.0;    ///< of that distance, from the fitted axis lines
  Eigen::Vector3d step_mm = Eigen::Vector3d::Zero();    ///< its X, Y, Z in the part (rotary at 0)
  Eigen::Vector3d corner_mm = Eigen::Vector3d::Zero();  ///< where on the envelope
  RotaryAngles first_rad{};
  RotaryAngles second_rad{};
};

struct JudgeReport {
  bool inch = false;  ///< lengths of parts are shown in inches, as the limits are written
  std::vector<Judgement> judgements;
  std::vector<PartMismatch> mismatches;  ///< old values, new centres, new centres and leans
  double guard_factor = 1.0;             ///< below 1: less than ISO 14253-1 asks for
  /// The worst of all: conforms only if everything does.
  Verdict verdict = Verdict::conforms;
};

struct JudgeInputs {
  const FitResult* previous = nullptr;  ///< needed by limits on change; its values are "old" ones
  bool allow_other_machine = false;
};

/// Judges every limit. P501 for an unusable result, P508 for a value it does not have, P509..P115
/// for limits that cannot be used, P114 for limits or a previous result of another machine.
Expected<JudgeReport> judge(const FitResult& result, const Limits& limits,
                            const JudgeInputs& inputs = {});

/// Error of a feature point p of the part (frame at rotary 0) cut at these angles by a program that
/// believes `believed` while the axes run along `real`: e = M_real(T)^-1 M_believed(T) p - p.
/// Step between features of two positions = e(T2) - e(T1). Half a turn about a centre missed by d:
/// 2 d, exactly.
std::vector<PartMismatch> part_mismatches(const FitResult& result, const FitResult* previous,
                                          const PartEnvelope& part,
                                          const std::vector<RotaryAngles>& positions);

}  // namespace pivotrace
