#include "pivotrace/estimate/trials.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <thread>

#include "estimate/cases.h"
#include "estimate/linearisation.h"
#include "estimate/outputs.h"
#include "estimate/uncertainty.h"
#include "pivotrace/survey/random_stream.h"

namespace pivotrace {

Problems TrialOptions::validate() const {
  Problems problems;
  if (trials < 100) {
    problems.push_back({ProblemNumber::bad_options,
                        "fewer than 100 trials say nothing about 95 %",
                        {},
                        "ask for 10000 or more"});
  }
  if (threads < 0) {
    problems.push_back({ProblemNumber::bad_options,
                        "the number of threads is negative",
                        {},
                        "leave it out, or give 0 for one per processor"});
  }
  return problems;
}

namespace {

/// A trial's iteration ends when no unknown moves by more than this (mm, or rad at arm's length).
constexpr double settled_step = 1e-9;
constexpr int most_steps = 12;

/// Everything that is the same in every trial.
class TrialBench {
 public:
  TrialBench(const Model& model, const Adjusted& adjusted, const RandomModel& random,
             const std::vector<CommonTerm>& common)
      : model_(model),
        best_(adjusted.unknowns),
        random_(random),
        common_(common),
        active_(active_nuisances(random)),
        surface_(model.survey()) {
    const Linearisation at(model, best_);
    const Eigen::MatrixXd& covariance = adjusted.covariance();
    StationBlock block;
    for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
      at.evaluate(static_cast<int>(s), nullptr, block, effects_of(common));
      const StationWeight weight(block, random, active_);
      gains_.push_back(covariance * weight.weigh(block.by_unknown).transpose());
      set_on_surface(static_cast<int>(s), block);
      blocks_.push_back(block);
    }
    const PriorRows prior = prior_rows(model, best_);
    prior_gain_ = covariance * prior.jacobian.transpose();
  }

  const Survey& surface() const { return surface_; }
  const Model& model() const { return model_; }
  const Eigen::VectorXd& best() const { return best_; }

  /// Touches of one trial: the fitted surface plus fresh errors along each normal.
  Eigen::VectorXd draw(RandomStream& random, Survey& survey) const {
    Eigen::VectorXd common(common_.size());
    for (std::size_t k = 0; k < common_.size(); ++k) {
      common[static_cast<Eigen::Index>(k)] = common_[k].u * random.normal();
    }
    for (std::size_t s = 0; s < blocks_.size(); ++s) {
      const StationBlock& block = blocks_[s];
      Eigen::VectorXd error = block.by_common * common;
      for (int k = 0; k < active_.count(); ++k) {
        error += block.by_nuisance.col(active_.columns[k]) * (active_.sigma[k] * random.normal());
      }
      for (double& reading : error) reading += random_.touch_sigma_mm * random.normal();
      shift(static_cast<int>(s), block, error, survey);
    }
    // The true diameters lie about the stated ones: the same as stated ones about the true.
    Eigen::VectorXd prior_error(prior_gain_.cols());
    for (double& reading : prior_error) reading = random.normal();
    return prior_error;
  }

  Eigen::VectorXd refit(const Model& model, const Eigen::VectorXd& prior_error) const {
    Eigen::VectorXd unknowns = best_;
    const Eigen::VectorXd prior_at_best = prior_rows(model_, best_).residual;
    StationBlock block;
    for (int iteration = 0; iteration < most_steps; ++iteration) {
      const Linearisation at(model, unknowns);
      const Eigen::VectorXd off =
          prior_rows(model, unknowns).residual - prior_at_best + prior_error;
      Eigen::VectorXd step = -(prior_gain_ * off);
      for (std::size_t s = 0; s < gains_.size(); ++s) {
        at.evaluate(static_cast<int>(s), nullptr, block);
        step.noalias() -= gains_[s] * block.gap;
      }
      unknowns += step;
      if (step.cwiseAbs().maxCoeff() < settled_step) break;
    }
    return unknowns;
  }

 private:
  /// Takes the residuals out, so that the trials scatter about the fit itself.
  void set_on_surface(int station, const StationBlock& block) {
    shift(station, block, -block.gap, surface_);
  }

