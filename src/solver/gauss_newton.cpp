#include "solver/gauss_newton.h"

#include <chrono>
#include <cmath>

#include "geometry/damped_gauss_newton.h"
#include "pivotrace/solver/square_root_information.h"
#include "pivotrace/solver/triangularise.h"

namespace pivotrace {

namespace {

struct Point {
  Eigen::VectorXd unknowns;   ///< (p)
  Eigen::MatrixXd nuisances;  ///< (k x blocks)
};

struct Move {
  Point by;
  double length = 0.0;  ///< in sigmas: root of what it takes off the sum, were nothing bent
};

/// All blocks at one point with their nuisances taken out: per block the triangular rows that give its
/// nuisances once the unknowns are known, and one triangular factor of the unknowns.
class EliminatedRows {
 public:
  EliminatedRows() = default;
  EliminatedRows(const LeastSquaresProblem& problem, const Point& point)
      : problem_(&problem), point_(point), evaluate_(problem.at(point.unknowns)) {
    eliminate(0.0);
  }

  double sum_of_squares() const { return sum_; }
  static double length(const Move& step) { return step.length; }
  /// A hundred-millionth of the standard uncertainties.
  static double smallest_step() { return 1e-8; }
  /// Where the sum, known to twelve digits, cannot tell one step from another.
  double near_round_off() const { return std::max(1e-4, 1e-6 * std::sqrt(sum_)); }

  double expected_drop(const Move& step) const {
    const auto drop = [](const auto& right, const Eigen::VectorXd& by) {
      return right.squaredNorm() - (right + by).squaredNorm();
    };
    const Eigen::VectorXd& x = step.by.unknowns;
    double all = drop(triangle_.rightCols<1>(), triangle_.leftCols(unknowns()) * x);
    const Eigen::Index k = nuisances();
    for (int block = 0; block < problem_->blocks() && k > 0; ++block) {
      const auto rows = kept_.middleCols(block * width(), width());
      all += drop(rows.rightCols<1>(),
                  rows.leftCols(k).triangularView<Eigen::Upper>() * step.by.nuisances.col(block) +
                      rows.middleCols(k, unknowns()) * x);
    }
    return all;
  }

  /// The damping counts the columns before the nuisances are taken out: a shift that all stations
  /// could share is nearly free of information once they are, and damping by what is left of it would
  /// not hold it back.
  Move solve_damped(double damping) const {
    if (damping == 0.0) return solve(least_damping);
    EliminatedRows damped = *this;
    damped.eliminate(damping);
    return damped.solve(damping);
  }

 private:
  /// Keeps an unknown that no row sees where it is; too little to slow anything else down.
  static constexpr double least_damping = 1e-16;
  /// Shortest column that is damped in proportion to its length.
  static constexpr double least_column_squared = 1e-6;

  Eigen::Index unknowns() const { return problem_->unknowns; }
  Eigen::Index nuisances() const { return problem_->nuisances; }
  auto kept(int block) { return kept_.middleCols(block * width(), width()); }
  auto kept(int block) const { return kept_.middleCols(block * width(), width()); }
  Eigen::Index width() const { return nuisances() + unknowns() + 1; }

  void eliminate(double damping) {
    information_ = SquareRootInformation(problem_->unknowns);
    kept_.resize(nuisances(), width() * problem_->blocks());
    sum_ = 0.0;
    column_squared_.setZero(unknowns());
    BlockRows rows;
    for (int block = 0; block < problem_->blocks(); ++block) {
      evaluate_(block, point_.nuisances.col(block), rows);
      sum_ += rows.residual.squaredNorm() + point_.nuisances.col(block).squaredNorm();
      column_squared_ += rows.by_unknown.colwise().squaredNorm().transpose();
      take_out(block, rows, damping);
    }
    const Eigen::VectorXd prior = problem_->prior.residual(point_.unknowns);
    sum_ += prior.squaredNorm();
    column_squared_ += problem_->prior.root.colwise().squaredNorm().transpose();
    information_.add(problem_->prior.root, prior);
    triangle_ = information_.triangle();
  }

