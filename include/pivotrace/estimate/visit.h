// What one stay at a machine tells, as information that adds up: the estimator's own rows for whoever
// weighs many possible surveys against each other.
//
// A visit is one stay: angles, artefact, touches. Its station error is taken out of its rows; index errors
// and motions of the axes stay in as unknowns with a prior, because other visits share them.
// So the information of a survey is the sum over its visits and the priors, M = M_0 + sum_v R_v'R_v, and
// the covariance of every stated value is read off M^-1.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>
#include <memory>
#include <vector>

#include "pivotrace/results/value_name.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace {

struct Visit {
  Eigen::MatrixXd rows;     ///< (m x (p + a)) by unknowns, then by `shared`; errors of unit size
  std::vector<int> shared;  ///< (a) which of VisitMaker's shared effects the rows feel
  Eigen::MatrixXd effects;  ///< (m x e) what a unit of every effect of VisitMaker does
};

/// What writing one value could rely on: its absolute standard uncertainty and its largest bias.
struct Prospect {
  double u = 0.0;
  double B = 0.0;
};

/// One random effect that visits share: errors and motions of one index position of one axis.
struct SharedPart {
  int axis = 0;
  double sigma = 0.0;  ///< mm or rad
};

/// When the visits come.
enum class VisitOrder {
  as_listed,  ///< the stays are a survey in its order: drift acts as it would there
  open,  ///< a unit of drift shifts the visit by a whole unit: times its part of the run, -1/2 to 1/2
};

/// Makes visits out of stays on the nominal machine.
class VisitMaker {
 public:
  /// `stays`: every station one stay with all the touches that could be made there, on nominal
  /// surfaces. What a stay shares with no other stay is taken out with its station error: list a
  /// stay twice where it may be visited twice. The middle of all positions, where bow is zero, is that
  /// of `stays`.
  VisitMaker(const Machine& machine, Survey stays, VisitOrder order);
  ~VisitMaker();
  VisitMaker(VisitMaker&&) noexcept;

  /// Of some touches of a stay, counted within it. An error of each arrival is the visit's own here.
  Visit visit(int stay, const std::vector<int>& touches) const;

  int unknowns() const;
  int effects() const;
  const std::vector<SharedPart>& shared() const;
  /// (p x p) What is known of diameters beforehand.
  const Eigen::MatrixXd& known_before() const;

  /// The stated values of every axis that turns in the stays, and their derivatives, (p x K).
  const std::vector<ValueName>& names() const;
  const Eigen::MatrixXd& by_unknown() const;

  /// Half-widths of the bounded effects, as stated or assumed: no survey yet.
  Eigen::VectorXd bounds() const;
  /// Smaller ones where a survey that leaves the bounded effects this covariance would find them.
  Eigen::VectorXd found_bounds(const Eigen::MatrixXd& covariance) const;
  /// First of the three effects that are drift along X, Y, Z; -1 where none is bounded.
  int first_drift_effect() const;
  /// How many of the effects come before the bounded ones: common terms with a standard uncertainty.
  int common_effects() const;

  /// `variance` of a value from touches, diameters and index positions, `response` (e) its change by
  /// a unit of every effect.
  Prospect prospect(double variance, const Eigen::Ref<const Eigen::VectorXd>& response,
                    const Eigen::VectorXd& half_widths) const;

  /// U of F((U - B) / u) - F((-U - B) / u) = 0.95 with F normal, from a table: within 2e-5 u of
  /// bounded_expanded(u, inf, B).
  static double expanded(const Prospect& prospect);

 private:
  struct Parts;
  std::unique_ptr<Parts> parts_;
};

/// The sum over some visits, and what one more would make of it.
class VisitSum {
 public:
  explicit VisitSum(const VisitMaker& maker);

  /// The sum over these visits alone. False where the numbers are not fit to be inverted.
  bool take(const std::vector<const Visit*>& visits);

  /// The sum `whole` less one of its visits, quickly. False where the rest knows too little beside it to be told from
  /// rounding: nothing can be read off then.
  bool take_without(const VisitSum& whole, const Visit& visit);

  /// (K) variance of every value, and (e x K) its change by a unit of every effect.
  const Eigen::VectorXd& variances() const { return variances_; }
  const Eigen::MatrixXd& responses() const { return responses_; }

  /// The same with one more visit, without touching the sum: a few microseconds.
  void with(const Visit& visit, Eigen::VectorXd& variances, Eigen::MatrixXd& responses);

  /// (e x K) The part of `responses` that comes through one of the visits taken.
  Eigen::MatrixXd part_of_responses(const Visit& visit);

  /// Half-widths of the bounds once these visits were made: all bounded effects solved for beside the
  /// unknowns, each with its bound as the standard uncertainty it has beforehand.
  Eigen::VectorXd found_bounds() const;

 private:
  Eigen::Index slot(int shared) const { return slots_[static_cast<std::size_t>(shared)]; }
  void add_up_along(const Visit& visit, const Eigen::MatrixXd& of_sum, Eigen::MatrixXd& seen) const;
  void look_with(const Visit& visit);
  void fill_inner(const Visit& visit);
  void divide_by_factor(Eigen::Ref<Eigen::MatrixXd> rows) const;

  const VisitMaker& maker_;
  std::vector<Eigen::Index> slots_;  ///< column of each shared effect in the sum, -1: not felt
  std::vector<const Visit*> visits_;
  Eigen::MatrixXd information_;
  Eigen::MatrixXd covariance_;  ///< (n x n) of the unknowns and the shared effects felt
  Eigen::MatrixXd across_;  ///< (p + K + e x n) of it p rows, gains and biases, one below the other
  Eigen::VectorXd variances_;
  Eigen::MatrixXd responses_;
  // What `with` needs again and again.
  Eigen::MatrixXd seen_, inner_;
  Eigen::VectorXd part_;
  Eigen::LLT<Eigen::MatrixXd> factor_;
};

}  // namespace pivotrace
