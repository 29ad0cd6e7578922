#include "pivotrace/report/finding_words.h"

#include <fmt/format.h>

#include <variant>

#include "base/length_text.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

using namespace finding;

using Words = FindingWords;

std::string station_words(const StationName& station) {
  std::string angles;
  for (const auto& [letter, angle_rad] : station.angles_rad) {
    angles +=
        fmt::format("{}{}{:.4g}", angles.empty() ? "" : " ", letter, deg_from_rad(angle_rad) + 0.0);
  }
  return fmt::format("{} ({})", station.label, angles);
}

std::string suspect_words(const SuspectName& suspect) {
  const std::string station = "station " + station_words(suspect.station);
  return suspect.touch ? fmt::format("touch {} at {}", *suspect.touch, station) : station;
}

Words words_of(FindingCode, const Plain&, bool) {
  return {"more touches disagree than can be left out: this survey holds no agreed answer",
          "check the angles, artefact names and units in the touch record, then repeat the survey "
          "with everything clamped and clean"};
}

Words words_of(FindingCode, const AsWritten& written, bool) {
  return {written.text, written.advice};
}

/// What the row would say, were it typed as it probably should have been.
std::string slip_words(const TypingSlip& slip, bool inch) {
  constexpr const char* letters = "XYZ";
  const auto angle = [](double rad) { return fmt::format("{:.6g}", deg_from_rad(rad) + 0.0); };
  switch (slip.kind) {
    case TypingSlip::Kind::swapped_coordinates:
      return fmt::format("it agrees with {} and {} swapped", letters[slip.coordinate],
                         letters[slip.other]);
    case TypingSlip::Kind::lost_sign:
      return fmt::format("it agrees with the other sign of {}", letters[slip.coordinate]);
    case TypingSlip::Kind::other_angle:
      return fmt::format("it agrees with {} at {} deg instead of {}", slip.axis,
                         angle(slip.angle_rad), angle(slip.typed_rad));
    case TypingSlip::Kind::one_digit:
    case TypingSlip::Kind::one_coordinate: break;
  }
  return fmt::format("{} reads {} off and the other two agree", letters[slip.coordinate],
                     signed_length_text(slip.off_mm, inch));
}

Words slipped_row(const LeftOut& left, bool inch) {
  return {
      fmt::format("row {} (station {}) disagrees with the others by {} (limit {}) and was left "
                  "out; {}: a typing slip?",
                  *left.who.touch, station_words(left.who.station), length_text(left.size_mm, inch),
                  length_text(left.limit_mm, inch), slip_words(*left.slip, inch)),
      "look that row up in your notes and correct it, or measure it again"};
}

Words words_of(FindingCode, const LeftOut& left, bool inch) {
  if (left.slip && left.who.touch) return slipped_row(left, inch);
  const std::string who = suspect_words(left.who);
  if (!left.who.touch) {
    return {fmt::format("all touches of {} sit together {} from where the others put them "
                        "(limit {}); the station was left out",
                        who, length_text(left.size_mm, inch), length_text(left.limit_mm, inch)),
            "check that the axis was clamped and had stopped, that nothing moved the artefact, and "
            "repeat that station"};
  }
  const std::string text =
      fmt::format("{} disagrees with the others by {} (limit {}); it was left out", who,
                  length_text(left.size_mm, inch), length_text(left.limit_mm, inch));
  if (!left.station_possible) {
    return {text,
            "look for a chip, a false trigger or a typing error there, and repeat that touch"};
  }
  return {fmt::format("{}. No other touch of station {} looks in that direction, so all of that "
                      "station may have slipped",
                      text, station_words(left.who.station)),
          "look for a chip, a false trigger or a typing error there; check that the axis was "
          "clamped and had stopped; repeat that station"};
}

Words words_of(FindingCode, const Inseparable& group, bool inch) {
  std::string names;
  for (std::size_t k = 0; k < group.suspects.size(); ++k) {
    if (k > 0) names += k + 1 == group.suspects.size() ? " or " : ", ";
    names += suspect_words(group.suspects[k]);
  }
  if (group.beyond_chance) {
    return {fmt::format("{} is wrong by about {}, and these touches cannot tell which; none "
                        "was left out",
                        names, length_text(group.size_mm, inch)),
            "repeat all the touches named, or add a station, then fit again"};
  }
  return {fmt::format("{} may be off by about {}, and these touches cannot tell which; "
                      "chance alone makes that much in a few surveys of a hundred, and none was "
                      "left out",
                      names, length_text(group.size_mm, inch)),
          "repeat the touches named if you want to be sure"};
}

