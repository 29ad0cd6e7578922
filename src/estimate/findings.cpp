#include "estimate/findings.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <optional>

#include "estimate/linearisation.h"
#include "estimate/optional_unknowns.h"
#include "estimate/outputs.h"
#include "estimate/touch_tests.h"
#include "estimate/typing_slips.h"
#include "pivotrace/machine/kinematics.h"

namespace pivotrace {

namespace {

/// Two-sided 0.1 % point of the standard normal: the usual limit for a single suspect
/// (common practice, no source).
constexpr double suspect_w = 3.29;

/// 1 - |mean of exp(j t)|^2 below this: the angles cover less than roughly a quarter turn. Common
/// practice, no source.
constexpr double short_arc_spread = 0.2;

/// A ball nearer to the axis than this tells little about lean and nothing about index errors.
/// Common practice, no source.
constexpr double near_axis_mm = 10.0;

/// A rough position is good to a few centimetres: what lies further off is another mistake. Common
/// practice, no source.
constexpr double far_from_nominal_mm = 60.0;

/// The other sense leaves this many times less than the stated one: not decisive, but not "equally
/// well" either. Common practice, no source.
constexpr double suspiciously_better = 3.0;

Finding unproven_turn_sense(const SenseVerdict& sense, char letter) {
  finding::SenseUnproven unproven;
  unproven.axis = letter;
  unproven.other_is_better = sense.rms_if_turned_mm * suspiciously_better < sense.rms_as_stated_mm;
  unproven.rms_as_stated_mm = sense.rms_as_stated_mm;
  unproven.rms_if_turned_mm = sense.rms_if_turned_mm;
  return {FindingCode::turn_sense_unproven, Severity::warning, unproven};
}

void find_turn_sense(const FindingInputs& in, std::vector<Finding>& findings) {
  const Machine& machine = in.model.machine();
  if (in.sense.wrong()) {
    findings.push_back(
        {FindingCode::turn_sense_wrong, Severity::error, FitRefusal(in.sense.as_refusal(machine))});
  }
  for (std::size_t axis = 0; axis < in.sense.answers.size(); ++axis) {
    if (in.sense.answers[axis] != SenseVerdict::Answer::cannot_tell) continue;
    findings.push_back(unproven_turn_sense(in.sense, machine.rotary[axis].letter));
  }
}

/// A systematic error that was found explains larger scatter as well; stating the scatter as a sigma
/// would then hide it.
bool explains_scatter(FindingCode code) {
  switch (code) {
    case FindingCode::artefact_moved:
    case FindingCode::drift_seen:
    case FindingCode::stylus_offset_seen:
    case FindingCode::lobing_seen:
    case FindingCode::reversal_seen:
    case FindingCode::linear_axes_two_lobed:
    case FindingCode::diameter_disagrees:
    case FindingCode::approach_contradicts: return true;
    default: return false;
  }
}

bool cause_was_found(const std::vector<Finding>& findings) {
  return std::any_of(findings.begin(), findings.end(),
                     [](const Finding& finding) { return explains_scatter(finding.code); });
}

bool is_unusable(const std::vector<Finding>& findings) {
  return std::any_of(findings.begin(), findings.end(),
                     [](const Finding& f) { return f.severity == Severity::error; });
}

void find_scatter(const FindingInputs& in, std::vector<Finding>& findings) {
  const bool explained = cause_was_found(findings);
  if (!in.scatter_too_large) return;
  const auto stands_out = [&](const PooledGroup& pooled, const finding::ScatterOf& scatter) {
    // Fewer tell no scatter from chance (common practice, no source).
    constexpr double enough_redundancy = 10.0;
    if (pooled.redundancy < enough_redundancy || scatter.found_mm < 2.0 * scatter.stated_mm) {
      return false;
    }
    // Errors that large are no scatter: their mean need not be zero (common practice, no source).
    constexpr double no_scatter = 20.0;
    const bool believable = scatter.found_mm < no_scatter * scatter.stated_mm;
    findings.push_back({FindingCode::scatter_larger_than_stated,
                        believable || is_unusable(findings) ? Severity::warning : Severity::error,
                        scatter});
    return true;
  };
  using Group = finding::ScatterOf::Group;
  bool named = false;
  for (const PooledGroup& pooled : in.chosen.pooled) {
    if (pooled.group > station_group) continue;
    const Group group = pooled.group == touch_group ? Group::touches : Group::stations;
    named |= stands_out(pooled, {group, pooled.found_sigma, pooled.stated_sigma, explained});
  }
  if (named) return;
  findings.push_back({FindingCode::scatter_larger_than_stated, Severity::warning,
                      finding::Scatter{in.times_stated, explained}});
}

/// Distance of the nominal centre from the line that was found.
double off_nominal_mm(const AxisResult& axis, const Eigen::Vector3d& nominal_mm) {
  return perpendicular_from_line(axis.line, nominal_mm).norm();
}

std::optional<std::pair<int, int>> swapped_nominal(const AxisResult& axis,
                                                   const Eigen::Vector3d& nominal_mm) {
  for (int i = 0; i < 3; ++i) {
    for (int j = i + 1; j < 3; ++j) {
      Eigen::Vector3d swapped = nominal_mm;
      std::swap(swapped[i], swapped[j]);
      if (off_nominal_mm(axis, swapped) < far_from_nominal_mm) return std::pair{i, j};
    }
  }
  return std::nullopt;
}

void find_far_from_nominal(const FindingInputs& in, std::vector<Finding>& findings) {
  for (const AxisResult& axis : in.result.axes) {
    if (!axis.estimated) continue;
    const Eigen::Vector3d& nominal_mm = axis.nominal.point_mm;
    const double distance_mm = off_nominal_mm(axis, nominal_mm);
    if (distance_mm < far_from_nominal_mm) continue;
    findings.push_back(
        {FindingCode::far_from_nominal, Severity::warning,
         finding::FarFromNominal{axis.letter, distance_mm, swapped_nominal(axis, nominal_mm)}});
  }
}

void find_assumed_sigmas(const FindingInputs& in, std::vector<Finding>& findings) {
  const Machine& machine = in.model.machine();
  finding::Assumed assumed{class_word(machine.machine_class), {}, {}};
  const auto length = [&](bool stated, const std::string& key, double value_mm) {
    if (!stated) assumed.lengths_mm.emplace_back(key, value_mm);
  };
  length(machine.probe.touch_sigma_stated, "touch_sigma", machine.probe.touch_sigma_mm);
  length(machine.linear.station_sigma_stated, "station_sigma", machine.linear.station_sigma_mm);
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    const RotaryAxis& axis = machine.rotary[i];
    if (!in.model.axis_turned(static_cast<int>(i)) || axis.index_sigma_stated) continue;
    assumed.angles_rad.emplace_back(std::string("index_sigma_arcsec of ") + axis.letter,
                                    axis.index_sigma_rad);
  }
  for (int k = 0; k < 3; ++k) {
    length(machine.probe.offset_u_stated[static_cast<std::size_t>(k)],
           std::string("offset_u.") + "XYZ"[k], machine.probe.offset_u_mm[k]);
  }
  if (assumed.lengths_mm.empty() && assumed.angles_rad.empty()) return;
  findings.push_back({FindingCode::sigmas_assumed, Severity::note, assumed});
}

/// Variance of the effective radius as stated, R and r together [mm^2]; absent where either is unknown.
/// One radius alone: what the others say of the stylus they share must not count here.
std::optional<double> stated_variance(const RadiusPrior& prior, Eigen::Index group) {
  const double artefact = prior.artefact_precision[group];
  if (!(artefact > 0.0) || !(prior.stylus_precision > 0.0)) return std::nullopt;
  return 1.0 / artefact + 1.0 / prior.stylus_precision;
}

void find_diameter(const FindingInputs& in, std::vector<Finding>& findings) {
  const Layout& layout = in.model.layout();
  for (std::size_t g = 0; g < layout.radius_groups.size(); ++g) {
    const auto k = static_cast<Eigen::Index>(g);
    const std::optional<double> stated = stated_variance(in.model.radius_prior(), k);
    if (!stated) continue;
    const int unknown = layout.radius_groups[g].unknown;
    const double off = in.adjusted.unknowns[unknown] - in.model.radius_prior().mean_mm[k];
    // The stated radius is one more observation; this is its studentised residual.
    const double variance = *stated - in.adjusted.covariance()(unknown, unknown);
    if (variance <= 1e-3 * *stated) continue;
    // What the touches alone say: undo the pull of the stated value.
    const double touches_alone = 2.0 * off * *stated / variance;
    if (std::abs(off) / std::sqrt(variance) < suspect_w) continue;
    const Artefact& owner = in.model.machine().artefacts[layout.radius_groups[g].owner];
    findings.push_back({FindingCode::diameter_disagrees, Severity::error,
                        finding::Diameter{owner.name, touches_alone}});
  }
}

void find_unchecked_touches(const FindingInputs& in, std::vector<Finding>& findings) {
  finding::Unchecked unchecked;
  unchecked.touches = static_cast<int>(in.result.touches.size());
  for (const TouchResult& touch : in.result.touches) {
    if (touch.excluded || touch.w) continue;
    if (unchecked.unchecked == 0) unchecked.first = touch.label;
    ++unchecked.unchecked;
  }
  if (unchecked.unchecked == 0) return;
  // Any readings at all would fit: the result rests on every one of them being right.
  unchecked.nothing_checked = in.adjusted.redundancy == 0;
  findings.push_back({FindingCode::unchecked_touches,
                      unchecked.nothing_checked ? Severity::error : Severity::warning, unchecked});
}

finding::StationName name_of(const Machine& machine, const Station& stay) {
  finding::StationName name;
  name.label = stay.label;
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    name.angles_rad.emplace_back(machine.rotary[axis].letter, stay.angles_rad[axis]);
  }
  return name;
}

