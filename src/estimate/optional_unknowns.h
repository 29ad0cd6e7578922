// Systematic effects: solved for on request, proposed when the touches clearly speak for them.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "estimate/adjustment.h"
#include "pivotrace/estimate/fit.h"

namespace pivotrace {

/// The effects one optional unknown stands for on this machine. Squareness and scale are taken in
/// the plane of each turned axis's orbit, the scale of the second cross direction against the first:
/// a common scale cannot be told from a larger orbit.
std::vector<Effect> effects_for(const Model& model, OptionalUnknown unknown);
std::vector<Effect> effects_for(const Model& model, const std::vector<OptionalUnknown>& unknowns);

/// What k further unknowns would explain, by one linear step from the optimum.
struct ExtraTest {
  bool testable = false;  ///< the touches can tell them from everything else
  double drop = 0.0;      ///< chi2 without - chi2 with
  double tail = 1.0;  ///< chance of such a drop if there were nothing: F test with chi2 left over
  Eigen::VectorXd estimate;    ///< (k)
  Eigen::MatrixXd covariance;  ///< (k x k) of the estimate, under the random model asked for
  Eigen::VectorXd moved;       ///< (p) how far the other unknowns would move; confirm_effects only
};

ExtraTest test_effects(const Model& model, const RandomModel& random, const Adjusted& adjusted,
                       const std::vector<Effect>& effects);

/// The same question asked carefully: the model with the effects gets its own random errors
/// (restricted maximum likelihood with the effects in), then a Wald test with Student's degrees of
/// freedom. A machine that is simply worse than its file does not pass for a systematic effect.
/// Effects `beside` are solved for too, without being tested: what they explain is not counted.
ExtraTest confirm_effects(const Model& model, const RandomModel& stated,
                          const Eigen::VectorXd& unknowns, const std::vector<Effect>& effects,
                          const std::vector<Effect>& beside = {});

/// An artefact that shifted once during the survey: the station from which on it sat elsewhere.
struct MovedArtefact {
  int artefact = -1;
  int first_station = -1;  ///< first station after the move
  Eigen::Vector3d shift_mm = Eigen::Vector3d::Zero();
  double tail = 1.0;  ///< chance, multiplied by the number of places looked at
  double drop = 0.0;  ///< of chi2
  int places = 0;     ///< looked at
};

/// The best single move of a ball, tail < `level`; artefact -1 when there is none. At least two
/// stations lie on either side: a single station that sits elsewhere has slipped.
MovedArtefact find_moved_artefact(const Model& model, const RandomModel& random,
                                  const Adjusted& adjusted, double level);

/// What an explanation of one survey costs: chi2 it leaves beyond its redundancy, plus for each thing
/// said to be wrong k ln n for its k unknowns (Schwarz 1978, from memory; n readings) and 2 ln m for
/// having picked it out of m. Of two explanations the cheaper one is the likelier.
double explanation_cost(double chi2_left, int redundancy_left);
double saying_cost(int unknowns, int readings, int picked_from);

/// The cheapest single systematic story (one optional unknown, out-of-square or unequal linear axes,
/// one move of an artefact) that brings chi2 under the stated sigmas back below its 99.9 % point, by
/// its explanation cost. Absent when chi2 is no larger than good touches make it, and when no story
/// is enough. If nothing cheaper explains the touches, no touch is to blame.
std::optional<double> cost_of_systematic_story(const Model& model, const RandomModel& stated,
                                               const Eigen::VectorXd& unknowns);

}  // namespace pivotrace
