#include "estimate/adjustment.h"

#include <ceres/ceres.h>
#include <glog/logging.h>

#include <cmath>
#include <memory>

#include "estimate/linearisation.h"

namespace pivotrace {

namespace {

/// All touches of one station. Parameter blocks: the unknowns (p), then the station's random
/// effects in units of their sigmas (k).
class StationCost : public ceres::CostFunction {
 public:
  StationCost(const Model& model, const RandomModel& random, const ActiveNuisances& active,
              int station)
      : model_(model), random_(random), active_(active), station_(station) {
    mutable_parameter_block_sizes()->push_back(model.layout().unknowns);
    if (active.count() > 0) mutable_parameter_block_sizes()->push_back(active.count());
    set_num_residuals(model.readings(station) + active.count());
  }

  bool Evaluate(double const* const* parameters, double* residuals,
                double** jacobians) const override {
    const int rows = model_.readings(station_);
    const int effects = active_.count();
    const Eigen::VectorXd unknowns =
        Eigen::Map<const Eigen::VectorXd>(parameters[0], model_.layout().unknowns);
    std::array<double, 3 + max_rotary_axes> nuisance{};
    for (int k = 0; k < effects; ++k) {
      nuisance[active_.columns[k]] = active_.sigma[k] * parameters[1][k];
    }
    StationBlock block;
    Linearisation(model_, unknowns).evaluate(station_, nuisance.data(), block);
    Eigen::Map<Eigen::VectorXd> out(residuals, rows + effects);
    out.head(rows) = block.gap / random_.touch_sigma_mm;
    for (int k = 0; k < effects; ++k) out[rows + k] = parameters[1][k];
    if (jacobians != nullptr) fill(block, jacobians);
    return out.allFinite();
  }

 private:
  using RowMajor = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;

  void fill(const StationBlock& block, double** jacobians) const {
    const Eigen::Index rows = block.gap.size();
    const int effects = active_.count();
    if (jacobians[0] != nullptr) {
      Eigen::Map<RowMajor> by_unknown(jacobians[0], rows + effects, block.by_unknown.cols());
      by_unknown.topRows(rows) = block.by_unknown / random_.touch_sigma_mm;
      by_unknown.bottomRows(effects).setZero();
    }
    if (effects > 0 && jacobians[1] != nullptr) {
      Eigen::Map<RowMajor> by_effect(jacobians[1], rows + effects, effects);
      for (int k = 0; k < effects; ++k) {
        by_effect.col(k).head(rows) =
            block.by_nuisance.col(active_.columns[k]) * (active_.sigma[k] / random_.touch_sigma_mm);
      }
      by_effect.bottomRows(effects).setIdentity();
    }
  }

  const Model& model_;
  const RandomModel& random_;
  const ActiveNuisances& active_;
  int station_;
};

/// root (rho - mean): the known diameters.
class RadiusCost : public ceres::CostFunction {
 public:
  explicit RadiusCost(const Model& model) : model_(model) {
    mutable_parameter_block_sizes()->push_back(model.layout().unknowns);
    set_num_residuals(static_cast<int>(model.radius_prior().root.rows()));
  }

  bool Evaluate(double const* const* parameters, double* residuals,
                double** jacobians) const override {
    using RowMajor = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;
    const int unknowns = model_.layout().unknowns;
    const PriorRows rows =
        prior_rows(model_, Eigen::Map<const Eigen::VectorXd>(parameters[0], unknowns));
    Eigen::Map<Eigen::VectorXd>(residuals, num_residuals()) = rows.residual;
    if (jacobians != nullptr && jacobians[0] != nullptr) {
      Eigen::Map<RowMajor>(jacobians[0], num_residuals(), unknowns) = rows.jacobian;
    }
    return true;
  }