finding::SuspectName name_of(const FindingInputs& in, const Suspect& suspect) {
  finding::SuspectName name;
  name.station = name_of(in.model.machine(), in.survey.stations[suspect.station]);
  if (!suspect.whole_station) name.touch = in.survey.touches[suspect.touches.front()].label;
  return name;
}

Finding inseparable_suspects(const FindingInputs& in, const Inseparable& group) {
  finding::Inseparable inseparable;
  for (const Suspect& suspect : group.suspects) {
    inseparable.suspects.push_back(name_of(in, suspect));
  }
  inseparable.size_mm = group.suspects.front().size_mm;
  inseparable.beyond_chance = group.beyond_chance;
  return {FindingCode::suspects_inseparable,
          group.beyond_chance ? Severity::error : Severity::warning, inseparable};
}

void find_bad_touches(const FindingInputs& in, std::vector<Finding>& findings) {
  for (const Suspect& suspect : in.screening.exclusions) {
    const FindingCode code =
        suspect.whole_station ? FindingCode::station_slipped : FindingCode::bad_touch;
    findings.push_back(
        {code, Severity::warning,
         finding::LeftOut{
             name_of(in, suspect), suspect.size_mm, suspect.limit_mm, suspect.station_possible,
             likely_slip(in.model, in.survey, in.adjusted.unknowns, in.chosen.random, suspect)}});
  }
  for (const Inseparable& group : in.screening.inseparable) {
    findings.push_back(inseparable_suspects(in, group));
  }
  if (in.screening.given_up) {
    findings.push_back({FindingCode::too_many_bad_touches, Severity::error, finding::Plain{}});
  }
}

