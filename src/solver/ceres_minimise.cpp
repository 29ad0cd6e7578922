#include "solver/ceres_minimise.h"

#include <ceres/ceres.h>
#include <glog/logging.h>

#include <cmath>
#include <memory>

namespace pivotrace {

namespace {

using RowMajor = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;

/// Prepares each point once for all blocks, and keeps the last one looked at.
class Point : public ceres::EvaluationCallback {
 public:
  Point(const LeastSquaresProblem& problem, const Eigen::VectorXd& unknowns)
      : problem_(problem), unknowns_(unknowns) {}

  void PrepareForEvaluation(bool, bool new_point) override {
    if (!new_point && evaluate_) return;
    evaluate_ = problem_.at(unknowns_);
    last_ = unknowns_;
  }

  const Eigen::VectorXd& last() const { return last_; }

  void evaluate(int block, const Eigen::VectorXd& nuisances, BlockRows& rows) const {
    evaluate_(block, nuisances, rows);
  }

 private:
  const LeastSquaresProblem& problem_;
  const Eigen::VectorXd& unknowns_;  ///< where Ceres writes the point it looks at
  Eigen::VectorXd last_;
  BlockEvaluator evaluate_;
};

/// One block. Parameter blocks: the unknowns (p), then the block's nuisances (k).
class BlockCost : public ceres::CostFunction {
 public:
  BlockCost(const LeastSquaresProblem& problem, const Point& point, int block)
      : point_(point), block_(block), nuisances_(problem.nuisances) {
    mutable_parameter_block_sizes()->push_back(problem.unknowns);
    if (nuisances_ > 0) mutable_parameter_block_sizes()->push_back(nuisances_);
    set_num_residuals(problem.readings[block] + nuisances_);
  }

  bool Evaluate(double const* const* parameters, double* residuals,
                double** jacobians) const override {
    Eigen::VectorXd nuisances(nuisances_);
    if (nuisances_ > 0) nuisances = Eigen::Map<const Eigen::VectorXd>(parameters[1], nuisances_);
    BlockRows rows;
    point_.evaluate(block_, nuisances, rows);
    Eigen::Map<Eigen::VectorXd> out(residuals, num_residuals());
    out << rows.residual, nuisances;
    if (jacobians != nullptr) fill(rows, jacobians);
    return out.allFinite();
  }

 private:
  void fill(const BlockRows& rows, double** jacobians) const {
    const Eigen::Index readings = rows.residual.size();
    if (jacobians[0] != nullptr) {
      Eigen::Map<RowMajor> by_unknown(jacobians[0], num_residuals(), rows.by_unknown.cols());
      by_unknown.topRows(readings) = rows.by_unknown;
      by_unknown.bottomRows(nuisances_).setZero();
    }
    if (nuisances_ > 0 && jacobians[1] != nullptr) {
      Eigen::Map<RowMajor> by_nuisance(jacobians[1], num_residuals(), nuisances_);
      by_nuisance.topRows(readings) = rows.by_nuisance;
      by_nuisance.bottomRows(nuisances_).setIdentity();
    }
  }

  const Point& point_;
  int block_;
  int nuisances_;
};

class PriorCost : public ceres::CostFunction {
 public:
  explicit PriorCost(const LinearPrior& prior) : prior_(prior) {
    mutable_parameter_block_sizes()->push_back(static_cast<int>(prior.root.cols()));
    set_num_residuals(static_cast<int>(prior.root.rows()));
  }

  bool Evaluate(double const* const* parameters, double* residuals,
                double** jacobians) const override {
    const Eigen::Map<const Eigen::VectorXd> unknowns(parameters[0], prior_.root.cols());
    Eigen::Map<Eigen::VectorXd>(residuals, num_residuals()) = prior_.residual(unknowns);
    if (jacobians != nullptr && jacobians[0] != nullptr) {
      Eigen::Map<RowMajor>(jacobians[0], num_residuals(), prior_.root.cols()) = prior_.root;
    }
    return true;
  }

