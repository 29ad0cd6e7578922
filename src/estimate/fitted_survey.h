// One survey on its way through solution and screening: shared by the fit and by the trials.
#pragma once

#include <memory>
#include <optional>

#include "estimate/screening.h"
#include "estimate/survey_part.h"
#include "estimate/turn_sense.h"
#include "estimate/variance_components.h"
#include "pivotrace/estimate/fit.h"

namespace pivotrace {

/// Sigmas as the machine file states them; an axis that never turned in the survey adds nothing.
RandomModel stated_random_model(const Model& model);

/// The minimum under the stated sigmas, then again under estimated ones where they changed.
struct Solved {
  LeastSquaresMinimum minimum;
  Adjusted adjusted;
  ChosenVariances chosen;
  /// chi2 and redundancy under the stated sigmas.
  struct {
    double chi2 = 0.0;
    int redundancy = 0;
  } as_stated;
};

/// Everything one survey needs while it is being fitted. The part (what screening left in) must
/// outlive the model that refers to it.
struct FittedSurvey {
  std::unique_ptr<SurveyPart> part;
  std::unique_ptr<Model> model;
  Solved solved;
};

/// A fitted survey with what screening left out and what the touches say about the turn senses.
struct ScreenedSurvey {
  FittedSurvey fitted;
  Screening screening;
  SenseVerdict sense;
};

/// FitRefusals as the failure of an Expected, at the door of the room.
inline tl::unexpected<Problems> refused(const FitRefusals& refusals, const Machine& machine,
                                        const Survey& survey) {
  return tl::make_unexpected(as_problems(refusals, machine.inch, survey.file));
}

/// Solves, asks for the turn sense, screens within `limits`, solves again. Fails like fit_survey.
Expected<ScreenedSurvey> screened_survey(const Machine& machine, const Survey& survey,
                                         const FitOptions& options, ScreeningOptions limits = {});

/// Asked when the stated senses give no answer at all: whether another combination of them explains the
/// survey, with confidence, once what disagrees even then is left out. A slip of the pen hides a wrong
/// sense otherwise, and a wrong sense the slip.
std::optional<fit_refusal::WrongTurnSense> other_sense_with_rows_left_out(
    const Machine& machine, const Survey& survey, const FitOptions& options);

}  // namespace pivotrace
