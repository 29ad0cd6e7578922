#include "estimate/adjustment.h"

#include <cmath>
#include <memory>

#include "estimate/linearisation.h"

namespace pivotrace {

namespace {

/// All stations at one point, which lives as long as the evaluator made from it.
class TouchRows {
 public:
  TouchRows(const Model& model, const RandomModel& random, const ActiveNuisances& active,
            const Eigen::VectorXd& unknowns)
      : random_(random), active_(active), unknowns_(unknowns), at_(model, unknowns_) {}

  void evaluate(int station, const Eigen::VectorXd& effects, BlockRows& rows) const {
    std::array<double, 3 + max_rotary_axes> nuisance{};
    for (int k = 0; k < active_.count(); ++k) {
      nuisance[active_.columns[k]] = active_.sigma[k] * effects[k];
    }
    StationBlock block;
    at_.evaluate(station, nuisance.data(), block);
    rows.residual = block.gap / random_.touch_sigma_mm;
    rows.by_unknown = block.by_unknown / random_.touch_sigma_mm;
    rows.by_nuisance.resize(block.gap.size(), active_.count());
    for (int k = 0; k < active_.count(); ++k) {
      rows.by_nuisance.col(k) =
          block.by_nuisance.col(active_.columns[k]) * (active_.sigma[k] / random_.touch_sigma_mm);
    }
  }

 private:
  const RandomModel& random_;
  const ActiveNuisances& active_;
  const Eigen::VectorXd unknowns_;
  const Linearisation at_;
};

LinearPrior radius_rows(const Model& model) {
  const RadiusPrior& prior = model.radius_prior();
  LinearPrior rows;
  rows.root = Eigen::MatrixXd::Zero(prior.root.rows(), model.layout().unknowns);
  rows.mean = Eigen::VectorXd::Zero(model.layout().unknowns);
  for (Eigen::Index g = 0; g < prior.mean_mm.size(); ++g) {
    const int unknown = model.layout().radius_groups[g].unknown;
    rows.root.col(unknown) = prior.root.col(g);
    rows.mean[unknown] = prior.mean_mm[g];
  }
  return rows;
}

}  // namespace

Expected<LeastSquaresMinimum> minimise_gaps(const Model& model, const RandomModel& random,
                                            const Eigen::VectorXd& start,
                                            const MinimiserOptions& options) {
  const ActiveNuisances active = active_nuisances(random);
  LeastSquaresProblem problem;
  problem.unknowns = model.layout().unknowns;
  problem.nuisances = active.count();
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    problem.readings.push_back(model.readings(static_cast<int>(s)));
  }
  problem.prior = radius_rows(model);
  problem.at = [&](const Eigen::VectorXd& unknowns) -> BlockEvaluator {
    const auto rows = std::make_shared<const TouchRows>(model, random, active, unknowns);
    return [rows](int station, const Eigen::VectorXd& effects, BlockRows& into) {
      rows->evaluate(station, effects, into);
    };
  };
  LeastSquaresMinimum minimum = minimise(problem, start, options);
  if (minimum.status != MinimumStatus::ran_away) return minimum;
  return failure({ProblemNumber::not_a_number,
                  "the solution ran out of the range of numbers",
                  {model.survey().file, 0, 0},
                  "check the rough positions and centres in the machine file: they must be within "
                  "a few centimetres"});
}

PriorRows prior_rows(const Model& model, const Eigen::VectorXd& unknowns) {
  const LinearPrior prior = radius_rows(model);
  return {prior.root, prior.residual(unknowns)};
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