  /// Moves the touches of a station along their normals so that each gap grows by `amount`.
  void shift(int station, const StationBlock& block, const Eigen::VectorXd& amount,
             Survey& survey) const {
    const Station& stay = survey.stations[station];
    Eigen::Index row = 0;
    for (int t = 0; t < stay.touch_count; ++t) {
      Touch& touch = survey.touches[stay.first_touch + t];
      const Touch& from = surface_.touches[stay.first_touch + t];
      Eigen::Vector3d moved = from.shown_mm;
      const int rows = touch.kind == TouchKind::centre ? 3 : 1;
      for (int r = 0; r < rows; ++r, ++row) {
        moved += block.by_nuisance.row(row).head<3>().transpose() * amount[row];
      }
      touch.shown_mm = moved;
    }
  }

  const Model& model_;
  const Eigen::VectorXd best_;
  const RandomModel& random_;
  const std::vector<CommonTerm>& common_;
  ActiveNuisances active_;
  std::vector<Eigen::MatrixXd> gains_;  ///< per station (p x m)
  Eigen::MatrixXd prior_gain_;
  std::vector<StationBlock> blocks_;
  Survey surface_;
};

/// Values of every output in every trial, (trials x outputs): filled by any thread.
Eigen::MatrixXd all_trials(const TrialBench& bench, const Machine& machine,
                           const TrialOptions& options) {
  const auto outputs = static_cast<Eigen::Index>(axis_values(bench.model(), bench.best()).size());
  Eigen::MatrixXd values(options.trials, outputs);
  std::atomic<int> next{0};
  constexpr int at_a_time = 64;
  const auto work = [&](bool reports) {
    Survey survey = bench.surface();
    Model model(machine, survey, bench.model().layout().effects);
    model.set_turns(bench.model().turns());
    for (int first = next.fetch_add(at_a_time); first < options.trials;
         first = next.fetch_add(at_a_time)) {
      for (int k = first; k < std::min(first + at_a_time, options.trials); ++k) {
        RandomStream random(options.seed, static_cast<std::uint64_t>(k));
        const Eigen::VectorXd prior_error = bench.draw(random, survey);
        values.row(k) = axis_values(model, bench.refit(model, prior_error)).transpose();
      }
      if (reports && options.progress) options.progress(std::min(first, options.trials));
    }
  };
  const int processors = static_cast<int>(std::max(1U, std::thread::hardware_concurrency()));
  const int threads = options.threads > 0 ? options.threads : processors;
  std::vector<std::thread> helpers;
  for (int t = 1; t < threads; ++t) helpers.emplace_back(work, false);
  work(true);
  for (std::thread& helper : helpers) helper.join();
  if (options.progress) options.progress(options.trials);
  return values;
}

TrialOutput summarised(const ValueName& name, double value, Eigen::VectorXd column) {
  TrialOutput output;
  output.name = name;
  output.value = value;
  output.mean = column.mean();
  const auto count = static_cast<double>(column.size());
  output.deviation = std::sqrt((column.array() - output.mean).square().sum() / (count - 1.0));
  std::sort(column.begin(), column.end());
  const auto quantile = [&](double p) {
    return column[static_cast<Eigen::Index>(std::lround(p * (count - 1.0)))];
  };
  output.low = quantile(0.025);
  output.high = quantile(0.975);
  return output;
}

}  // namespace

Expected<TrialsResult> run_trials(const Machine& machine, const Survey& survey,
                                  const FitOptions& fit_options, const TrialOptions& options) {
  if (Problems problems = options.validate(); !problems.empty()) {
    return tl::make_unexpected(std::move(problems));
  }
  const Expected<ScreenedCase> found = screened_case(machine, survey, fit_options);
  if (!found) return tl::make_unexpected(found.error());
  const Model& model = *found->fitted.model;
  const Solved& solved = found->fitted.solved;
  const std::vector<CommonTerm> common = common_terms(machine);
  const auto start = std::chrono::steady_clock::now();
  const TrialBench bench(model, solved.adjusted, solved.chosen.random, common);
  const Eigen::MatrixXd values = all_trials(bench, machine, options);
  TrialsResult result;
  result.trials = options.trials;
  result.seed = options.seed;
  result.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
  const std::vector<Output> outputs = axis_outputs(model, solved.adjusted.unknowns);
  for (std::size_t k = 0; k < outputs.size(); ++k) {
    result.outputs.push_back(
        summarised(outputs[k].name, outputs[k].value, values.col(static_cast<Eigen::Index>(k))));
  }
  return result;
}

}  // namespace pivotrace
