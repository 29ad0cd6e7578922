// The shortest survey that can be shown to be nearly the best: a search over visits to all axes' angles, and
// a proof of how close it comes.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/plan/detection.h"
#include "pivotrace/plan/make_plan.h"

namespace pivotrace {

/// U95 that one value is wanted to have: absolute, as writing it needs [mm or rad].
struct WantedU95 {
  ValueName name;
  double U95 = 0.0;
};

struct FindRequest {
  Purpose purpose = Purpose::minutes;
  std::vector<char> axes;  ///< empty: every axis that can be measured
  /// Wanted of every length and every angle, but for the values named in `within`.
  double length_mm = 0.002;
  double angle_rad = 2.4240684055476800e-05;  // 5 arcsec
  std::vector<WantedU95> within;
  /// Instead of all these: ends with the first plan that finds such a shift.
  std::optional<Detection> detect;
  /// At most; the shortest plan there is when that is too little.
  double minutes = 6.0;
  /// Ends with the first plan that has everything within what is wanted.
  bool stop_when_reached = true;
  bool self_find = true;
  std::optional<double> clearance_mm;
  std::optional<double> rough_mm;
  /// Called now and then with the part done, 0 to 1; false ends the search with the best so far.
  std::function<bool(double)> progress;

  Problems validate() const;
};

/// What a named purpose stands for, unless the request says otherwise. Common practice, no source.
FindRequest request_for(Purpose purpose, const Machine& machine);

/// Every touch is checked by others at least this much (redundancy of the reading, 0 to 1).
inline constexpr double least_redundancy_of_touch = 0.05;
/// Without any one station no value gets worse than this many times what the plan gives: a station that
/// slipped shows, and can be left out.
inline constexpr double most_without_one_station = 4.0;
/// An axis is turned over at least this much of a circle, or nine tenths of what it can [deg].
inline constexpr double least_arc_deg = 60.0;

/// Searches visits at grids of angles of all axes to be measured; starts from the design whose visits come in
/// fractions, rounds it, adds and exchanges visits while the minutes grow step by step, and orders them. The
/// same request gives the same plan on every machine. More minutes give no worse one: they count in steps of 0.1
/// (0.2 from 10, 0.5 from 20), and the best is taken of what the last steps before them give. That is measured
/// (plan_growth), not proven: a plan of much less time is not searched again. A plan that is to detect a shift is searched by what differs between two surveys, and has no certificate.
/// Errors: P401 with reasons when no plan turns every axis far enough; bad arguments as make_plan.
Expected<PlanOutcome> find_plan(const Machine& machine, const FindRequest& request);

/// One of the visits a certificate speaks of, and the least minutes it takes with the cheapest way into it.
struct CertifiedVisit {
  PlannedStation station;
  double least_minutes = 0.0;
};

/// All of them, for whoever computes a certificate again. Errors: as find_plan.
Expected<std::vector<CertifiedVisit>> certified_visits(const Machine& machine,
                                                       const FindRequest& request);

/// A plan that somebody made or edited, predicted anew, beside what its purpose asks for, with what no survey
/// of its minutes could do better. Axes that do not turn in it are left alone.
/// Errors: P401, P2xx where the machine cannot be surveyed so, or the touches determine no axis.
Expected<PlanOutcome> judge_plan(const Machine& machine, const Plan& plan);

}  // namespace pivotrace
