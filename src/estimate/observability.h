// Can these touches determine what is asked? If not: what exactly is missing, and what to add.
#pragma once

#include "estimate/adjustment.h"
#include "estimate/uncertainty.h"
#include "pivotrace/results/refusal.h"

namespace pivotrace {

/// What can be seen before anything is solved: empty survey, fewer readings than unknowns, an axis
/// that never turned yet stands away from 0. Empty when nothing stands in the way.
FitRefusals refusals_before_solving(const Model& model);

/// One refusal per direction in the unknowns that no touch sees, with the touches to add.
FitRefusals unseen_directions(const Model& model, const Adjusted& adjusted);

/// A refusal when the worst-known direction in the unknowns is seen through curvature only (the
/// height of a ball touched on its equator): solvable, but not by a linear model.
FitRefusals seen_by_curvature_only(const Model& model, const Adjusted& adjusted);

/// One refusal per axis output whose U95 is beyond the limits: solvable on paper only.
struct UsefulLimits {
  double location_mm = 0.5;
  double orientation_rad = 0.0087266462599716477;
};
FitRefusals weak_outputs(const Model& model, const Adjusted& adjusted,
                         const Uncertainty& uncertainty, const UsefulLimits& limits);

}  // namespace pivotrace
