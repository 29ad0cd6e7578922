// Chooses stations and touches for a purpose, and says what they will give.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pivotrace/plan/certificate.h"
#include "pivotrace/plan/detection.h"
#include "pivotrace/plan/plan.h"
#include "pivotrace/results/result.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace {

enum class StationOrder {
  there_and_back,  ///< every station twice, mirrored in time: steady drift cancels in lean
  pairs,           ///< far apart first, first station repeated at the end
};

struct PlanRequest {
  Purpose purpose = Purpose::periodic_check;
  double minutes = 3.0;                ///< for Purpose::minutes
  std::vector<char> axes;              ///< empty: every axis that can be measured
  std::optional<int> stations;         ///< per axis; default by purpose
  std::optional<int> equator_touches;  ///< per ball and station; default 5
  std::optional<StationOrder> order;   ///< default by purpose
  bool flip = false;                   ///< second pass with the spindle turned by 180 deg
  bool self_find = true;
  ProbingFeeds feeds;
  std::optional<double> clearance_mm;
  std::optional<double> rough_mm;

  /// Everything wrong with the request; empty when it can be used.
  Problems validate() const;
};

/// A station that would have been wanted, and why it is not there.
struct LeftOut {
  std::string station;  ///< "A 180"
  std::string reason;
};

/// What an addition to the plan would bring.
struct Gain {
  std::string addition;  ///< "one more station of A", "a second ball 60 mm along A"
  double minutes = 0.0;  ///< extra
  std::vector<PredictedOutput> predicted;
};

struct PlanOutcome {
  Plan plan;
  FitResult prediction;
  std::vector<LeftOut> left_out;
  /// The largest source of the worst centre and of the worst orientation, from the budget.
  std::vector<BudgetLine> limited_by;
  std::vector<Gain> gains;
  // Of a search only.
  std::vector<WantedValue> wanted;
  std::optional<Certificate> certificate;
  std::vector<SeenShift> seen;  ///< of a plan that is to detect a shift
  double least_redundancy =
      0.0;                     ///< of a touch: how much of an error in it the others show, 0 to 1
  bool stopped_early = false;  ///< the best so far
  bool longer_than_asked = false;  ///< the shortest there is
};

/// Stations are spread over the travel of each axis (evenly over a full circle, between the ends
/// otherwise), tried one by one and left out with the reason when the machine cannot reach them;
/// the outer axes stand at 0 while an inner one is measured. Touches: 5 equator touches and the
/// pole for balls where nothing is in the way, otherwise the free directions that determine the
/// centre best; two sections of pins and bores; three points of flats.
/// Errors: P401 with every reason when too few stations remain; P2xx from the prediction when the
/// touches could not determine an axis.
Expected<PlanOutcome> make_plan(const Machine& machine, const PlanRequest& request);

/// The uncertainty of every output, by the estimator's own covariance.
Expected<FitResult> predict_plan(const Machine& machine, const Plan& plan);

/// The outputs of a prediction as a plan file keeps them.
std::vector<PredictedOutput> predicted_outputs(const FitResult& prediction);

/// The survey of a plan carried out without any error on the nominal machine.
Survey nominal_survey(const Machine& machine, const Plan& plan);

}  // namespace pivotrace