/// A systematic effect is proposed when the touches would show it by chance once in ten thousand:
/// several are tried, so the limit is stricter than for a single question.
constexpr double proposal_level = 1e-4;

struct Proposal {
  OptionalUnknown unknown;
  FindingCode code;
};

constexpr Proposal proposals[] = {
    {OptionalUnknown::drift, FindingCode::drift_seen},
    {OptionalUnknown::stylus_offset, FindingCode::stylus_offset_seen},
    {OptionalUnknown::lobing, FindingCode::lobing_seen},
    {OptionalUnknown::reversal, FindingCode::reversal_seen},
};

bool has_effect(const Model& model, EffectKind kind) {
  for (const Effect& effect : model.layout().effects) {
    if (effect.kind == kind) return true;
  }
  return false;
}

/// A cheap test under the stated sigmas decides whether the careful one is worth its time.
ExtraTest spoken_for(const FindingInputs& in, const Adjusted& as_stated,
                     const std::vector<Effect>& effects) {
  ExtraTest test = test_effects(in.model, in.stated, as_stated, effects);
  if (!test.testable || test.tail > proposal_level) return {};
  test = confirm_effects(in.model, in.stated, in.adjusted.unknowns, effects);
  return test.tail < proposal_level ? test : ExtraTest{};
}

finding::SlideErrors slide_errors(const Machine& machine, const std::vector<Effect>& slides,
                                  const ExtraTest& test) {
  finding::SlideErrors errors;
  for (std::size_t k = 0; k < slides.size(); ++k) {
    errors.sizes.emplace_back(name_of(machine, slides[k]),
                              test.estimate[static_cast<Eigen::Index>(k)]);
  }
  return errors;
}

/// An effect that would move a stated value by more than its U95 makes that value untrue: error.
Severity severity_of(const FindingInputs& in, const ExtraTest& test) {
  std::vector<double> U95;
  for (const AxisResult& axis : in.result.axes) {
    for (const NamedEstimate& named : axis.centre) U95.push_back(named.estimate.U95_absolute);
    for (const NamedEstimate& named : axis.orientation) U95.push_back(named.estimate.U95_absolute);
  }
  const std::vector<Output> outputs = axis_outputs(in.model, in.adjusted.unknowns);
  for (std::size_t k = 0; k < outputs.size() && k < U95.size(); ++k) {
    if (std::abs(outputs[k].by_unknown.dot(test.moved)) > U95[k]) return Severity::error;
  }
  return Severity::warning;
}

