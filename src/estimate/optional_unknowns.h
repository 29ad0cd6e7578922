// Systematic effects: solved for on request, proposed when the touches clearly speak for them.
#pragma once

#include <functional>
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

/// "mm/h", "mm", "rad" or "mm/mm".
std::string effect_unit(const Effect& effect);

/// What k further unknowns would explain, by one linear step from the optimum.
struct ExtraTest {
  bool testable = false;  ///< the touches can tell them from everything else
  double drop = 0.0;      ///< chi2 without - chi2 with
  double tail = 1.0;  ///< chance of such a drop if there were nothing: F test with chi2 left over
  Eigen::VectorXd estimate;  ///< (k)
};

/// `columns` gives the derivatives (m x k) of the gaps of one station by the extra unknowns.
ExtraTest test_extra(const Model& model, const RandomModel& random, const Adjusted& adjusted,
                     int count,
                     const std::function<Eigen::MatrixXd(int, const StationBlock&)>& columns);

ExtraTest test_effects(const Model& model, const RandomModel& random, const Adjusted& adjusted,
                       const std::vector<Effect>& effects);

/// An artefact that shifted once during the survey: the station from which on it sat elsewhere.
struct MovedArtefact {
  int artefact = -1;
  int first_station = -1;  ///< first station after the move
  Eigen::Vector3d shift_mm = Eigen::Vector3d::Zero();
  double tail = 1.0;  ///< chance, multiplied by the number of places looked at
};

/// The best single move of a ball, tail < `level`; artefact -1 when there is none.
MovedArtefact find_moved_artefact(const Model& model, const RandomModel& random,
                                  const Adjusted& adjusted, double level);

}  // namespace pivotrace
