#include "estimate/findings.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <complex>

#include "estimate/optional_unknowns.h"
#include "estimate/outputs.h"
#include "estimate/touch_tests.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/kinematics.h"

namespace pivotrace {

namespace {

/// Two-sided 0.1 % point of the standard normal: the usual limit for a single suspect.
constexpr double suspect_w = 3.29;

/// 1 - |mean of exp(j t)|^2 below this: the angles cover less than roughly a quarter turn.
constexpr double short_arc_spread = 0.2;

/// A ball nearer to the axis than this tells little about lean and nothing about index errors.
constexpr double near_axis_mm = 10.0;

/// The other sense leaves this many times less than the stated one: not decisive, but not "equally
/// well" either. Common practice, no source.
constexpr double suspiciously_better = 3.0;

Finding unproven_turn_sense(const SenseVerdict& sense, char letter) {
  Finding finding{"turn-sense-unproven", Severity::warning, "", ""};
  if (sense.rms_if_turned_mm * suspiciously_better < sense.rms_as_stated_mm) {
    finding.text = fmt::format(
        "axis {} may turn the other way: as stated the touches are left with {:.1f} um (rms), with "
        "another sense with {:.1f} um",
        letter, 1e3 * sense.rms_as_stated_mm, 1e3 * sense.rms_if_turned_mm);
    finding.advice = fmt::format(
        "look which way {} turns for a positive command, and correct `positive_turn` if it is not "
        "as stated",
        letter);
    return finding;
  }
  finding.text = fmt::format(
      "these angles fit both turn senses of axis {} equally well, so the touches do not prove "
      "`positive_turn`",
      letter);
  finding.advice = fmt::format(
      "touch at one more angle of {} that is not 180 deg from the others (90 deg is best)", letter);
  return finding;
}

void find_turn_sense(const FindingInputs& in, std::vector<Finding>& findings) {
  if (in.sense.wrong()) {
    const Problem problem = in.sense.as_problem(in.model);
    findings.push_back({"turn-sense-wrong", Severity::error, problem.what, problem.advice});
  }
  for (std::size_t axis = 0; axis < in.sense.answers.size(); ++axis) {
    if (in.sense.answers[axis] != SenseVerdict::Answer::cannot_tell) continue;
    findings.push_back(unproven_turn_sense(in.sense, in.model.machine().rotary[axis].letter));
  }
}

/// A systematic error that was found explains larger scatter as well; stating the scatter as a sigma
/// would then hide it.
bool cause_was_found(const std::vector<Finding>& findings) {
  constexpr const char* causes[] = {"artefact-moved",     "drift-seen",
                                    "stylus-offset-seen", "lobing-seen",
                                    "reversal-seen",      "linear-axes-two-lobed",
                                    "diameter-disagrees", "approach-contradicts"};
  for (const Finding& finding : findings) {
    for (const char* cause : causes) {
      if (finding.code == cause) return true;
    }
  }
  return false;
}

bool is_unusable(const std::vector<Finding>& findings) {
  return std::any_of(findings.begin(), findings.end(),
                     [](const Finding& f) { return f.severity == Severity::error; });
}

void find_scatter(const FindingInputs& in, std::vector<Finding>& findings) {
  const bool explained = cause_was_found(findings);
  const std::string deal_first =
      "deal with the finding above first: it makes scatter like this; do not state the larger "
      "value in the machine file";
  if (in.scatter_too_large) {
    findings.push_back(
        {"scatter-larger-than-stated", Severity::warning,
         fmt::format(
             "the touches scatter {:.1f} times more than the machine file allows; every U95 "
             "has been enlarged to match",
             in.result.fit.sigma0),
         explained ? deal_first
                   : "look for a loose artefact, chips, a dirty stylus, an axis that was not "
                     "clamped or a touch booked to the wrong angle; see the list with --touches"});
  }
  const double stated_touch = in.model.machine().probe.touch_sigma_mm;
  const double stated_station = in.model.machine().linear.station_sigma_mm;
  const auto compare = [&](bool estimated, double found, double stated, const char* what,
                           const char* key) {
    if (!estimated || stated <= 0.0 || found < 3.0 * stated) return;
    // Errors that large are no scatter: their mean need not be zero (common practice, no source).
    constexpr double no_scatter = 20.0;
    findings.push_back(
        {"scatter-larger-than-stated",
         found < no_scatter * stated || is_unusable(findings) ? Severity::warning : Severity::error,
         fmt::format(
             "{} came out at {:.4f} mm, the machine file says {:.4f} mm; the larger value was "
             "used for every U95",
             what, found, stated),
         explained
             ? deal_first
             : fmt::format(
                   "look for the cause, or state the larger value as `{}` in the machine file",
                   key)});
  };
  compare(in.chosen.touch_estimated, in.chosen.random.touch_sigma_mm, stated_touch,
          "the scatter of single touches", "touch_sigma");
  compare(in.chosen.station_estimated, in.chosen.random.station_sigma_mm, stated_station,
          "the scatter from station to station", "station_sigma");
}

void find_assumed_sigmas(const FindingInputs& in, std::vector<Finding>& findings) {
  if (in.chosen.source.find("defaults") == std::string::npos) return;
  findings.push_back(
      {"sigmas-assumed", Severity::note,
       fmt::format(
           "the machine file does not state all of `touch_sigma`, `station_sigma` and "
           "`index_sigma_arcsec`; {:.4f} mm, {:.4f} mm and {:.0f} arcsec stand in for what is "
           "missing, and every U95 rests on them",
           default_touch_sigma_mm, default_station_sigma_mm, default_index_sigma_arcsec),
       "state what your probe and machine do, or take about a dozen stations so that the survey "
       "can "
       "find it itself"});
}

void find_diameter(const FindingInputs& in, std::vector<Finding>& findings) {
  const Layout& layout = in.model.layout();
  for (std::size_t g = 0; g < layout.radius_groups.size(); ++g) {
    const auto k = static_cast<Eigen::Index>(g);
    const double precision = in.model.radius_prior().precision(k, k);
    if (precision <= 0.0) continue;
    const int unknown = layout.radius_groups[g].unknown;
    const double off = in.adjusted.unknowns[unknown] - in.model.radius_prior().mean_mm[k];
    // The stated radius is one more observation; this is its studentised residual.
    const double variance = 1.0 / precision - in.adjusted.covariance()(unknown, unknown);
    if (variance <= 1e-3 / precision) continue;
    // What the touches alone say: undo the pull of the stated value.
    const double touches_alone = 2.0 * off / (variance * precision);
    if (std::abs(off) / std::sqrt(variance) < suspect_w) continue;
    const std::string name = in.model.machine().artefacts[layout.radius_groups[g].owner].name;
    findings.push_back(
        {"diameter-disagrees", Severity::error,
         fmt::format(
             "{} and stylus together measure {:+.4f} mm from what the machine file states, at "
             "every station alike",
             name, touches_alone),
         "check the stylus diameter and its calibration first, then the diameter of the artefact; "
         "remove `stylus_diameter_u` from the machine file to have the size found from the "
         "touches"});
  }
}

void find_unchecked_touches(const FindingInputs& in, std::vector<Finding>& findings) {
  int unchecked = 0;
  std::string first;
  for (const TouchResult& touch : in.result.touches) {
    if (touch.excluded || touch.w) continue;
    if (unchecked == 0) first = touch.label;
    ++unchecked;
  }
  if (unchecked == 0) return;
  if (in.adjusted.redundancy == 0) {
    // Any readings at all would fit: the result rests on every one of them being right.
    findings.push_back(
        {"unchecked-touches", Severity::error,
         "there are as many unknowns as readings, so no touch is checked by another: "
         "an error in any of them would move the result without showing",
         "add a station, or solve for fewer unknowns"});
    return;
  }
  findings.push_back(
      {"unchecked-touches", Severity::warning,
       fmt::format(
           "{} of {} touches are checked by no other (the first is touch {}): an error in one "
           "of them would move the result without showing",
           unchecked, in.result.touches.size(), first),
       "add a station or a touch there; five or six touches a station and six or more angles check "
       "everything"});
}

std::string at_angles(const Machine& machine, const Station& stay) {
  std::string text;
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    text += fmt::format("{}{}{:.4g}", axis == 0 ? "" : " ", machine.rotary[axis].letter,
                        deg_from_rad(stay.angles_rad[axis]) + 0.0);
  }
  return text;
}

std::string named_station(const FindingInputs& in, const Suspect& suspect) {
  const Station& stay = in.survey.stations[suspect.station];
  return fmt::format("station {} ({})", stay.label, at_angles(in.model.machine(), stay));
}

std::string named_suspect(const FindingInputs& in, const Suspect& suspect) {
  std::string station = named_station(in, suspect);
  if (suspect.whole_station) return station;
  return fmt::format("touch {} at {}", in.survey.touches[suspect.touches.front()].label, station);
}

Finding inseparable_suspects(const FindingInputs& in, const Inseparable& group) {
  std::string names;
  for (std::size_t k = 0; k < group.suspects.size(); ++k) {
    if (k > 0) names += k + 1 == group.suspects.size() ? " or " : ", ";
    names += named_suspect(in, group.suspects[k]);
  }
  const double size_mm = group.suspects.front().size_mm;
  if (group.beyond_chance) {
    return {"suspects-inseparable", Severity::error,
            fmt::format("{} is wrong by about {:.4f} mm, and these touches cannot tell which; none "
                        "was left out",
                        names, size_mm),
            "repeat all the touches named, or add a station, then fit again"};
  }
  return {
      "suspects-inseparable", Severity::warning,
      fmt::format("{} may be off by about {:.4f} mm, and these touches cannot tell which; chance "
                  "alone makes that much in a few surveys of a hundred, and none was left out",
                  names, size_mm),
      "repeat the touches named if you want to be sure"};
}

void find_bad_touches(const FindingInputs& in, std::vector<Finding>& findings) {
  for (const Suspect& suspect : in.screening.exclusions) {
    const std::string who = named_suspect(in, suspect);
    if (suspect.whole_station) {
      findings.push_back(
          {"station-slipped", Severity::warning,
           fmt::format(
               "all touches of {} sit together {:.4f} mm from where the others put them (limit "
               "{:.4f} mm); the station was left out",
               who, suspect.size_mm, suspect.limit_mm),
           "check that the axis was clamped and had stopped, that nothing moved the artefact, and "
           "repeat "
           "that station"});
    } else if (suspect.station_possible) {
      findings.push_back(
          {"bad-touch", Severity::warning,
           fmt::format(
               "{} disagrees with the others by {:.4f} mm (limit {:.4f} mm); it was left out. No "
               "other touch of {} looks in that direction, so all of that station may have slipped",
               who, suspect.size_mm, suspect.limit_mm, named_station(in, suspect)),
           "look for a chip, a false trigger or a typing error there; check that the axis was "
           "clamped and had stopped; repeat that station"});
    } else {
      findings.push_back(
          {"bad-touch", Severity::warning,
           fmt::format(
               "{} disagrees with the others by {:.4f} mm (limit {:.4f} mm); it was left out", who,
               suspect.size_mm, suspect.limit_mm),
           "look for a chip, a false trigger or a typing error there, and repeat that touch"});
    }
  }
  for (const Inseparable& group : in.screening.inseparable) {
    findings.push_back(inseparable_suspects(in, group));
  }
  if (in.screening.given_up) {
    findings.push_back(
        {"too-many-bad-touches", Severity::error,
         "more touches disagree than can be left out: this survey holds no agreed answer",
         "check the angles, artefact names and units in the touch record, then repeat the "
         "survey with everything clamped and clean"});
  }
}

/// A systematic effect is proposed when the touches would show it by chance once in ten thousand:
/// several are tried, so the limit is stricter than for a single question.
constexpr double proposal_level = 1e-4;

struct Proposal {
  OptionalUnknown unknown;
  const char* code;
  const char* seen;  ///< completes "the touches show ..."
  const char* advice;
};

constexpr Proposal proposals[] = {
    {OptionalUnknown::drift, "drift-seen", "a steady creep in time",
     "let the machine warm up and repeat, or fit again with --with drift"},
    {OptionalUnknown::stylus_offset, "stylus-offset-seen", "a stylus ball off the spindle axis",
     "centre the stylus, or fit again with --with stylus-offset"},
    {OptionalUnknown::lobing, "lobing-seen",
     "a probe that triggers differently in three directions",
     "use five or six touches round the artefact, or fit again with --with lobing"},
    {OptionalUnknown::reversal, "reversal-seen",
     "different angles when reached from below and from above",
     "approach every angle from the same side, or fit again with --with reversal"},
};

std::string amount(const Model& model, OptionalUnknown unknown, const ExtraTest& test) {
  const std::vector<Effect> effects = effects_for(model, unknown);
  const std::string unit = effect_unit(effects.front());
  const double size = test.estimate.norm();
  if (unit == "mm/h") return fmt::format("{:.4f} mm per hour", size);
  if (unit == "rad") return fmt::format("{:.1f} arcsec", arcsec_from_rad(size));
  return fmt::format("{:.4f} mm", size);
}

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

std::string slide_sizes(const std::vector<Effect>& slides, const ExtraTest& test) {
  constexpr const char* planes[3] = {"XY", "YZ", "ZX"};
  constexpr const char* slide_words[3] = {"X", "Y", "Z"};
  std::string sizes;
  for (std::size_t k = 0; k < slides.size(); ++k) {
    const bool square = slides[k].kind == EffectKind::squareness;
    sizes +=
        fmt::format("{}{} {} {:+.0f} um/m", k == 0 ? "" : ", ", square ? "squareness" : "scale",
                    square ? planes[slides[k].index] : slide_words[slides[k].index],
                    1e6 * test.estimate[static_cast<Eigen::Index>(k)]);
  }
  return sizes;
}

/// An effect that would move a stated value by more than its U95 makes that value untrue: error.
Severity severity_of(const FindingInputs& in, const ExtraTest& test) {
  std::vector<double> U95;
  for (const AxisResult& axis : in.result.axes) {
    for (const NamedEstimate& named : axis.location) U95.push_back(named.estimate.U95_absolute);
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

/// Effects already solved for are not proposed again.
void find_systematic_effects(const FindingInputs& in, std::vector<Finding>& findings) {
  const Adjusted as_stated = adjusted_at(in.model, in.stated, in.adjusted.unknowns, {});
  bool lobing_seen = false;
  for (const Proposal& proposal : proposals) {
    const std::vector<Effect> effects = effects_for(in.model, proposal.unknown);
    if (effects.empty() || has_effect(in.model, effects.front().kind)) continue;
    const ExtraTest test = spoken_for(in, as_stated, effects);
    if (!test.testable) continue;
    lobing_seen = lobing_seen || proposal.unknown == OptionalUnknown::lobing;
    findings.push_back(
        {proposal.code, Severity::warning,
         fmt::format("the touches show {}, about {} (by chance less than once in {:.0f}); "
                     "it was not corrected",
                     proposal.seen, amount(in.model, proposal.unknown, test), 1.0 / proposal_level),
         proposal.advice});
  }
  const std::vector<Effect> slides =
      effects_for(in.model, {OptionalUnknown::squareness, OptionalUnknown::scale});
  if (slides.empty() || has_effect(in.model, EffectKind::squareness) ||
      has_effect(in.model, EffectKind::scale))
    return;
  const ExtraTest test = slides_spoken_for(in, as_stated, slides, lobing_seen);
  if (!test.testable) return;
  findings.push_back({"linear-axes-two-lobed", severity_of(in, test),
                      "the deviations swing twice per turn, as linear axes out of square or of "
                      "unequal scale make them: " +
                          slide_sizes(slides, test),
                      "have the linear axes checked, or fit again with --with squareness,scale; on "
                      "a full circle the "
                      "centre is hardly touched by it"});
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
  findings.push_back(
      {"artefact-moved", Severity::error,
       fmt::format(
           "{} seems to sit {:.4f} mm elsewhere from station {} ({}) on: it moved during the "
           "survey",
           in.model.machine().artefacts[moved.artefact].name, moved.shift_mm.norm(), stay.label,
           at_angles(in.model.machine(), stay)),
       "fasten the artefact, check its stem and the clamping, and repeat the survey"});
}

/// Touches whose stated approach runs away from the surface they are booked to.
void find_wrong_side(const FindingInputs& in, std::vector<Finding>& findings) {
  const Machine& machine = in.model.machine();
  const MachineState state = in.model.state(in.adjusted.unknowns);
  for (const Touch& touch : in.model.survey().touches) {
    if (touch.kind == TouchKind::centre || !touch.approach) continue;
    const RotaryAngles& angles = in.model.survey().stations[touch.station].angles_rad;
    const Artefact& artefact = machine.artefacts[touch.artefact];
    const Eigen::Vector3d carried = carried_from_machine(
        machine, state, artefact.carried_by,
        stylus_in_machine(machine, state, touch.shown_mm, angles, touch.flip), angles);
    const Eigen::Vector3d outward =
        machine_from_carried_rotation(machine, state, artefact.carried_by, angles) *
        outward_normal(artefact.kind, state.artefacts[touch.artefact], carried);
    if (touch.approach->dot(outward) < 0.3) continue;
    findings.push_back(
        {"approach-contradicts", Severity::error,
         fmt::format("touch {} on {} is recorded as approaching from inside the material",
                     touch.label, artefact.name),
         "check I, J, K of that touch (they point towards the surface), and whether the artefact "
         "is a "
         "pin or a bore"});
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

void find_poor_geometry(const FindingInputs& in, std::vector<Finding>& findings) {
  const Machine& machine = in.model.machine();
  const MachineState state = in.model.state(in.adjusted.unknowns);
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    if (in.model.layout().axis_first[axis] < 0) continue;
    const char letter = machine.rotary[axis].letter;
    if (angle_spread(in.model.survey(), axis) < short_arc_spread) {
      findings.push_back(
          {"arc-too-short", Severity::warning,
           fmt::format(
               "the angles of {} cover only a short arc: scale and squareness of the linear "
               "axes then enter its centre and lean almost in full, and no number here shows "
               "it",
               letter),
           fmt::format("spread the angles of {} as far as its travel allows, or state "
                       "`scale_u_um_per_m` and `squareness_u_um_per_m` in the machine file",
                       letter)});
    }
    if (machine.rotary[axis].side == AxisSide::tool) continue;
    double farthest = 0.0;
    bool any = false;
    for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
      if (in.model.layout().place_first[a] < 0 || machine.artefacts[a].kind != ArtefactKind::ball)
        continue;
      if (machine.artefacts[a].carried_by < static_cast<int>(axis)) continue;
      any = true;
      farthest = std::max(
          farthest,
          perpendicular_from_line(state.axis_lines[axis], state.artefacts[a].point_mm).norm());
    }
    if (any && farthest < near_axis_mm) {
      findings.push_back(
          {"ball-near-axis", Severity::warning,
           fmt::format("the ball runs only {:.1f} mm from axis {}: its lean is poorly known",
                       farthest, letter),
           "mount the ball further out, 50 to 150 mm from the axis"});
    }
  }
}

}  // namespace

std::vector<Finding> find(const FindingInputs& in) {
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
  find_assumed_sigmas(in, findings);
  return findings;
}

}  // namespace pivotrace
