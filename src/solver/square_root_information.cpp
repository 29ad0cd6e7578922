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
    : factor_(Eigen::MatrixXd::Zero(unknowns, unknowns + 1)) {}

void SquareRootInformation::add(const Eigen::Ref<const Eigen::MatrixXd>& jacobian,
                                const Eigen::Ref<const Eigen::VectorXd>& residuals) {
  const Eigen::Index p = factor_.rows();
  for (Eigen::Index done = 0; done < jacobian.rows(); done += rows_per_fold) {
    const Eigen::Index count = std::min(rows_per_fold, jacobian.rows() - done);
    Eigen::MatrixXd stack(p + count, p + 1);
    stack.topRows(p) = factor_;
    stack.bottomLeftCorner(count, p) = jacobian.middleRows(done, count);
    stack.bottomRightCorner(count, 1) = residuals.segment(done, count);
    const Eigen::HouseholderQR<Eigen::Ref<Eigen::MatrixXd>> qr(stack);
    factor_ = stack.topRows(p).triangularView<Eigen::Upper>();
    const double left_over = stack(p, p);
    residual_sum_of_squares_ += left_over * left_over;
  }
  rows_ += jacobian.rows();
}

InformationSolution SquareRootInformation::solve(double rank_tolerance) const {
  const Eigen::Index p = factor_.rows();
  InformationSolution solution;
  solution.unknowns = static_cast<int>(p);
  const Eigen::MatrixXd triangle = factor_.leftCols(p);
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
  solution.step = -inverse * (svd.matrixU().transpose() * factor_.col(p));
  return solution;
}

}  // namespace pivotrace
