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

bool same_probe(const Conditions& a, const Conditions& b) {
  return stated_alike(a.probe, b.probe) && stated_alike(a.probe_calibrated, b.probe_calibrated);
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

/// Letters of axes whose toothed coupling both state, of another pitch.
std::vector<char> other_couplings(const Conditions& a, const Conditions& b) {
  constexpr double same_pitch_rad = rad_from_deg(1e-3);
  std::vector<char> letters;
  for (const auto& [axis, step_rad] : a.index_step_rad) {
    const auto other = b.index_step_rad.find(axis);
    if (other == b.index_step_rad.end()) continue;
    if (std::abs(other->second - step_rad) > same_pitch_rad) letters.push_back(axis);
  }
  return letters;
}

bool same_angle(double a_rad, double b_rad) {
  return std::abs(std::remainder(a_rad - b_rad, 2.0 * std::numbers::pi)) <= same_position_rad;
}

bool of_probe(EffectKind kind) {
  return kind == EffectKind::stylus_offset || kind == EffectKind::lobing;
}

}  // namespace

bool InCommon::holds(const SharedTerm& term) const {
  const bool indexed = indexing && !other_couplings.contains(term.axis) &&
                       !other_couplings.contains(term.effect.axis);
  switch (term.kind) {
    case SharedTerm::Kind::artefact_diameter: return artefacts.contains(term.artefact);
    case SharedTerm::Kind::stylus_diameter: return probe;
    case SharedTerm::Kind::index_error:
    case SharedTerm::Kind::axis_motion: return indexed;
    case SharedTerm::Kind::effect: break;
  }
  switch (term.effect.kind) {
    case EffectKind::scale:
    case EffectKind::squareness: return slides;
    case EffectKind::bow: return slides && place;
    case EffectKind::index_wave: return indexed;
    default: return probe && of_probe(term.effect.kind);
  }
}

InCommon in_common(const FitResult& old_result, const FitResult& new_result) {
  const Conditions& before = old_result.conditions;
  const Conditions& after = new_result.conditions;
  InCommon common;
  common.probe = same_probe(before, after);
  const bool one_machine = old_result.machine_name == new_result.machine_name;
  const bool same_tables = !other_tables(before, after);
  const SurveyGains& old_gains = old_result.gains;
  const SurveyGains& new_gains = new_result.gains;
  common.slides = one_machine && same_tables &&
                  (old_gains.origin_mm - new_gains.origin_mm).norm() <= same_place_mm;
  common.place = (old_gains.middle_mm - new_gains.middle_mm).norm() <= same_place_mm;
  common.indexing = one_machine && same_tables &&
                    !stated_otherwise(before.clamped, after.clamped) &&
                    !stated_otherwise(before.rollover, after.rollover);
  for (const char axis : other_couplings(before, after)) common.other_couplings.insert(axis);
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

std::vector<CompareNote> notes_on_conditions(const Conditions& before, const Conditions& after) {
  std::vector<CompareNote> notes;
  if (stated_otherwise(before.probe, after.probe)) {
    notes.push_back({Kind::other_probe, '\0'});
  } else if (stated_otherwise(before.probe_calibrated, after.probe_calibrated)) {
    notes.push_back({Kind::other_calibration, '\0'});
  } else if (!same_probe(before, after)) {
    notes.push_back({Kind::probe_not_stated, '\0'});
  }
  if (other_load(before, after)) notes.push_back({Kind::other_load, '\0'});
  if (other_warmth(before, after)) notes.push_back({Kind::other_warmth, '\0'});
  if (stated_otherwise(before.clamped, after.clamped)) {
    notes.push_back({Kind::other_clamping, '\0'});
  }
  if (stated_otherwise(before.rollover, after.rollover)) {
    notes.push_back({Kind::other_rollover, '\0'});
  }
  for (const char axis : other_couplings(before, after)) {
    notes.push_back({Kind::other_coupling, axis});
  }
  return notes;
}

bool other_tables(const Conditions& before, const Conditions& after) {
  if (stated_otherwise(before.tables_on, after.tables_on)) return true;
  const bool in_use = before.tables_on.value_or(true) && after.tables_on.value_or(true);
  return in_use && stated_otherwise(before.tables_written, after.tables_written);
}

Problems refused_conditions(const Conditions& before, const Conditions& after) {
  const auto refused = [](std::string what, std::string advice) {
    return Problems{{ProblemNumber::bad_argument, std::move(what), {}, std::move(advice)}};
  };
  if (stated_otherwise(before.tables_on, after.tables_on)) {
    return refused(
        std::string("the control's compensation was ") + (*before.tables_on ? "on" : "off") +
            " in the old survey and " + (*after.tables_on ? "on" : "off") +
            " in the new one: the same machine shows two different centres then",
        "survey again with the tables as they were (`tables` of [conditions], or `# tables:`)");
  }
  if (!other_tables(before, after)) return {};
  return refused("the control's compensation was written anew between the surveys (" +
                     *before.tables_written + ", " + *after.tables_written +
                     "): what changed is what was written",
                 "compare with a survey made after it was written, or with one made with the "
                 "tables off (`tables`, `tables_written` of [conditions])");
}

double times_between_surveys(const Conditions& before, const Conditions& after) {
  return other_load(before, after) || other_warmth(before, after) ? widened_between : 1.0;
}

int components_of_length(EffectKind kind) {
  switch (kind) {
    case EffectKind::lobing: return 2;
    case EffectKind::creep:
    case EffectKind::bow: return 3;
    case EffectKind::index_wave: return 4;
    default: return 1;
  }
}

}  // namespace pivotrace
