// The square-root form beside the normal equations it avoids.
#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <Eigen/Cholesky>

#include "pivotrace/solver/square_root_information.h"

using namespace pivotrace;

namespace {

struct Rows {
  Eigen::MatrixXd jacobian;
  Eigen::VectorXd residual;
};

Rows any_rows(Eigen::Index count, Eigen::Index unknowns) {
  Rows rows{Eigen::MatrixXd(count, unknowns), Eigen::VectorXd(count)};
  for (double& value : rows.jacobian.reshaped()) value = *rc::gen::inRange(-1000, 1001) / 250.0;
  for (double& value : rows.residual) value = *rc::gen::inRange(-1000, 1001) / 250.0;
  // Well away from rank deficiency: one strong row an unknown.
  rows.jacobian.topRows(unknowns).diagonal().array() += 20.0;
  return rows;
}

}  // namespace

TEST_CASE("step, covariance and sums of squares are those of the normal equations") {
  CHECK(rc::check([] {
    const int p = *rc::gen::inRange(1, 6);
    const Rows rows = any_rows(*rc::gen::inRange(p, 12), p);
    SquareRootInformation information(p);
    information.add(rows.jacobian, rows.residual);
    const Eigen::MatrixXd normal = rows.jacobian.transpose() * rows.jacobian;
    const Eigen::VectorXd expected =
        -normal.ldlt().solve(rows.jacobian.transpose() * rows.residual);
    const double left = (rows.jacobian * expected + rows.residual).squaredNorm();
    const InformationSolution found = information.solve();
    RC_ASSERT(found.full_rank());
    RC_ASSERT((found.step - expected).norm() < 1e-10 * (1.0 + expected.norm()));
    RC_ASSERT((found.covariance * normal - Eigen::MatrixXd::Identity(p, p)).norm() < 1e-10);
    RC_ASSERT((information.back_substituted() - expected).norm() < 1e-10 * (1.0 + expected.norm()));
    const double total = rows.residual.squaredNorm();
    RC_ASSERT(std::abs(information.residual_sum_of_squares() - left) < 1e-10 * (1.0 + total));
    RC_ASSERT(std::abs(information.explained_sum_of_squares() + left - total) <
              1e-10 * (1.0 + total));
  }));
}

TEST_CASE("it does not matter in how many parts the rows come") {
  CHECK(rc::check([] {
    const int p = *rc::gen::inRange(1, 5);
    const Rows rows = any_rows(*rc::gen::inRange(p, 700), p);
    const Eigen::Index first = *rc::gen::inRange<Eigen::Index>(0, rows.residual.size() + 1);
    const Eigen::Index rest = rows.residual.size() - first;
    SquareRootInformation whole(p);
    whole.add(rows.jacobian, rows.residual);
    SquareRootInformation parts(p);
    parts.add(rows.jacobian.bottomRows(rest), rows.residual.tail(rest));
    parts.add(rows.jacobian.topRows(first), rows.residual.head(first));
    RC_ASSERT(whole.rows() == parts.rows());
    RC_ASSERT((whole.solve().step - parts.solve().step).norm() < 1e-10);
  }));
}

TEST_CASE("a direction that no row sees is named, in unscaled unknowns") {
  SquareRootInformation information(3);
  Eigen::MatrixXd jacobian(3, 3);
  jacobian << 1.0, 1000.0, 0.0, 2.0, 2000.0, 1.0, 0.5, 500.0, 3.0;
  information.add(jacobian, Eigen::Vector3d(1.0, 2.0, 3.0));
  const InformationSolution found = information.solve();
  CHECK_FALSE(found.full_rank());
  REQUIRE(found.null_directions.cols() == 1);
  CHECK((jacobian * found.null_directions).norm() < 1e-9);
  CHECK(found.null_directions.norm() == doctest::Approx(1.0));
}
