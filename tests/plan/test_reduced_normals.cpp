#include <doctest/doctest.h>

#include "pivotrace/survey/random_stream.h"
#include "plan/reduced_normals.h"

using namespace pivotrace;

namespace {

constexpr Eigen::Index unknowns = 5;

Eigen::MatrixXd random_matrix(RandomStream& random, Eigen::Index rows, Eigen::Index columns) {
  return Eigen::MatrixXd::NullaryExpr(rows, columns, [&] { return random.normal(); });
}

Eigen::MatrixXd random_normals(RandomStream& random, Eigen::Index shared) {
  const Eigen::MatrixXd rows = random_matrix(random, 40, unknowns + shared);
  return rows.transpose() * rows;
}

}  // namespace

// Two routes to one number: eliminated, and solved whole.
TEST_CASE("reduced normal equations have the solution of the whole ones") {
  RandomStream random(20261130);
  for (const Eigen::Index shared : {0, 1, 7, 30}) {
    CAPTURE(shared);
    const Eigen::MatrixXd normals = random_normals(random, shared);
    const ReducedNormals reduced(normals, unknowns);
    REQUIRE(reduced.has_numbers());
    const Eigen::MatrixXd before = random_normals(random, 0);
    Eigen::MatrixXd whole = normals;
    whole.topLeftCorner(unknowns, unknowns) += before;
    Eigen::MatrixXd asked = Eigen::MatrixXd::Zero(unknowns + shared, 3);
    asked.topRows(unknowns) = random_matrix(random, unknowns, 3);
    const Eigen::MatrixXd expected = whole.ldlt().solve(asked);
    const Eigen::MatrixXd of_unknowns = reduced.of_unknowns() + before;
    const Eigen::MatrixXd found = reduced.whole(of_unknowns.ldlt().solve(asked.topRows(unknowns)));
    CHECK((found - expected).cwiseAbs().maxCoeff() < 1e-10 * expected.cwiseAbs().maxCoeff());
    const Eigen::MatrixXd one =
        reduced.shared_inverse() * normals.bottomRightCorner(shared, shared);
    CHECK((one - Eigen::MatrixXd::Identity(shared, shared)).norm() < 1e-9);
  }
}

TEST_CASE("normal equations that hold nothing of a shared effect have no numbers") {
  RandomStream random(20261130);
  Eigen::MatrixXd normals = random_normals(random, 3);
  normals.row(unknowns + 1).setZero();
  normals.col(unknowns + 1).setZero();
  CHECK_FALSE(ReducedNormals(normals, unknowns).has_numbers());
}
