// A running triangular factor: least squares row by row, nothing stored but an NxN triangle.
#pragma once

#include <Eigen/Core>
#include <cmath>
#include <limits>

namespace pivotrace {

/// Least squares J x = r taken in row by row with Givens rotations: R and Q'r are kept, J is not.
/// Unlike sums of J'J this does not square the condition number. No heap.
/// Source: W. M. Gentleman, J. Inst. Maths Applics 12 (1973) 329.
template <int N>
class TriangularRows {
 public:
  using Vector = Eigen::Matrix<double, N, 1>;
  using Matrix = Eigen::Matrix<double, N, N>;

  void add(Vector row, double right) {
    for (int k = 0; k < N; ++k) {
      if (row[k] == 0.0) continue;
      const double length = std::sqrt(factor_(k, k) * factor_(k, k) + row[k] * row[k]);
      const double c = factor_(k, k) / length;
      const double s = row[k] / length;
      for (int j = k; j < N; ++j) rotate(factor_(k, j), row[j], c, s);
      rotate(right_[k], right, c, s);
    }
    rest_ += right * right;
  }

  /// Sum of squares of the right-hand sides taken in.
  double sum_of_squares() const { return right_.squaredNorm() + rest_; }

  /// x that minimises |J x - r|; not finite when J has not full rank.
  Vector solve() const { return back_substituted(factor_, right_); }

  /// x that minimises |J x - r|^2 + damping * sum (d_k x_k)^2, d_k the length of column k.
  Vector solve_damped(double damping) const {
    if (damping == 0.0) return solve();
    TriangularRows damped = *this;
    for (int k = 0; k < N; ++k) {
      damped.add(Vector::Unit(k) * (std::sqrt(damping) * factor_.col(k).norm()), 0.0);
    }
    return damped.solve();
  }

  /// |r|^2 - |J x - r|^2.
  double expected_drop(const Vector& x) const {
    const Vector left = right_ - factor_.lazyProduct(x);
    return right_.squaredNorm() - left.squaredNorm();
  }

  /// What damped_gauss_newton asks about a step when all quantities are of order one (fits work in
  /// units of the cloud's size).
  static double length(const Vector& step) { return step.norm(); }
  static double smallest_step() { return 4.0 * std::numeric_limits<double>::epsilon(); }
  static double near_round_off() { return 1e-9; }

  /// |R^-1| |R| (Frobenius): at least the condition number, at most N times it. Infinite when J has
  /// not full rank. Columns are taken as they are: a column that is nothing but round-off must not be
  /// scaled up into one that looks sound, so give parameters of like size.
  double condition() const {
    const double found = inverse_of(factor_).norm() * factor_.norm();
    return std::isfinite(found) ? found : std::numeric_limits<double>::infinity();
  }

  /// (J'J)^-1 = R^-1 R^-T.
  Matrix cofactor() const {
    const Matrix inverse = inverse_of(factor_);
    return inverse.lazyProduct(inverse.transpose());
  }

 private:
  static void rotate(double& upper, double& lower, double c, double s) {
    const double kept = c * upper + s * lower;
    lower = c * lower - s * upper;
    upper = kept;
  }
  // Eigen's own triangular solver would link the heap.
  static Vector back_substituted(const Matrix& triangle, Vector right) {
    for (int k = N - 1; k >= 0; --k) {
      for (int j = k + 1; j < N; ++j) right[k] -= triangle(k, j) * right[j];
      right[k] /= triangle(k, k);
    }
    return right;
  }
  static Matrix inverse_of(const Matrix& triangle) {
    Matrix inverse;
    for (int k = 0; k < N; ++k) inverse.col(k) = back_substituted(triangle, Vector::Unit(k));
    return inverse;
  }

  Matrix factor_ = Matrix::Zero();
  Vector right_ = Vector::Zero();
  double rest_ = 0.0;
};

}  // namespace pivotrace