Words words_of(FindingCode, const SenseUnproven& sense, bool inch) {
  if (sense.other_is_better) {
    return {fmt::format("axis {} may turn the other way: as stated the touches are left with "
                        "{} (rms), with another sense with {}",
                        sense.axis, length_text(sense.rms_as_stated_mm, inch),
                        length_text(sense.rms_if_turned_mm, inch)),
            fmt::format("look which way {} turns for a positive command, and correct "
                        "`positive_turn` if it is not as stated",
                        sense.axis)};
  }
  return {fmt::format("these angles fit both turn senses of axis {} equally well, so the touches "
                      "do not prove `positive_turn`",
                      sense.axis),
          fmt::format(
              "touch at one more angle of {} that is not 180 deg from the others (90 deg is best)",
              sense.axis)};
}

Words words_of(FindingCode, const Contradiction& touch, bool) {
  return {fmt::format("touch {} on {} is recorded as approaching from inside the material",
                      touch.touch, touch.artefact),
          "check I, J, K of that touch (they point towards the surface), and whether the artefact "
          "is a pin or a bore"};
}

/// How an effect shows, completing "the touches show ...", its unit, and what to do.
struct EffectWords {
  EffectKind kind;
  const char* shows;
  const char* advice;
};

EffectWords effect_words(FindingCode code) {
  switch (code) {
    case FindingCode::drift_seen:
      return {EffectKind::drift, "a steady creep in time",
              "let the machine warm up and repeat, or fit again with --with drift"};
    case FindingCode::stylus_offset_seen:
      return {EffectKind::stylus_offset, "a stylus ball off the spindle axis",
              "centre the stylus, or fit again with --with stylus-offset"};
    case FindingCode::lobing_seen:
      return {EffectKind::lobing, "a probe that triggers differently in three directions",
              "use five or six touches round the artefact, or fit again with --with lobing"};
    default:
      return {EffectKind::reversal, "different angles when reached from below and from above",
              "approach every angle from the same side, or fit again with --with reversal"};
  }
}

std::string amount(EffectKind kind, double size, bool inch) {
  switch (effect_unit(kind)) {
    case EffectUnit::mm_per_hour: return length_text(size, inch) + " per hour";
    case EffectUnit::rad: return fmt::format("{:.1f} arcsec", arcsec_from_rad(size));
    default: return length_text(size, inch);
  }
}

Words words_of(FindingCode, const Assumed& assumed, bool inch) {
  std::string list;
  const auto add = [&](const std::string& one) { list += (list.empty() ? "" : ", ") + one; };
  for (const auto& [key, mm] : assumed.lengths_mm) {
    add(fmt::format("`{}` {}", key, length_text(mm, inch, 5)));
  }
  for (const auto& [key, rad] : assumed.angles_rad) {
    add(fmt::format("`{}` {:.1f}", key, arcsec_from_rad(rad)));
  }
  return {fmt::format("not in the machine file and assumed instead (class {}): {}; every U95 rests "
                      "on them",
                      assumed.machine_class, list),
          "state what your probe and machine do"};
}

Words words_of(FindingCode code, const EffectSeen& seen, bool inch) {
  const EffectWords words = effect_words(code);
  return {fmt::format("the touches show {}, about {} (by chance less than once in {:.0f}); it was "
                      "not corrected{}",
                      words.shows, amount(words.kind, seen.size, inch), 1.0 / seen.level,
                      seen.counted ? ", and every U95 counts as much as that" : ""),
          words.advice};
}

Words words_of(FindingCode, const SlideErrors& slides, bool) {
  std::string sizes;
  for (const auto& [effect, size] : slides.sizes) {
    sizes += fmt::format("{}{} {} {:+.0f} um/m", sizes.empty() ? "" : ", ",
                         effect_word(effect.kind), effect_part(effect), 1e6 * size);
  }
  return {
      "the deviations swing twice per turn, as linear axes out of square or of unequal scale "
      "make them: " +
          sizes,
      "have the linear axes checked, or fit again with --with squareness,scale; on a full "
      "circle the centre is hardly touched by it"};
}

