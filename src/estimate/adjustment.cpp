#include "estimate/adjustment.h"

#include <cmath>
#include <memory>

#include "estimate/joint_information.h"
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

Eigen::VectorXd shared_sigmas(const Model& model, const RandomModel& random) {
  const std::vector<SharedEffect>& all = model.shared().all;
  Eigen::VectorXd sigma(static_cast<Eigen::Index>(all.size()));
  for (std::size_t k = 0; k < all.size(); ++k) {
    sigma[static_cast<Eigen::Index>(k)] = random.sigma(all[k].group);
  }
  return sigma;
}

std::vector<int> joint_columns(const Model& model, int station) {
  std::vector<int> columns = model.shared().of_station[station];
  for (int k = 0; k < model.layout().unknowns; ++k) columns.push_back(model.shared().count() + k);
  return columns;
}

Eigen::MatrixXd joint_part(const Adjusted& adjusted, const std::vector<int>& rows,
                           const std::vector<int>& columns) {
  return adjusted.joint(rows, columns);
}

Eigen::MatrixXd joint_derivatives(const StationBlock& block) {
  Eigen::MatrixXd joint(block.gap.size(), block.by_shared.cols() + block.by_unknown.cols());
  joint << block.by_shared, block.by_unknown;
  return joint;
}

Adjusted adjusted_at(const Model& model, const RandomModel& random, const Eigen::VectorXd& unknowns,
                     const std::vector<Effect>& common,
                     const std::vector<StationErrors>& station_errors) {
  Linearisation at(model, unknowns);
  at.bend_by(station_errors);
  const int p = model.layout().unknowns;
  const int q = model.shared().count();
  const auto c = static_cast<Eigen::Index>(common.size());
  JointInformation information(model.shared(), p);
  Eigen::MatrixXd cross = Eigen::MatrixXd::Zero(q + p, c);
  StationBlock block;
  Eigen::MatrixXd joined;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    const int station = static_cast<int>(s);
    at.evaluate(station, nullptr, block, common);
    const StationWeight weight(block, random, own_nuisances(model, random, station));
    const Eigen::Index a = block.by_shared.cols();
    joined.resize(block.gap.size(), a + p + c + 1);
    joined << block.by_shared, block.by_unknown, block.by_common, block.gap;
    const Eigen::MatrixXd whitened = weight.whiten(joined);
    information.add_station(station, whitened.leftCols(a), whitened.middleCols(a, p),
                            whitened.rightCols<1>());
    if (c == 0) continue;
    const Eigen::MatrixXd seen =
        whitened.leftCols(a + p).transpose() * whitened.middleCols(a + p, c);
    const std::vector<int> columns = joint_columns(model, station);
    for (std::size_t k = 0; k < columns.size(); ++k) {
      cross.row(columns[k]) += seen.row(static_cast<Eigen::Index>(k));
    }
  }
  information.add_prior(shared_sigmas(model, random));
  const PriorRows prior = prior_rows(model, unknowns);
  information.add(prior.jacobian, prior.residual);
  JointInformation::Solution solution = information.solve();
  Adjusted adjusted;
  adjusted.unknowns = unknowns;
  adjusted.station_errors = station_errors;
  adjusted.information = std::move(solution.unknowns);
  adjusted.shared = std::move(solution.shared);
  adjusted.joint = std::move(solution.joint);
  adjusted.chi2 = solution.residual_sum_of_squares;
  adjusted.redundancy = static_cast<int>(information.rows()) - q - p;
  if (adjusted.information.full_rank()) {
    // A common effect adds +effect to every gap; the answer moves against it.
    adjusted.by_common = -adjusted.joint.bottomRows(p) * cross;
  }
  return adjusted;
}

namespace {

/// What is off at every station as the adjustment finds it: shared angles as they are, what one station
/// has alone as its mean given the gaps, -S B'C^-1 (v + J step).
std::vector<StationErrors> errors_found(const Model& model, const RandomModel& random,
                                        const Adjusted& adjusted) {
  Linearisation at(model, adjusted.unknowns);
  at.bend_by(adjusted.station_errors);
  std::vector<StationErrors> errors(model.survey().stations.size(), StationErrors{});
  StationBlock block;
  for (std::size_t s = 0; s < errors.size(); ++s) {
    const int station = static_cast<int>(s);
    at.evaluate(station, nullptr, block);
    const std::vector<int>& ids = model.shared().of_station[s];
    Eigen::VectorXd left = block.gap + block.by_unknown * adjusted.information.step;
    for (std::size_t k = 0; k < ids.size(); ++k) {
      const SharedEffect& effect = model.shared().all[ids[k]];
      left += block.by_shared.col(static_cast<Eigen::Index>(k)) * adjusted.shared[ids[k]];
      if (effect.component < 0) errors[s][3 + effect.axis] += adjusted.shared[ids[k]];
    }
    const ActiveNuisances own = own_nuisances(model, random, station);
    const Eigen::VectorXd weighed = StationWeight(block, random, own).weigh(left);
    for (int k = 0; k < own.count(); ++k) {
      errors[s][own.columns[k]] -=
          own.sigma[k] * own.sigma[k] * block.by_nuisance.col(own.columns[k]).dot(weighed);
    }
  }
  return errors;
}

}  // namespace

Adjusted settled_at(const Model& model, const RandomModel& random, const Eigen::VectorXd& unknowns,
                    const std::vector<Effect>& common) {
  // mm; leans act at the end of an arm of some 100 mm and step accordingly less.
  constexpr double settled_step = 1e-9;
  constexpr int most_steps = 12;
  Adjusted adjusted = adjusted_at(model, random, unknowns, common);
  // With nothing shared the search has used the same model.
  if (model.shared().count() == 0) return adjusted;
  for (int step = 0; step < most_steps; ++step) {
    if (!adjusted.information.full_rank()) return adjusted;
    const Eigen::VectorXd by = adjusted.information.step;
    if (step > 0 && !(by.cwiseAbs().maxCoeff() > settled_step)) return adjusted;
    adjusted = adjusted_at(model, random, adjusted.unknowns + by, common,
                           errors_found(model, random, adjusted));
  }
  return adjusted;
}

}  // namespace pivotrace
