// Why a survey cannot be fitted, as types: what the touches do not determine, and what to add. Their
// words are made in one place, refusal_words.cpp.
#pragma once

#include <string>
#include <variant>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/results/unknown.h"
#include "pivotrace/results/value_name.h"

namespace pivotrace {

/// What to add so that unknowns can be told apart.
struct Remedy {
  enum class Kind {
    suit_effect,          ///< what the effect solved for as well needs, or leave it out
    look_along,           ///< touches along one machine axis
    all_round_or_stated,  ///< touch from more sides, or state the diameters
    more_than_flats,      ///< a ball, pin or bore beside the flats
    three_angles,         ///< of an axis
    second_height,        ///< a second artefact or height along an axis, or wider angles
    wider_and_further,    ///< wider angles, artefact further from the axis
    more_directions,      ///< of touches on an artefact
  };
  Kind kind = Kind::more_directions;
  EffectKind effect = EffectKind::drift;  ///< suit_effect
  LinearAxis along = LinearAxis::Z;       ///< look_along
  char axis = '\0';                       ///< three_angles, second_height, wider_and_further
  std::string artefact;                   ///< more_directions
  bool or_solve_less = false;             ///< effects solved for as well take their share
};

namespace fit_refusal {

struct NoTouches {};
/// An axis that never turned stood away from 0: its own line is unknown and carries the others.
struct StoodAway {
  char axis = '?';
  double angle_rad = 0.0;
};
struct NothingTurned {};
struct TooFewReadings {
  int readings = 0;
  int unknowns = 0;
};
/// A direction in the unknowns that no touch sees.
struct Unseen {
  std::vector<Unknown> unknowns;  ///< that take part, strongest first
  Remedy remedy;
};
/// A direction that is seen through the curvature of the artefact only.
struct CurvatureOnly {
  std::vector<Unknown> unknowns;
  Remedy remedy;
};
/// Solvable on paper, but with an uncertainty that makes the value useless.
struct TooWeak {
  ValueName output;  ///< a centre coordinate or an orientation
  double U95 = 0.0;  ///< mm or rad
  Remedy remedy;
};
struct WrongTurnSense {
  std::vector<char> axes;
  double rms_as_stated_mm = 0.0;  ///< infinite: no solution at all
  double rms_if_turned_mm = 0.0;
  std::vector<std::string> rows_off;  ///< touches that disagree under the other sense too
};

}  // namespace fit_refusal

using FitRefusal =
    std::variant<fit_refusal::NoTouches, fit_refusal::StoodAway, fit_refusal::NothingTurned,
                 fit_refusal::TooFewReadings, fit_refusal::Unseen, fit_refusal::CurvatureOnly,
                 fit_refusal::TooWeak, fit_refusal::WrongTurnSense>;
using FitRefusals = std::vector<FitRefusal>;

/// The number by which programs know the refusal, P2xx.
ProblemNumber number_of(const FitRefusal& refusal);
/// What is wrong, in plain words; lengths in inches or mm.
std::string what_of(const FitRefusal& refusal, bool inch);
/// What to do about it.
std::string advice_of(const FitRefusal& refusal);

/// As problems with the survey file; for whoever asked for the fit.
Problem as_problem(const FitRefusal& refusal, bool inch, const std::string& survey_file);
Problems as_problems(const FitRefusals& refusals, bool inch, const std::string& survey_file);

}  // namespace pivotrace
