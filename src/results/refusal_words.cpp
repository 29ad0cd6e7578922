#include <fmt/format.h>

#include <cmath>

#include "base/length_text.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/results/refusal.h"

namespace pivotrace {

namespace {

template <class... Cases>
struct Either : Cases... {
  using Cases::operator()...;
};
template <class... Cases>
Either(Cases...) -> Either<Cases...>;

char letter_of(LinearAxis axis) { return "XYZ"[static_cast<int>(axis)]; }

std::string joined(const std::vector<std::string>& words) {
  std::string text;
  for (std::size_t k = 0; k < words.size(); ++k) {
    if (k > 0) text += k + 1 == words.size() ? " and " : ", ";
    text += words[k];
  }
  return text;
}

std::string letters_of(const std::vector<char>& axes) {
  std::string letters;
  for (const char axis : axes) letters += (letters.empty() ? "" : " and ") + std::string(1, axis);
  return letters;
}

std::string effect_unknown_words(const EffectName& effect) {
  const std::string part = effect_part(effect);
  switch (effect.kind) {
    case EffectKind::stylus_offset: return "the stylus offset in " + part;
    case EffectKind::drift: return "the drift along " + part;
    case EffectKind::lobing: return "the three-lobed trigger, part " + part;
    case EffectKind::reversal: return "the reversal of axis " + part;
    case EffectKind::squareness: return "the squareness " + part;
    case EffectKind::scale: return "the scale of " + part;
    case EffectKind::indicator_zero: return "the zero of the indicator in setting " + part;
    case EffectKind::other_stylus: return "the way from the first stylus to stylus " + part;
    case EffectKind::creep:
    case EffectKind::bow:
    case EffectKind::index_wave: break;  // bounded, never solved for by name
  }
  return "";
}

/// "the lean of axis A towards Y".
std::string unknown_words(const Unknown& unknown) {
  const std::string whose = unknown.artefact.empty() ? std::string("axis ") + unknown.axis
                                                     : "artefact " + unknown.artefact;
  const char towards = unknown.direction ? letter_of(*unknown.direction) : '?';
  switch (unknown.kind) {
    case UnknownKind::centre:
      return fmt::format("the {} coordinate of the centre of {}", towards, whose);
    case UnknownKind::lean: return fmt::format("the lean of {} towards {}", whose, towards);
    case UnknownKind::position: return fmt::format("the {} coordinate of {}", towards, whose);
    case UnknownKind::height: return "the height of " + whose;
    case UnknownKind::effective_radius: return "the diameter of " + whose + " with the stylus";
    case UnknownKind::effect: return effect_unknown_words(unknown.effect);
  }
  return "";
}

std::string unknowns_words(const std::vector<Unknown>& unknowns) {
  std::vector<std::string> words;
  words.reserve(unknowns.size());
  for (const Unknown& unknown : unknowns) words.push_back(unknown_words(unknown));
  return joined(words);
}

std::string effect_needs(EffectKind kind) {
  switch (kind) {
    case EffectKind::stylus_offset:
      return "make a second pass with the spindle turned by 180 deg (column `flip`), or leave "
             "--with stylus-offset out";
    case EffectKind::drift:
      return "record the times and repeat the first station at the end, or leave --with drift out";
    case EffectKind::lobing: return "touch from five or more bearings, or leave --with lobing out";
    case EffectKind::reversal:
      return "reach some angles from below and some from above, or leave --with reversal out";
    case EffectKind::squareness:
      return "spread the angles over most of a turn, or leave --with squareness out";
    case EffectKind::scale:
      return "spread the angles over most of a turn, or leave --with scale out";
    case EffectKind::indicator_zero:
      return "read the indicator from opposite sides in one setting (the spindle turned by 180 "
             "deg), "
             "or add touches of a known finder";
    case EffectKind::other_stylus:
      return "use the other stylus at three or more stations that the first one touches too";
    case EffectKind::creep:
    case EffectKind::bow:
    case EffectKind::index_wave: break;  // bounded, never solved for by name
  }
  return "";
}

std::string look_along(LinearAxis along) {
  if (along == LinearAxis::Z) {
    return "all touches come from the side, none from above: add a touch along Z, on the top of "
           "the artefact, at every station that lets the stylus reach it (three at least)";
  }
  return fmt::format(
      "no touch comes along {0}: add a touch along {0} at every station that lets the stylus reach "
      "it (three at least)",
      letter_of(along));
}

std::string remedy_words(const Remedy& remedy) {
  switch (remedy.kind) {
    case Remedy::Kind::suit_effect: return effect_needs(remedy.effect);
    case Remedy::Kind::look_along: return look_along(remedy.along);
    case Remedy::Kind::all_round_or_stated:
      return "touch it from more sides at one station (all round and from the end), or state its "
             "diameter with `diameter_u` and the stylus with `stylus_diameter_u` in the machine "
             "file";
    case Remedy::Kind::more_than_flats:
      return "touch a ball, a pin or a bore as well: a flat tells which way the axis points, and "
             "hardly where it is";
    case Remedy::Kind::three_angles:
      return fmt::format(
          "touch at three or more different angles of {}, spread as widely as its travel allows",
          remedy.axis);
    case Remedy::Kind::second_height:
      return fmt::format(
          "add a second artefact, or a second height, further along axis {0}, or spread the angles "
          "of {0} more widely",
          remedy.axis);
    case Remedy::Kind::wider_and_further:
      return fmt::format(
          "spread the angles of {} more widely, and place the artefact further from its axis",
          remedy.axis);
    case Remedy::Kind::more_directions:
      return fmt::format("touch {} from more directions: every coordinate needs touches along it",
                         remedy.artefact);
  }
  return "";
}

std::string words_with_choice(const Remedy& remedy) {
  return remedy_words(remedy) + (remedy.or_solve_less ? "; or fit without --with" : "");
}

std::string weak_words(const fit_refusal::TooWeak& weak, bool inch) {
  if (is_angle(weak.output)) {
    return fmt::format("the lean {} of axis {} is not determined: U95 would be {:.3g} deg",
                       iso_symbol(weak.output), weak.output.axis, deg_from_rad(weak.U95));
  }
  return fmt::format(
      "the {} coordinate of the centre of axis {} is not determined: U95 would be {}",
      direction_text(weak.output), weak.output.axis, rough_length_text(weak.U95, inch));
}

std::string rows_off_words(const std::vector<std::string>& rows) {
  if (rows.empty()) return "";
  return fmt::format(" once {} {}", rows.size() > 1 ? "rows" : "row", joined(rows)) +
         (rows.size() > 1 ? " are left out" : " is left out");
}

std::string wrong_sense_words(const fit_refusal::WrongTurnSense& wrong, bool inch) {
  const std::string before = std::isfinite(wrong.rms_as_stated_mm)
                                 ? rough_length_text(wrong.rms_as_stated_mm, inch)
                                 : std::string("no solution at all");
  return fmt::format(
      "axis {} turns the other way: with `positive_turn` as stated the touches are left with {}, "
      "with the other sense with {}{}",
      letters_of(wrong.axes), before, rough_length_text(wrong.rms_if_turned_mm, inch),
      rows_off_words(wrong.rows_off));
}

}  // namespace

ProblemNumber number_of(const FitRefusal& refusal) {
  return std::visit(
      Either{
          [](const fit_refusal::NoTouches&) { return ProblemNumber::no_data; },
          [](const fit_refusal::StoodAway&) { return ProblemNumber::axis_never_turned; },
          [](const fit_refusal::NothingTurned&) { return ProblemNumber::axis_never_turned; },
          [](const fit_refusal::TooFewReadings&) { return ProblemNumber::too_few_touches; },
          [](const fit_refusal::Unseen&) { return ProblemNumber::not_observable; },
          [](const fit_refusal::CurvatureOnly&) { return ProblemNumber::not_observable; },
          [](const fit_refusal::TooWeak&) { return ProblemNumber::weakly_determined; },
          [](const fit_refusal::WrongTurnSense&) { return ProblemNumber::wrong_turn_sense; },
      },
      refusal);
}

std::string what_of(const FitRefusal& refusal, bool inch) {
  return std::visit(
      Either{
          [](const fit_refusal::NoTouches&) -> std::string {
            return "there are no touches to fit";
          },
          [](const fit_refusal::StoodAway& axis) {
            return fmt::format(
                "axis {} stood at {:.4f} deg throughout, so its own line is unknown and every line "
                "would be stated for the wrong place",
                axis.axis, deg_from_rad(axis.angle_rad));
          },
          [](const fit_refusal::NothingTurned&) -> std::string {
            return "no rotary axis was turned between the stations";
          },
          [](const fit_refusal::TooFewReadings& few) {
            return fmt::format("{} readings cannot determine {} unknowns", few.readings,
                               few.unknowns);
          },
          [](const fit_refusal::Unseen& unseen) {
            return "with these touches " + unknowns_words(unseen.unknowns) +
                   (unseen.unknowns.size() > 1 ? " cannot be told apart" : " is not determined");
          },
          [](const fit_refusal::CurvatureOnly& curved) {
            return "no touch looks straight along " + unknowns_words(curved.unknowns) +
                   ": only the curvature of the artefact tells anything of it";
          },
          [inch](const fit_refusal::TooWeak& weak) { return weak_words(weak, inch); },
          [inch](const fit_refusal::WrongTurnSense& wrong) {
            return wrong_sense_words(wrong, inch);
          },
      },
      refusal);
}

std::string advice_of(const FitRefusal& refusal) {
  return std::visit(
      Either{
          [](const fit_refusal::NoTouches&) -> std::string {
            return "record touches at three or more rotary angles";
          },
          [](const fit_refusal::StoodAway& axis) {
            return fmt::format("touch at {0} = 0, or at two or more further angles of {0}",
                               axis.axis);
          },
          [](const fit_refusal::NothingTurned&) -> std::string {
            return "touch the artefact at three or more different angles";
          },
          [](const fit_refusal::TooFewReadings&) -> std::string {
            return "add stations or touches; a ball centre row counts as three readings, a touch "
                   "as one";
          },
          [](const fit_refusal::Unseen& unseen) { return words_with_choice(unseen.remedy); },
          [](const fit_refusal::CurvatureOnly& curved) { return words_with_choice(curved.remedy); },
          [](const fit_refusal::TooWeak& weak) { return words_with_choice(weak.remedy); },
          [](const fit_refusal::WrongTurnSense& wrong) {
            return fmt::format(
                "change `positive_turn` of axis {} in the machine file, after looking which way it "
                "really turns for a positive command{}",
                letters_of(wrong.axes),
                wrong.rows_off.empty() ? "" : "; look those rows up in your notes");
          },
      },
      refusal);
}

Problem as_problem(const FitRefusal& refusal, bool inch, const std::string& survey_file) {
  return {number_of(refusal), what_of(refusal, inch), {survey_file, 0, 0}, advice_of(refusal)};
}

Problems as_problems(const FitRefusals& refusals, bool inch, const std::string& survey_file) {
  Problems problems;
  problems.reserve(refusals.size());
  for (const FitRefusal& refusal : refusals) {
    problems.push_back(as_problem(refusal, inch, survey_file));
  }
  return problems;
}

}  // namespace pivotrace
