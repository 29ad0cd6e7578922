// The normal equations of a survey without what its visits share.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Core>

namespace pivotrace {

/// Shared effects are eliminated once; what is known beforehand of the unknowns may then be any of several.
///   M = (A B; B' D) + (M_0 0; 0 0),  M^-1 (c; 0) = (a; -D^-1 B' a),  (A - B D^-1 B' + M_0) a = c
/// The unknowns p stand first, the shared effects after them. No value where D has no factor.
class ReducedNormals {
 public:
  ReducedNormals() = default;
  ReducedNormals(const Eigen::MatrixXd& normals, Eigen::Index unknowns);

  bool has_numbers() const { return has_numbers_; }
  /// (p x p) A - B D^-1 B'
  const Eigen::MatrixXd& of_unknowns() const { return of_unknowns_; }
  /// (n - p x p) D^-1 B'
  const Eigen::MatrixXd& followed() const { return followed_; }
  /// (n - p x n - p) D^-1
  Eigen::MatrixXd shared_inverse() const;
  /// (n x columns) the unknowns and what follows of the shared effects
  Eigen::MatrixXd whole(const Eigen::MatrixXd& unknowns) const;

 private:
  Eigen::LLT<Eigen::MatrixXd> of_shared_;
  Eigen::MatrixXd followed_;
  Eigen::MatrixXd of_unknowns_;
  bool has_numbers_ = false;
};

}  // namespace pivotrace