Words words_of(FindingCode, const Moved& moved, bool inch) {
  return {fmt::format("{} seems to sit {} elsewhere from station {} on: it moved during the "
                      "survey",
                      moved.artefact, length_text(moved.shift_mm, inch), station_words(moved.from)),
          "fasten the artefact, check its stem and the clamping, and repeat the survey"};
}

Words words_of(FindingCode, const Diameter& diameter, bool inch) {
  return {fmt::format("{} and stylus together measure {} from what the machine file "
                      "states, at every station alike",
                      diameter.artefact, signed_length_text(diameter.off_mm, inch)),
          "check the stylus diameter and its calibration first, then the diameter of the artefact; "
          "remove `stylus_diameter_u` from the machine file to have the size found from the "
          "touches"};
}

constexpr const char* deal_first =
    "deal with the finding above first: it makes scatter like this; do not state the larger value "
    "in the machine file";

Words words_of(FindingCode, const Scatter& scatter, bool) {
  return {fmt::format("the touches scatter {:.1f} times more than the machine file allows; every "
                      "U95 counts what was found together with what is stated",
                      scatter.times_stated),
          scatter.explained
              ? deal_first
              : "look for a loose artefact, chips, a dirty stylus, an axis that was not clamped or "
                "a touch booked to the wrong angle; see the list with --touches"};
}

Words words_of(FindingCode, const ScatterOf& scatter, bool inch) {
  const bool touches = scatter.group == ScatterOf::Group::touches;
  return {
      fmt::format("{} came out at {}, the machine file says {}; every U95 "
                  "counts both, by what each is worth",
                  touches ? "the scatter of single touches" : "the scatter from station to station",
                  length_text(scatter.found_mm, inch), length_text(scatter.stated_mm, inch)),
      scatter.explained
          ? deal_first
          : fmt::format("look for the cause, or state the larger value as `{}` in the machine file",
                        touches ? "touch_sigma" : "station_sigma")};
}

Words words_of(FindingCode, const Unchecked& unchecked, bool) {
  if (unchecked.nothing_checked) {
    return {
        "there are as many unknowns as readings, so no touch is checked by another: an error "
        "in any of them would move the result without showing",
        "add a station, or solve for fewer unknowns"};
  }
  return {fmt::format("{} of {} touches are checked by no other (the first is touch {}): an error "
                      "in one of them would move the result without showing",
                      unchecked.unchecked, unchecked.touches, unchecked.first),
          "add a station or a touch there; five or six touches a station and six or more angles "
          "check everything"};
}

Words words_of(FindingCode, const ShortArc& arc, bool) {
  return {
      fmt::format("the angles of {} cover only a short arc: scale and squareness of the linear "
                  "axes then enter its centre and lean almost in full; U95 counts them by "
                  "their bounds",
                  arc.axis),
      fmt::format("spread the angles of {} as far as its travel allows, or state "
                  "`scale_um_per_m` and `squareness_um_per_m` in the machine file's [bounds] as "
                  "a calibration gives them",
                  arc.axis)};
}

Words words_of(FindingCode, const NearAxis& near, bool inch) {
  return {fmt::format("the ball runs only {} from axis {}: its lean is poorly known",
                      rough_length_text(near.distance_mm, inch), near.axis),
          "mount the ball further out, 50 to 150 mm from the axis"};
}

Words words_of(FindingCode, const FarFromNominal& far, bool inch) {
  const std::string text = fmt::format(
      "axis {} was found {} from where the machine file places it, more than anyone's "
      "rough guess is off",
      far.axis, rough_length_text(far.distance_mm, inch));
  if (!far.swapped) {
    return {text,
            "look at the machine: is the centre in the file that of this axis, and are the "
            "touches machine coordinates (not those of a work offset)?"};
  }
  return {fmt::format("{}; with {} and {} of `centre` swapped it is where it was found", text,
                      "XYZ"[far.swapped->first], "XYZ"[far.swapped->second]),
          "look at the machine, then correct `centre` in the machine file"};
}

Words words_of(FindingCode, const FitRefusal& refusal, bool inch) {
  return {what_of(refusal, inch), advice_of(refusal)};
}

}  // namespace

FindingWords words_of(const Finding& finding) {
  return std::visit(
      [&](const auto& details) { return words_of(finding.code, details, finding.inch); },
      finding.details);
}

std::string what_of(const Finding& finding) { return words_of(finding).text; }

std::string advice_of(const Finding& finding) { return words_of(finding).advice; }

}  // namespace pivotrace
