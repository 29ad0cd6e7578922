// The running triangular factor against Eigen's own QR on the whole matrix.
#include <doctest/doctest.h>

#include <Eigen/LU>
#include <Eigen/QR>
#include <random>

#include "geometry/triangular_rows.h"

using namespace pivotrace;

namespace {

struct System {
  Eigen::Matrix<double, 12, 4> matrix;
  Eigen::Matrix<double, 12, 1> right;
  TriangularRows<4> rows;
};

System random_system(unsigned seed) {
  std::mt19937_64 random(seed);
  std::normal_distribution<double> normal;
  System s;
  for (int i = 0; i < 12; ++i) {
    for (int k = 0; k < 4; ++k) s.matrix(i, k) = normal(random);
    s.right[i] = normal(random);
    s.rows.add(s.matrix.row(i), s.right[i]);
  }
  return s;
}

}  // namespace

TEST_CASE("row by row gives the least-squares solution of the whole") {
  for (unsigned seed = 1; seed <= 20; ++seed) {
    CAPTURE(seed);
    const System s = random_system(seed);
    const Eigen::Vector4d expected = s.matrix.colPivHouseholderQr().solve(s.right);
    CHECK((s.rows.solve() - expected).norm() <= 1e-13);
    const Eigen::Matrix4d normal = s.matrix.transpose() * s.matrix;
    CHECK((s.rows.cofactor() * normal - Eigen::Matrix4d::Identity()).norm() <= 1e-12);
    CHECK(s.rows.sum_of_squares() == doctest::Approx(s.right.squaredNorm()).epsilon(1e-14));
  }
}

TEST_CASE("damping is that of the augmented system") {
  const System s = random_system(99);
  const Eigen::Matrix4d normal = s.matrix.transpose() * s.matrix;
  Eigen::Matrix4d damped = normal;
  damped.diagonal() += 0.3 * normal.diagonal();
  const Eigen::Vector4d expected = damped.inverse() * (s.matrix.transpose() * s.right);
  CHECK((s.rows.solve_damped(0.3) - expected).norm() <= 1e-13);
}

TEST_CASE("missing rank shows as an infinite or enormous condition") {
  TriangularRows<2> none;
  CHECK(std::isinf(none.condition()));
  TriangularRows<2> one;
  one.add({1.0, 2.0}, 3.0);
  CHECK(std::isinf(one.condition()));
  TriangularRows<2> parallel;
  parallel.add({0.1, 0.3}, 1.0);
  parallel.add({0.7, 2.1}, 1.0);
  CHECK(parallel.condition() > 1e14);
  TriangularRows<2> sound;
  sound.add({1.0, 0.0}, 1.0);
  sound.add({0.0, 1.0}, 1.0);
  CHECK(sound.condition() == doctest::Approx(2.0));  // Frobenius: the identity of two has norm 2
}