 private:
  const Model& model_;
};

/// Ends the search when a step fails only because the sum of squares can no longer be told from its
/// own round-off: shrinking the trust region further would cost time and change nothing.
class StopAtRoundOff : public ceres::IterationCallback {
 public:
  ceres::CallbackReturnType operator()(const ceres::IterationSummary& summary) override {
    constexpr double round_off = 1e-10;
    const bool stuck = !summary.step_is_successful && summary.step_is_valid &&
                       std::abs(summary.cost_change) <= round_off * (1.0 + summary.cost);
    return stuck ? ceres::SOLVER_TERMINATE_SUCCESSFULLY : ceres::SOLVER_CONTINUE;
  }
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
  options.function_tolerance = 1e-15;
  options.parameter_tolerance = 1e-14;
  options.logging_type = ceres::SILENT;
  options.num_threads = 1;
  return options;
}

}  // namespace

Expected<Minimum> minimise(const Model& model, const RandomModel& random,
                           const Eigen::VectorXd& start, int max_iterations) {
  keep_solver_log_quiet();
  const ActiveNuisances active = active_nuisances(random);
  const int stations = static_cast<int>(model.survey().stations.size());
  Minimum minimum;
  minimum.unknowns = start;
  Eigen::MatrixXd effects = Eigen::MatrixXd::Zero(active.count(), stations);

  ceres::Problem::Options problem_options;
  problem_options.enable_fast_removal = false;
  problem_options.disable_all_safety_checks = true;
  ceres::Problem problem(problem_options);
  auto ordering = std::make_shared<ceres::ParameterBlockOrdering>();
  double* unknowns = minimum.unknowns.data();
  for (int s = 0; s < stations; ++s) {
    std::vector<double*> blocks = {unknowns};
    if (active.count() > 0) {
      blocks.push_back(effects.col(s).data());
      ordering->AddElementToGroup(blocks.back(), 0);
    }
    problem.AddResidualBlock(new StationCost(model, random, active, s), nullptr, blocks);
  }
  if (model.radius_prior().root.rows() > 0) {
    problem.AddResidualBlock(new RadiusCost(model), nullptr, unknowns);
  }
  ordering->AddElementToGroup(unknowns, 1);
  ceres::Solver::Options options = solver_options(max_iterations);
  if (active.count() > 0) {
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
  if (!minimum.unknowns.allFinite() || summary.termination_type == ceres::FAILURE) {
    return failure(
        {ProblemNumber::not_a_number,
         "the solution ran out of the range of numbers",
         {model.survey().file, 0, 0},
         "check the rough positions and centres in the machine file: they must be within "
         "a few centimetres"});
  }
  minimum.converged = summary.termination_type != ceres::NO_CONVERGENCE;
  return minimum;
}

PriorRows prior_rows(const Model& model, const Eigen::VectorXd& unknowns) {
  const RadiusPrior& prior = model.radius_prior();
  PriorRows rows;
  rows.jacobian = Eigen::MatrixXd::Zero(prior.root.rows(), model.layout().unknowns);
  Eigen::VectorXd off(prior.mean_mm.size());
  for (Eigen::Index g = 0; g < off.size(); ++g) {
    const int unknown = model.layout().radius_groups[g].unknown;
    rows.jacobian.col(unknown) = prior.root.col(g);
    off[g] = unknowns[unknown] - prior.mean_mm[g];
  }
  rows.residual = prior.root * off;
  return rows;
}

Adjusted adjusted_at(const Model& model, const RandomModel& random, const Eigen::VectorXd& unknowns,
                     const std::vector<Effect>& common) {
  const ActiveNuisances active = active_nuisances(random);
  const Linearisation at(model, unknowns);
  const int p = model.layout().unknowns;
  const auto c = static_cast<Eigen::Index>(common.size());
  SquareRootInformation information(p);
  Eigen::MatrixXd cross = Eigen::MatrixXd::Zero(p, c);
  StationBlock block;
  Eigen::MatrixXd joined;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    at.evaluate(static_cast<int>(s), nullptr, block, common);
    const StationWeight weight(block, random, active);
    joined.resize(block.gap.size(), p + c + 1);
    joined << block.by_unknown, block.by_common, block.gap;
    const Eigen::MatrixXd whitened = weight.whiten(joined);
    information.add(whitened.leftCols(p), whitened.rightCols<1>());
    cross += whitened.leftCols(p).transpose() * whitened.middleCols(p, c);
  }
  const PriorRows prior = prior_rows(model, unknowns);
  information.add(prior.jacobian, prior.residual);
  Adjusted adjusted;
  adjusted.unknowns = unknowns;
  adjusted.information = information.solve();
  adjusted.chi2 = information.residual_sum_of_squares();
  adjusted.redundancy = static_cast<int>(information.rows()) - p;
  if (adjusted.information.full_rank()) {
    // A common effect adds +effect to every gap; the answer moves against it.
    adjusted.by_common = -adjusted.covariance() * cross;
  }
  return adjusted;
}

}  // namespace pivotrace
