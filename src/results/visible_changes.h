// The smallest change of one value that a comparison would find.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "results/epoch_pair.h"

namespace pivotrace {

/// Pairs of surveys played through: what each draws for itself, sigmas within their certainty, biases anywhere
/// within their bounds. A change of value i is found in a pair when the survey-wide test opens and the value
/// is beyond its U95. Both grow with the change, so every pair has one change from which on it is found;
/// the smallest change that would show is found in `visible_power` of them.
/// A survey still to be made will find sigmas of its own, and judge by them: every pair then has its own limits.
/// The pairs are the same every time (1000, every coordinate spread evenly: Latin hypercube, M. D. McKay,
/// R. J. Beckman and W. J. Conover, Technometrics 21, 1979): the share found is right to 1 %.
class VisibleChanges {
 public:
  /// `U95` of every value.
  VisibleChanges(const EpochPair& pair, const Eigen::VectorXd& U95);

  /// In the unit of the value.
  double smallest(Eigen::Index value) const;

 private:
  bool shows(std::size_t draw, Eigen::Index value, double change) const;

  BiasGrant grant_;
  Eigen::VectorXd limits_;  ///< (draws) of the squared length at which the test opens
  Eigen::MatrixXd U95_;     ///< (n x draws)
  Eigen::MatrixXd seen_;    ///< (h x draws) whitened changes of pairs in which nothing moved
  Eigen::MatrixXd values_;  ///< (n x draws) the same, not whitened
};

}  // namespace pivotrace
