// The information of visits in fractions, and what vectors prove with it.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "plan/relaxed_design.h"

namespace pivotrace {

/// What is known of an unknown that no visit sees [mm or rad]: next to nothing.
inline constexpr double unseen_sigma = 100.0;

/// Sum of the visits of a design and what is known before it, and what each visit adds.
class DesignInformation {
 public:
  explicit DesignInformation(const DesignTask& task);

  /// `part` of every prior with the visits, the rest once.
  void count_priors(const Eigen::VectorXd& part);
  const Eigen::VectorXd& prior_with_visits() const { return with_visits_; }
  /// Of the priors of shared effects.
  const Eigen::VectorXd& precision() const { return precision_; }

  /// How many visits feel every shared effect.
  Eigen::VectorXd visits_there(const Eigen::VectorXd& share) const;

  Eigen::Index size() const { return n_; }

  /// sum_k l_k a_k'M_0k a_k, the a_k already times sqrt(l_k).
  double along_before(const Eigen::MatrixXd& vectors) const;
  /// a_k'M_0k a_k of one value.
  double along_before(const Eigen::MatrixXd& vectors, Eigen::Index value) const;

  /// a_k = M_k^-1 c_k with the visits at these shares of the minutes; empty where that has no numbers.
  Eigen::MatrixXd vectors_of(const Eigen::VectorXd& share) const;

  /// Per visit and value: a_k'M_v a_k / tau_v, (visits x K).
  Eigen::MatrixXd per_minute(const Eigen::MatrixXd& vectors) const;

  /// What these vectors and weights prove for every plan; `largest_gain`: of `per_minute` times the weights.
  double proven_ratio(const Eigen::MatrixXd& vectors, const Eigen::VectorXd& weights,
                      double largest_gain) const;

 private:
  Eigen::MatrixXd sum_of(const Eigen::VectorXd& share) const;

  const DesignTask& task_;
  Eigen::Index p_;
  Eigen::Index n_;
  Eigen::VectorXd precision_;
  Eigen::VectorXd with_visits_;  ///< part of it that counts with every visit
  Eigen::VectorXd once_;         ///< what of it counts beforehand
  /// (p x readings) what the readings of all visits see of the unknowns, side by side: long products are fast.
  Eigen::MatrixXd seen_;
  std::vector<Eigen::Index> first_reading_;  ///< per visit
};

}  // namespace pivotrace
