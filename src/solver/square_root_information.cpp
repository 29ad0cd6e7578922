#include "pivotrace/solver/square_root_information.h"

#include <Eigen/QR>
#include <Eigen/SVD>
#include <algorithm>

namespace pivotrace {

namespace {

/// Rows folded in at a time: large enough to amortise the reflections, small enough for the cache.
constexpr Eigen::Index rows_per_fold = 256;

Eigen::VectorXd column_scales(const Eigen::MatrixXd& triangle) {
  Eigen::VectorXd scales = triangle.colwise().norm();
  for (double& scale : scales) {
    if (!(scale > 0.0)) scale = 1.0;  // an unknown no row depends on: leave its zero column visible
  }
  return scales;
}

}  // namespace

SquareRootInformation::SquareRootInformation(int unknowns)
    : unknowns_(unknowns), stack_(Eigen::MatrixXd::Zero(unknowns + rows_per_fold, unknowns + 1)) {}

void SquareRootInformation::add(const Eigen::Ref<const Eigen::MatrixXd>& jacobian,
                                const Eigen::Ref<const Eigen::VectorXd>& residuals) {
  for (Eigen::Index done = 0; done < jacobian.rows();) {
    const Eigen::Index count = std::min(rows_per_fold - waiting_, jacobian.rows() - done);
    auto free_rows = stack_.middleRows(unknowns_ + waiting_, count);
    free_rows.leftCols(unknowns_) = jacobian.middleRows(done, count);
    free_rows.col(unknowns_) = residuals.segment(done, count);
    waiting_ += count;
    done += count;
    if (waiting_ == rows_per_fold) take_in_waiting();
  }
  rows_ += static_cast<long>(jacobian.rows());
}

void SquareRootInformation::take_in_waiting() {
  if (waiting_ == 0) return;
  Eigen::Ref<Eigen::MatrixXd> filled = stack_.topRows(unknowns_ + waiting_);
  const Eigen::HouseholderQR<Eigen::Ref<Eigen::MatrixXd>> qr(filled);
  const double left_over = stack_(unknowns_, unknowns_);
  residual_sum_of_squares_ += left_over * left_over;
  stack_.topLeftCorner(unknowns_, unknowns_).triangularView<Eigen::StrictlyLower>().setZero();
  waiting_ = 0;
}

double SquareRootInformation::residual_sum_of_squares() {
  take_in_waiting();
  return residual_sum_of_squares_;
}

double SquareRootInformation::explained_sum_of_squares() {
  take_in_waiting();
  return stack_.col(unknowns_).head(unknowns_).squaredNorm();
}

Eigen::MatrixXd SquareRootInformation::triangle() {
  take_in_waiting();
  return stack_.topRows(unknowns_);
}

Eigen::VectorXd SquareRootInformation::back_substituted() {
  take_in_waiting();
  return stack_.topLeftCorner(unknowns_, unknowns_)
      .triangularView<Eigen::Upper>()
      .solve(-stack_.col(unknowns_).head(unknowns_));
}

InformationSolution SquareRootInformation::solve(double rank_tolerance) {
  take_in_waiting();
  const Eigen::Index p = unknowns_;
  InformationSolution solution;
  solution.unknowns = static_cast<int>(p);
  const Eigen::MatrixXd triangle = stack_.topLeftCorner(p, p);
  const Eigen::VectorXd scales = column_scales(triangle);
  const Eigen::MatrixXd scaled = triangle * scales.cwiseInverse().asDiagonal();
  const Eigen::JacobiSVD<Eigen::MatrixXd> svd(scaled, Eigen::ComputeFullU | Eigen::ComputeFullV);
  const Eigen::VectorXd& singular = svd.singularValues();
  const double limit = rank_tolerance * singular[0];
  solution.rank = static_cast<int>((singular.array() > limit).count());
  solution.condition = singular[0] / std::max(singular[p - 1], 1e-300);
  if (!solution.full_rank()) {
    solution.null_directions =
        (scales.cwiseInverse().asDiagonal() * svd.matrixV().rightCols(p - solution.rank))
            .colwise()
            .normalized();
    return solution;
  }
  const Eigen::MatrixXd inverse =
      scales.cwiseInverse().asDiagonal() * svd.matrixV() * singular.cwiseInverse().asDiagonal();
  solution.covariance = inverse * inverse.transpose();
  solution.step = -inverse * (svd.matrixU().transpose() * stack_.col(p).head(p));
  return solution;
}

}  // namespace pivotrace
