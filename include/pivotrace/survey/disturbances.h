// Disturbances put into a simulated machine: everything `[bounds]` of a machine file speaks of, by
// the simulator's own means. The estimator's columns for the same effects are not used here.
#pragma once

#include <Eigen/Core>

#include "pivotrace/machine/bounds.h"
#include "pivotrace/survey/random_stream.h"
#include "pivotrace/survey/synthetic.h"

namespace pivotrace {

/// Where and how long a survey runs: what the disturbances are counted from.
struct SurveyFrame {
  Eigen::Vector3d slides_origin_mm = Eigen::Vector3d::Zero();  ///< scale and squareness are 0 here
  Eigen::Vector3d middle_mm = Eigen::Vector3d::Zero();         ///< of all positions: bow is 0 here
  double hours = 0.0;
};

/// From a survey of the undisturbed machine. The origin is the innermost work-side centre, on a
/// machine whose head turns alone the middle of the positions.
SurveyFrame frame_of(const Machine& machine, const Survey& survey);

/// How many numbers say which way a disturbance goes: lobing 2 (cosine, sine of the phase), drift 3,
/// squareness 3 (XY, YZ, ZX), scale 3, place 9 (three directions for each slide), index wave 4 (cosine
/// and sine, once and twice per turn), between surveys 3.
int components(BoundKind kind);

/// Whether the bound limits the length of the components (any phase, any direction) or each of them
/// for itself. Place: the length of each slide's three.
bool limits_length(BoundKind kind);

/// Adds a disturbance of these components [mm, rad or mm/mm] to the truth. Drift is given per survey.
void disturb(SurveyTruth& truth, const Bound& bound, const Eigen::VectorXd& components,
             const SurveyFrame& frame);

/// The components within the bound that shift an output most, whose response to one unit of each is
/// `response`: along it where the length is limited, else every one at its bound with its sign.
Eigen::VectorXd worst_components(const Bound& bound, const Eigen::VectorXd& response);

/// Drawn within the bound, evenly in size, in any direction.
Eigen::VectorXd drawn_components(const Bound& bound, RandomStream& random);

}  // namespace pivotrace