  /// [I 0 | z], [Jz Jx | r] and the damping rows [sqrt(damping) D 0 | 0] of one block.
  void take_out(int block, const BlockRows& rows, double damping) {
    const Eigen::Index k = nuisances();
    const Eigen::Index m = rows.residual.size();
    const Eigen::Index damped = damping > 0.0 ? k : 0;
    stack_.setZero(k + m + damped, width());
    stack_.topLeftCorner(k, k).setIdentity();
    stack_.col(width() - 1).head(k) = point_.nuisances.col(block);
    stack_.middleRows(k, m) << rows.by_nuisance, rows.by_unknown, rows.residual;
    if (damped > 0) {
      stack_.bottomLeftCorner(k, k).diagonal() =
          (damping * (1.0 + rows.by_nuisance.colwise().squaredNorm().array())).sqrt();
    }
    triangularise(stack_, k, workspace_);
    kept(block) = stack_.topRows(k);
    information_.add(stack_.bottomRows(m + damped).middleCols(k, unknowns()),
                     stack_.bottomRows(m + damped).rightCols<1>());
  }

  Move solve(double damping) const {
    SquareRootInformation damped = information_;
    const Eigen::VectorXd weights =
        (damping * column_squared_.array().max(least_column_squared)).sqrt();
    damped.add(weights.asDiagonal().toDenseMatrix(), Eigen::VectorXd::Zero(unknowns()));
    Move step;
    step.by.unknowns = damped.back_substituted();
    const Eigen::Index k = nuisances();
    step.by.nuisances.resize(k, problem_->blocks());
    double taken_off = damped.explained_sum_of_squares();
    for (int block = 0; block < problem_->blocks() && k > 0; ++block) {
      const auto rows = kept(block);
      taken_off += rows.col(width() - 1).squaredNorm();
      step.by.nuisances.col(block) = rows.leftCols(k).triangularView<Eigen::Upper>().solve(
          -rows.col(width() - 1) - rows.middleCols(k, unknowns()) * step.by.unknowns);
    }
    step.length = std::sqrt(taken_off);
    return step;
  }

  const LeastSquaresProblem* problem_ = nullptr;
  Point point_;
  BlockEvaluator evaluate_;
  SquareRootInformation information_{0};
  Eigen::MatrixXd triangle_;  ///< (p x (p + 1)): what is left for the unknowns
  Eigen::MatrixXd kept_;      ///< per block (k x (k + p + 1)): triangle, unknowns, right-hand side
  Eigen::VectorXd column_squared_;
  double sum_ = 0.0;
  Eigen::MatrixXd stack_;
  Eigen::VectorXd workspace_;
};

MinimumStatus status_of(const Descent<Point, EliminatedRows>& found, int max_iterations) {
  if (!found.state.unknowns.allFinite() || !std::isfinite(found.rows.sum_of_squares())) {
    return MinimumStatus::ran_away;
  }
  // With the largest damping too no step made the sum smaller: there is nothing left to gain.
  return found.iterations > max_iterations ? MinimumStatus::out_of_steps : MinimumStatus::settled;
}

}  // namespace

LeastSquaresMinimum minimise_by_gauss_newton(const LeastSquaresProblem& problem,
                                             const Eigen::VectorXd& start, int max_iterations) {
  const auto began = std::chrono::steady_clock::now();
  const auto linearise = [&](const Point& point) { return EliminatedRows(problem, point); };
  const auto moved = [](Point point, const Move& step) {
    point.unknowns += step.by.unknowns;
    point.nuisances += step.by.nuisances;
    return point;
  };
  const Point first{start, Eigen::MatrixXd::Zero(problem.nuisances, problem.blocks())};
  const auto found = damped_gauss_newton(first, linearise, moved, max_iterations);
  LeastSquaresMinimum minimum;
  minimum.status = status_of(found, max_iterations);
  minimum.unknowns = found.state.unknowns;
  minimum.iterations = found.iterations;
  minimum.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count();
  return minimum;
}

}  // namespace pivotrace
