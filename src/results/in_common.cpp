#include "results/in_common.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

using Kind = CompareNote::Kind;

/// Angles this close are one index position, as in a survey.
constexpr double same_position_rad = rad_from_deg(1.0);
/// Loads and times on the machine that differ by more are other conditions (common practice, no source).
constexpr double same_load = 0.2;
constexpr double least_load_kg = 10.0;
constexpr double cold_minutes = 30.0;
/// Common practice, no source.
constexpr double widened_between = 2.0;

template <typename T>
bool stated_alike(const std::optional<T>& a, const std::optional<T>& b) {
  return a && b && *a == *b;
}

template <typename T>
bool stated_otherwise(const std::optional<T>& a, const std::optional<T>& b) {
  return a && b && *a != *b;
}

bool other_load(const Conditions& a, const Conditions& b) {
  if (!a.load_kg || !b.load_kg) return false;
  const double most = std::max(*a.load_kg, *b.load_kg);
  return std::abs(*a.load_kg - *b.load_kg) > std::max(least_load_kg, same_load * most);
}

/// What matters is whether it was warm: an hour against two is no difference.
bool other_warmth(const Conditions& a, const Conditions& b) {
  if (!a.warm_minutes || !b.warm_minutes) return false;
  return (*a.warm_minutes < cold_minutes) != (*b.warm_minutes < cold_minutes);
}

bool same_angle(double a_rad, double b_rad) {
  return std::abs(std::remainder(a_rad - b_rad, 2.0 * std::numbers::pi)) <= same_position_rad;
}

bool of_probe(EffectKind kind) {
  return kind == EffectKind::stylus_offset || kind == EffectKind::lobing;
}

}  // namespace

bool InCommon::holds(const SharedTerm& term) const {
  switch (term.kind) {
    case SharedTerm::Kind::artefact_diameter: return artefacts.contains(term.artefact);
    case SharedTerm::Kind::stylus_diameter: return probe;
    case SharedTerm::Kind::index_error:
    case SharedTerm::Kind::axis_motion: return indexing;
    case SharedTerm::Kind::effect: break;
  }
  switch (term.effect.kind) {
    case EffectKind::scale:
    case EffectKind::squareness: return slides;
    case EffectKind::bow: return slides && place;
    case EffectKind::index_wave: return indexing;
    default: return probe && of_probe(term.effect.kind);
  }
}

InCommon in_common(const FitResult& old_result, const FitResult& new_result) {
  const Conditions& before = old_result.conditions;
  const Conditions& after = new_result.conditions;
  InCommon common;
  common.probe = stated_alike(before.probe, after.probe) &&
                 stated_alike(before.probe_calibrated, after.probe_calibrated);
  const bool one_machine = old_result.machine_name == new_result.machine_name;
  const bool same_tables = !stated_otherwise(before.tables_on, after.tables_on);
  const SurveyGains& old_gains = old_result.gains;
  const SurveyGains& new_gains = new_result.gains;
  common.slides = one_machine && same_tables &&
                  (old_gains.origin_mm - new_gains.origin_mm).norm() <= same_place_mm;
  common.place = (old_gains.middle_mm - new_gains.middle_mm).norm() <= same_place_mm;
  common.indexing = one_machine && same_tables && !stated_otherwise(before.clamped, after.clamped);
  for (const auto& [name, which] : before.artefacts) {
    const auto same = after.artefacts.find(name);
    if (same != after.artefacts.end() && same->second == which) common.artefacts.insert(name);
  }
  return common;
}

bool same_term(const SharedTerm& a, const SharedTerm& b) {
  if (a.kind != b.kind || (a.u > 0.0) != (b.u > 0.0)) return false;
  switch (a.kind) {
    case SharedTerm::Kind::effect: return a.effect == b.effect;
    case SharedTerm::Kind::artefact_diameter: return a.artefact == b.artefact;
    case SharedTerm::Kind::stylus_diameter: return true;
    case SharedTerm::Kind::index_error:
    case SharedTerm::Kind::axis_motion: break;
  }
  return a.axis == b.axis && a.side == b.side && a.component == b.component &&
         same_angle(a.angle_rad, b.angle_rad);
}

std::vector<CompareNote> notes_on_conditions(const FitResult& old_result,
                                             const FitResult& new_result) {
  const Conditions& before = old_result.conditions;
  const Conditions& after = new_result.conditions;
  std::vector<CompareNote> notes;
  if (stated_otherwise(before.probe, after.probe)) {
    notes.push_back({Kind::other_probe, '\0'});
  } else if (stated_otherwise(before.probe_calibrated, after.probe_calibrated)) {
    notes.push_back({Kind::other_calibration, '\0'});
  } else if (!in_common(old_result, new_result).probe) {
    notes.push_back({Kind::probe_not_stated, '\0'});
  }
  if (other_load(before, after)) notes.push_back({Kind::other_load, '\0'});
  if (other_warmth(before, after)) notes.push_back({Kind::other_warmth, '\0'});
  if (stated_otherwise(before.clamped, after.clamped)) {
    notes.push_back({Kind::other_clamping, '\0'});
  }
  if (old_result.simulated != new_result.simulated) {
    notes.push_back({Kind::simulated_beside_measured, '\0'});
  } else if (old_result.simulated) {
    notes.push_back({Kind::simulated, '\0'});
  }
  return notes;
}

Problems refused_conditions(const FitResult& old_result, const FitResult& new_result) {
  const auto& before = old_result.conditions.tables_on;
  const auto& after = new_result.conditions.tables_on;
  if (!stated_otherwise(before, after)) return {};
  return {{ProblemNumber::bad_argument,
           std::string("the control's compensation was ") + (*before ? "on" : "off") +
               " in the old survey and " + (*after ? "on" : "off") +
               " in the new one: the same machine shows two different centres then",
           {},
           "survey again with the tables as they were (`tables` of [conditions], or `# tables:`)"}};
}

double times_between_surveys(const FitResult& old_result, const FitResult& new_result) {
  const Conditions& before = old_result.conditions;
  const Conditions& after = new_result.conditions;
  return other_load(before, after) || other_warmth(before, after) ? widened_between : 1.0;
}

}  // namespace pivotrace
