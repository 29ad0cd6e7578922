// Both minimisers on problems whose answer is known another way.
#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <cmath>
#include <limits>
#include <numbers>

#include "pivotrace/solver/minimise.h"

using namespace pivotrace;

namespace {

std::vector<Solver> solvers() {
  std::vector<Solver> all;
  for (const Solver solver : {Solver::ceres, Solver::gauss_newton}) {
    if (has_solver(solver)) all.push_back(solver);
  }
  return all;
}

std::string name_of(Solver solver) { return solver == Solver::ceres ? "Ceres" : "our own"; }

/// How far from a minimum a solver may stop where the smallest eigenvalue of J'J is this: Ceres stops
/// where the gradient has no component above 1e-6, ours where a step is 1e-8 sigmas long, and lands
/// much closer where nothing is bent any more.
double stopped_within(Solver solver, int unknowns, double smallest_eigenvalue) {
  return solver == Solver::ceres ? 1e-6 * std::sqrt(unknowns) / smallest_eigenvalue
                                 : 1e-8 / std::sqrt(smallest_eigenvalue);
}

/// One block without nuisances.
template <class Fill>
LeastSquaresProblem one_block(int unknowns, int readings, const Fill& fill) {
  LeastSquaresProblem problem;
  problem.unknowns = unknowns;
  problem.readings = {readings};
  problem.prior.root.resize(0, unknowns);
  problem.prior.mean.setZero(unknowns);
  problem.at = [=](const Eigen::VectorXd& x) -> BlockEvaluator {
    return [=](int, const Eigen::VectorXd&, BlockRows& rows) {
      rows.residual.setZero(readings);
      rows.by_unknown.setZero(readings, unknowns);
      rows.by_nuisance.resize(readings, 0);
      fill(x, rows);
    };
  };
  return problem;
}

LeastSquaresProblem rosenbrock() {
  return one_block(2, 2, [](const Eigen::VectorXd& x, BlockRows& rows) {
    rows.residual << 10.0 * (x[1] - x[0] * x[0]), 1.0 - x[0];
    rows.by_unknown << -20.0 * x[0], 10.0, -1.0, 0.0;
  });
}

/// Straight rows: r_b + X_b x + Z_b z_b.
struct StraightBlock {
  Eigen::VectorXd right;
  Eigen::MatrixXd by_unknown;
  Eigen::MatrixXd by_nuisance;
};

LeastSquaresProblem straight(const std::vector<StraightBlock>& blocks, const LinearPrior& prior) {
  LeastSquaresProblem problem;
  problem.unknowns = static_cast<int>(blocks.front().by_unknown.cols());
  problem.nuisances = static_cast<int>(blocks.front().by_nuisance.cols());
  for (const StraightBlock& one : blocks) {
    problem.readings.push_back(static_cast<int>(one.right.size()));
  }
  problem.prior = prior;
  problem.at = [blocks](const Eigen::VectorXd& x) -> BlockEvaluator {
    return [&blocks, x](int block, const Eigen::VectorXd& z, BlockRows& rows) {
      const StraightBlock& one = blocks[block];
      rows.residual = one.right + one.by_unknown * x + one.by_nuisance * z;
      rows.by_unknown = one.by_unknown;
      rows.by_nuisance = one.by_nuisance;
    };
  };
  return problem;
}

/// The same minimum by another route: nuisances of unit variance make the readings of a block
/// correlated, V = I + Z Z', and x solves the normal equations under those.
Eigen::VectorXd by_normal_equations(const std::vector<StraightBlock>& blocks,
                                    const LinearPrior& prior) {
  Eigen::MatrixXd normal = prior.root.transpose() * prior.root;
  Eigen::VectorXd right = normal * prior.mean;
  for (const StraightBlock& one : blocks) {
    const Eigen::Index m = one.right.size();
    const Eigen::MatrixXd weight =
        (Eigen::MatrixXd::Identity(m, m) + one.by_nuisance * one.by_nuisance.transpose()).inverse();
    normal += one.by_unknown.transpose() * weight * one.by_unknown;
    right -= one.by_unknown.transpose() * weight * one.right;
  }
  return normal.ldlt().solve(right);
}

Eigen::MatrixXd any_matrix(Eigen::Index rows, Eigen::Index columns) {
  Eigen::MatrixXd matrix(rows, columns);
  for (double& value : matrix.reshaped()) value = *rc::gen::inRange(-1000, 1001) / 250.0;
  return matrix;
}

/// Places on a circle whose angles are hardly known: unknowns centre x, y, radius, and an angle that
/// all share; the nuisance of a block is the error of its own angle. The valley along which the shared
/// angle trades with all the others is bent as the circle is, and only the |z|^2 pull along it.
LeastSquaresProblem loose_circle(double angle_sigma_rad, double place_sigma_mm) {
  constexpr int places = 11;
  LeastSquaresProblem problem;
  problem.unknowns = 4;
  problem.nuisances = 1;
  problem.readings.assign(places, 2);
  problem.prior.root.resize(0, 4);
  problem.prior.mean.setZero(4);
  problem.at = [=](const Eigen::VectorXd& x) -> BlockEvaluator {
    return [=](int block, const Eigen::VectorXd& z, BlockRows& rows) {
      const double stated = 2.0 * std::numbers::pi * block / places;
      const double angle = stated + x[3] + angle_sigma_rad * z[0];
      const Eigen::Vector2d out(std::cos(angle), std::sin(angle));
      const Eigen::Vector2d across(-out.y(), out.x());
      const Eigen::Vector2d seen = 50.0 * Eigen::Vector2d(std::cos(stated), std::sin(stated));
      rows.residual = (x.head<2>() + x[2] * out - seen) / place_sigma_mm;
      rows.by_unknown.resize(2, 4);
      rows.by_unknown << Eigen::Matrix2d::Identity(), out, x[2] * across;
      rows.by_unknown /= place_sigma_mm;
      rows.by_nuisance = x[2] * angle_sigma_rad / place_sigma_mm * across;
    };
  };
  return problem;
}

}  // namespace