 private:
  const LinearPrior& prior_;
};

/// Ends the search when a step fails only because the sum of squares can no longer be told from its
/// own round-off: shrinking the trust region further would cost time and change nothing.
class StopAtRoundOff : public ceres::IterationCallback {
 public:
  ceres::CallbackReturnType operator()(const ceres::IterationSummary& summary) override {
    constexpr double round_off = 1e-10;
    const bool stuck = !summary.step_is_successful && summary.step_is_valid &&
                       std::abs(summary.cost_change) <= round_off * (1.0 + summary.cost);
    stopped_ = stopped_ || stuck;
    return stuck ? ceres::SOLVER_TERMINATE_SUCCESSFULLY : ceres::SOLVER_CONTINUE;
  }

  bool stopped() const { return stopped_; }

 private:
  bool stopped_ = false;
};

/// A wrong turn sense makes linear systems fail on the way; that is reported as a problem of ours.
/// The solver's own log lines would only puzzle, so they are switched off unless the program that
/// uses this library has set up logging itself.
void keep_solver_log_quiet() {
  if (!google::IsGoogleLoggingInitialized()) FLAGS_minloglevel = google::GLOG_FATAL;
}

ceres::Solver::Options solver_options(int max_iterations) {
  ceres::Solver::Options options;
  options.linear_solver_type = ceres::DENSE_SCHUR;
  options.max_num_iterations = max_iterations;
  // The problem is nearly linear: start with undamped Gauss-Newton steps.
  options.initial_trust_region_radius = 1e10;
  options.max_trust_region_radius = 1e16;
  // In whitened units a gradient of 1e-6 per mm leaves less than 1e-12 mm to go.
  options.gradient_tolerance = 1e-6;
  // Where the sum changes by this share of itself, one more step is below a nanometre's millionth.
  options.function_tolerance = 1e-18;
  options.parameter_tolerance = 1e-14;
  options.logging_type = ceres::SILENT;
  options.num_threads = 1;
  return options;
}

MinimumStatus status_of(const ceres::Solver::Summary& summary, const Eigen::VectorXd& unknowns) {
  if (!unknowns.allFinite() || summary.termination_type == ceres::FAILURE) {
    return MinimumStatus::ran_away;
  }
  return summary.termination_type == ceres::NO_CONVERGENCE ? MinimumStatus::out_of_steps
                                                           : MinimumStatus::settled;
}

}  // namespace

LeastSquaresMinimum minimise_with_ceres(const LeastSquaresProblem& stated,
                                        const Eigen::VectorXd& start, int max_iterations) {
  keep_solver_log_quiet();
  LeastSquaresMinimum minimum;
  minimum.unknowns = start;
  Eigen::MatrixXd nuisances = Eigen::MatrixXd::Zero(stated.nuisances, stated.blocks());
  Point point(stated, minimum.unknowns);

  ceres::Problem::Options problem_options;
  problem_options.enable_fast_removal = false;
  problem_options.disable_all_safety_checks = true;
  problem_options.evaluation_callback = &point;
  ceres::Problem problem(problem_options);
  auto ordering = std::make_shared<ceres::ParameterBlockOrdering>();
  double* unknowns = minimum.unknowns.data();
  for (int block = 0; block < stated.blocks(); ++block) {
    std::vector<double*> parameters = {unknowns};
    if (stated.nuisances > 0) {
      parameters.push_back(nuisances.col(block).data());
      ordering->AddElementToGroup(parameters.back(), 0);
    }
    problem.AddResidualBlock(new BlockCost(stated, point, block), nullptr, parameters);
  }
  if (stated.prior.root.rows() > 0) {
    problem.AddResidualBlock(new PriorCost(stated.prior), nullptr, unknowns);
  }
  ordering->AddElementToGroup(unknowns, 1);
  ceres::Solver::Options options = solver_options(max_iterations);
  if (stated.nuisances > 0) {
    options.linear_solver_ordering = ordering;
  } else {
    options.linear_solver_type = ceres::DENSE_QR;
  }
  StopAtRoundOff stop_at_round_off;
  options.callbacks.push_back(&stop_at_round_off);
  ceres::Solver::Summary summary;
  ceres::Solve(options, &problem, &summary);
  minimum.iterations = static_cast<int>(summary.iterations.size());
  minimum.seconds = summary.total_time_in_seconds;
  // The sum, flat to 1e-8 there, could not tell whether the last step went the right way; the gradient
  // it came from could.
  if (stop_at_round_off.stopped()) minimum.unknowns = point.last();
  minimum.status = status_of(summary, minimum.unknowns);
  return minimum;
}

}  // namespace pivotrace