/// Slides out of square or of unequal scale. Within one station a lobed probe makes a ball look as
/// squashed as such slides do: where lobing was seen, only what it cannot explain speaks for the
/// slides.
ExtraTest slides_spoken_for(const FindingInputs& in, const Adjusted& as_stated,
                            const std::vector<Effect>& slides, bool lobing_seen) {
  ExtraTest alone = spoken_for(in, as_stated, slides);
  if (!alone.testable || !lobing_seen) return alone;
  const ExtraTest beside_lobing = confirm_effects(in.model, in.stated, in.adjusted.unknowns, slides,
                                                  effects_for(in.model, OptionalUnknown::lobing));
  if (!beside_lobing.testable) return alone;
  return beside_lobing.tail < proposal_level ? beside_lobing : ExtraTest{};
}

/// Whether what was found lies within the bound every U95 counts already.
bool within_bound(const FindingInputs& in, const std::vector<Effect>& effects,
                  const ExtraTest& test) {
  const EffectContext& context = in.model.context();
  const double hours = std::max(0.0, context.last_time_s - context.first_time_s) / 3600.0;
  const auto allowed = [&](BoundKind kind) {
    for (const Bound& bound : bounds_in_force(in.model.machine())) {
      if (bound.kind == kind) return bound.half_width;
    }
    return 0.0;
  };
  for (std::size_t k = 0; k < effects.size(); ++k) {
    const double size = std::abs(test.estimate[static_cast<Eigen::Index>(k)]);
    switch (effects[k].kind) {
      case EffectKind::lobing:
        if (test.estimate.norm() > allowed(BoundKind::lobing)) return false;
        break;
      case EffectKind::drift:
        if (test.estimate.norm() * hours > allowed(BoundKind::drift)) return false;
        break;
      case EffectKind::squareness:
        if (size > allowed(BoundKind::squareness)) return false;
        break;
      case EffectKind::scale:
        if (size > allowed(BoundKind::scale)) return false;
        break;
      case EffectKind::stylus_offset: {
        // What its stated standard uncertainty allows is in every U95.
        constexpr double sigmas_of_chance = 3.0;
        const double u_mm = in.model.machine().probe.offset_u_mm[effects[k].index];
        if (size > sigmas_of_chance * u_mm) return false;
        break;
      }
      default: return false;
    }
  }
  return true;
}

bool has_triggers(const Survey& survey) {
  return std::ranges::any_of(survey.touches,
                             [](const Touch& touch) { return touch.kind == TouchKind::touch; });
}

/// Effects already solved for are not proposed again, nor is lobing where only centres are known: there an offset of
/// the stylus looks the same.
void find_systematic_effects(const FindingInputs& in, std::vector<Finding>& findings) {
  const Adjusted as_stated = adjusted_at(in.model, in.stated, in.adjusted.unknowns, {});
  bool lobing_seen = false;
  for (const Proposal& proposal : proposals) {
    const std::vector<Effect> effects = effects_for(in.model, proposal.unknown);
    if (effects.empty() || has_effect(in.model, effects.front().kind)) continue;
    if (proposal.unknown == OptionalUnknown::lobing && !has_triggers(in.model.survey())) continue;
    const ExtraTest test = spoken_for(in, as_stated, effects);
    if (!test.testable) continue;
    lobing_seen = lobing_seen || proposal.unknown == OptionalUnknown::lobing;
    const bool counted = within_bound(in, effects, test);
    findings.push_back({proposal.code, counted ? Severity::note : Severity::warning,
                        finding::EffectSeen{test.estimate.norm(), proposal_level, counted}});
  }
  const std::vector<Effect> slides =
      effects_for(in.model, {OptionalUnknown::squareness, OptionalUnknown::scale});
  if (slides.empty() || has_effect(in.model, EffectKind::squareness) ||
      has_effect(in.model, EffectKind::scale))
    return;
  const ExtraTest test = slides_spoken_for(in, as_stated, slides, lobing_seen);
  if (!test.testable) return;
  const bool counted = within_bound(in, slides, test);
  findings.push_back({FindingCode::linear_axes_two_lobed,
                      counted ? Severity::note : severity_of(in, test),
                      slide_errors(in.model.machine(), slides, test)});
}

/// Once in a thousand surveys nothing moved and this fires all the same.
constexpr double moved_level = 1e-3;