// Source: H. H. Rosenbrock, The Computer Journal 3 (1960) 175: start (-1.2, 1), minimum at (1, 1).
TEST_CASE("the bent valley of Rosenbrock") {
  constexpr double smallest_eigenvalue = 0.399;  // of J'J at the minimum
  for (const Solver solver : solvers()) {
    INFO(name_of(solver));
    const auto found = minimise(rosenbrock(), Eigen::Vector2d(-1.2, 1.0), {200, solver});
    CHECK(found.settled());
    CHECK((found.unknowns - Eigen::Vector2d(1.0, 1.0)).norm() <
          stopped_within(solver, 2, smallest_eigenvalue));
  }
}

TEST_CASE("straight problems: nuisances and prior weigh as their covariance says") {
  CHECK(rc::check([] {
    const int p = *rc::gen::inRange(1, 5);
    const int k = *rc::gen::inRange(0, 4);
    std::vector<StraightBlock> blocks(*rc::gen::inRange<std::size_t>(2, 6));
    for (StraightBlock& one : blocks) {
      const int m = *rc::gen::inRange(1, 6);
      one = {any_matrix(m, 1), any_matrix(m, p), any_matrix(m, k)};
    }
    // Every unknown is known a little, so that there is one answer whatever the rows say.
    const LinearPrior prior{0.5 * Eigen::MatrixXd::Identity(p, p), any_matrix(p, 1)};
    const Eigen::VectorXd expected = by_normal_equations(blocks, prior);
    for (const Solver solver : solvers()) {
      const auto found = minimise(straight(blocks, prior), any_matrix(p, 1), {50, solver});
      RC_ASSERT(found.settled());
      RC_ASSERT((found.unknowns - expected).norm() <
                stopped_within(solver, p, 0.25) + 1e-10 * expected.norm());
    }
  }));
}

TEST_CASE("a valley along which hardly anything pulls is walked in few steps") {
  // The readings are exact, so the answer is the circle they are on.
  const Eigen::Vector4d expected(0.0, 0.0, 50.0, 0.0);
  for (const double off_rad : {0.02, -0.4, 0.8}) {
    for (const Solver solver : solvers()) {
      INFO(name_of(solver), " ", off_rad);
      const Eigen::Vector4d start(1.0, -2.0, 45.0, off_rad);
      const auto found = minimise(loose_circle(0.2, 0.001), start, {50, solver});
      CHECK(found.settled());
      CHECK((found.unknowns - expected).norm() < 1e-6);
    }
  }
}

TEST_CASE("too few steps, numbers without end and unseen unknowns are told apart") {
  const double nan = std::numeric_limits<double>::quiet_NaN();
  const auto broken = one_block(1, 1, [nan](const Eigen::VectorXd&, BlockRows& rows) {
    rows.residual << nan;
    rows.by_unknown << 1.0;
  });
  const auto half_seen = one_block(2, 1, [](const Eigen::VectorXd& x, BlockRows& rows) {
    rows.residual << x[0] - 3.0;
    rows.by_unknown << 1.0, 0.0;
  });
  for (const Solver solver : solvers()) {
    INFO(name_of(solver));
    CHECK(minimise(rosenbrock(), Eigen::Vector2d(-1.2, 1.0), {2, solver}).status ==
          MinimumStatus::out_of_steps);
    CHECK(minimise(broken, Eigen::VectorXd::Zero(1), {20, solver}).status ==
          MinimumStatus::ran_away);
    const auto found = minimise(half_seen, Eigen::Vector2d(0.0, 7.0), {20, solver});
    CHECK(found.settled());
    CHECK(found.unknowns[0] == doctest::Approx(3.0).epsilon(1e-9));
    CHECK(found.unknowns[1] == 7.0);
  }
}