void find_moved(const FindingInputs& in, std::vector<Finding>& findings) {
  const MovedArtefact moved =
      find_moved_artefact(in.model, in.chosen.random, in.adjusted, moved_level);
  if (moved.artefact < 0) return;
  // A steady creep explains the same pattern with less: then drift is the better story.
  const ExtraTest drift = test_effects(in.model, in.chosen.random, in.adjusted,
                                       effects_for(in.model, OptionalUnknown::drift));
  if (drift.testable && drift.tail < moved.tail) return;
  const Station& stay = in.model.survey().stations[moved.first_station];
  const Machine& machine = in.model.machine();
  findings.push_back({FindingCode::artefact_moved, Severity::error,
                      finding::Moved{machine.artefacts[moved.artefact].name, moved.shift_mm.norm(),
                                     name_of(machine, stay)}});
}

/// Touches whose stated approach runs away from the surface they are booked to.
void find_wrong_side(const FindingInputs& in, std::vector<Finding>& findings) {
  const Machine& machine = in.model.machine();
  const Linearisation at(in.model, in.adjusted.unknowns);
  const MachineState& state = at.state();
  for (const Touch& touch : in.model.survey().touches) {
    if (touch.kind == TouchKind::centre || !touch.approach) continue;
    const RotaryAngles& angles = in.model.survey().stations[touch.station].angles_rad;
    const Artefact& artefact = machine.artefacts[touch.artefact];
    const Eigen::Vector3d carried = at.stylus_in_carried(touch, angles);
    const Eigen::Vector3d outward =
        machine_from_carried_rotation(machine, state, artefact.carried_by, angles) *
        outward_normal(artefact.kind, state.artefacts[touch.artefact], carried);
    if (touch.approach->dot(outward) < 0.3) continue;
    findings.push_back({FindingCode::approach_contradicts, Severity::error,
                        finding::Contradiction{touch.label, artefact.name}});
    return;
  }
}

double angle_spread(const Survey& survey, std::size_t axis) {
  std::complex<double> sum = 0.0;
  for (const Station& station : survey.stations) {
    sum += std::polar(1.0, station.angles_rad[axis]);
  }
  const double mean = std::abs(sum) / static_cast<double>(survey.stations.size());
  return 1.0 - mean * mean;
}

/// Distance from an axis of the farthest ball that it carries; absent when it carries none.
std::optional<double> farthest_ball_mm(const Model& model, const MachineState& state, int axis) {
  const Machine& machine = model.machine();
  std::optional<double> farthest;
  for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
    const Artefact& artefact = machine.artefacts[a];
    const bool touched = model.layout().place_first[a] >= 0;
    if (!touched || artefact.kind != ArtefactKind::ball || artefact.carried_by < axis) continue;
    const double distance =
        perpendicular_from_line(state.axis_lines[axis], state.artefacts[a].point_mm).norm();
    farthest = std::max(farthest.value_or(0.0), distance);
  }
  return farthest;
}

void find_poor_geometry(const FindingInputs& in, std::vector<Finding>& findings) {
  const Machine& machine = in.model.machine();
  const MachineState state = in.model.state(in.adjusted.unknowns);
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    if (in.model.layout().axis_first[axis] < 0) continue;
    const char letter = machine.rotary[axis].letter;
    if (angle_spread(in.model.survey(), axis) < short_arc_spread) {
      findings.push_back({FindingCode::arc_too_short, Severity::note, finding::ShortArc{letter}});
    }
    if (machine.rotary[axis].side == AxisSide::tool) continue;
    const auto farthest = farthest_ball_mm(in.model, state, static_cast<int>(axis));
    if (farthest && *farthest < near_axis_mm) {
      findings.push_back(
          {FindingCode::ball_near_axis, Severity::warning, finding::NearAxis{letter, *farthest}});
    }
  }
}

}  // namespace

namespace {

std::vector<Finding> found(const FindingInputs& in) {
  std::vector<Finding> findings;
  find_turn_sense(in, findings);
  if (in.sense.wrong()) return findings;  // every further diagnosis would be about the wrong sense
  find_bad_touches(in, findings);
  find_wrong_side(in, findings);
  find_systematic_effects(in, findings);
  find_moved(in, findings);
  find_diameter(in, findings);
  find_scatter(in, findings);
  find_unchecked_touches(in, findings);
  find_poor_geometry(in, findings);
  find_far_from_nominal(in, findings);
  find_assumed_sigmas(in, findings);
  return findings;
}

}  // namespace

std::vector<Finding> findings_of(const FindingInputs& in) {
  std::vector<Finding> findings = found(in);
  for (Finding& finding : findings) finding.inch = in.model.machine().inch;
  return findings;
}

}  // namespace pivotrace
