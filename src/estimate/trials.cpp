#include "pivotrace/estimate/trials.h"

#include <algorithm>
#include <atomic>
#include <chrono>
#include <cmath>
#include <optional>
#include <system_error>
#include <thread>

#include "estimate/fitted_survey.h"
#include "estimate/outputs.h"
#include "estimate/trial_bench.h"
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
  const std::vector<int> available = lanes_available();
  if (lanes != 0 && std::find(available.begin(), available.end(), lanes) == available.end()) {
    problems.push_back({ProblemNumber::bad_options,
                        "this processor cannot work on that many trials side by side",
                        {},
                        "leave it out: the widest it can do is taken"});
  }
  return problems;
}

namespace {

using trial::Kernel;
using trial::Kernels;

/// Draws and refits some trials, several side by side.
class TrialWorker {
 public:
  TrialWorker(const TrialBench& bench, const Kernel& kernel, std::uint64_t seed,
              Eigen::MatrixXd& values)
      : bench_(bench),
        kernel_(kernel),
        seed_(seed),
        values_(values),
        draws_(numbers(bench.problem().draws())),
        scratch_(numbers(bench.problem().scratch())),
        unknowns_(numbers(bench.problem().unknowns)),
        one_(bench.problem().unknowns) {}

  /// Trials first, first + 1, ... before `end`. Lanes past the end repeat the last trial.
  void run(int first, int end) {
    for (int k = first; k < end; k += kernel_.lanes) {
      for (int lane = 0; lane < kernel_.lanes; ++lane) draw(std::min(k + lane, end - 1), lane);
      kernel_.refit(bench_.problem(), draws_.data(), scratch_.data(), unknowns_.data());
      for (int lane = 0; lane < std::min(kernel_.lanes, end - k); ++lane) keep(k + lane, lane);
    }
  }

 private:
  std::vector<double> numbers(int per_lane) const {
    return std::vector<double>(static_cast<std::size_t>(per_lane) * kernel_.lanes);
  }

  void draw(int trial, int lane) {
    RandomStream random(seed_, static_cast<std::uint64_t>(trial));
    for (std::size_t i = lane; i < draws_.size(); i += kernel_.lanes) draws_[i] = random.normal();
  }

  void keep(int trial, int lane) {
    for (Eigen::Index i = 0; i < one_.size(); ++i) one_[i] = unknowns_[i * kernel_.lanes + lane];
    values_.row(trial) = axis_values(bench_.model(), one_).transpose();
  }

  const TrialBench& bench_;
  const Kernel kernel_;
  std::uint64_t seed_;
  Eigen::MatrixXd& values_;
  std::vector<double> draws_, scratch_, unknowns_;
  Eigen::VectorXd one_;
};

/// The kernel with so many lanes, or the widest there is for 0.
std::optional<Kernel> kernel_with(int lanes) {
  const Kernels here = trial::kernels_here();
  if (lanes == 0) return here.kernel[here.count - 1];
  for (int k = 0; k < here.count; ++k) {
    if (here.kernel[k].lanes == lanes) return here.kernel[k];
  }
  return std::nullopt;
}

/// Starts up to `count` threads; where the system gives fewer, or none, the others do the work.
template <class Work>
void start_helpers(std::vector<std::thread>& helpers, int count, const Work& work) {
  try {
    for (int t = 0; t < count; ++t) helpers.emplace_back(work, false);
  } catch (const std::system_error&) {
    return;
  }
}

/// Values of every output in every trial, (trials x outputs): filled by any thread.
Eigen::MatrixXd all_trials(const TrialBench& bench, const TrialOptions& options) {
  const auto outputs = axis_values(bench.model(), bench.best()).size();
  Eigen::MatrixXd values(options.trials, outputs);
  std::atomic<int> next{0};
  constexpr int at_a_time = 64;
  const auto work = [&](bool reports) {
    TrialWorker worker(bench, *kernel_with(options.lanes), options.seed, values);
    for (int first = next.fetch_add(at_a_time); first < options.trials;
         first = next.fetch_add(at_a_time)) {
      worker.run(first, std::min(first + at_a_time, options.trials));
      if (reports && options.progress) options.progress(std::min(first, options.trials));
    }
  };
  const int processors = static_cast<int>(std::max(1U, std::thread::hardware_concurrency()));
  const int threads = options.threads > 0 ? options.threads : processors;
  std::vector<std::thread> helpers;
  start_helpers(helpers, threads - 1, work);
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
  const auto quantile = [&](double p) {
    double* const at = column.data() + std::lround(p * (count - 1.0));
    std::nth_element(column.data(), at, column.data() + column.size());
    return *at;
  };
  output.low = quantile(0.025);
  output.high = quantile(0.975);
  return output;
}

}  // namespace

std::vector<int> lanes_available() {
  const Kernels here = trial::kernels_here();
  std::vector<int> lanes;
  for (int k = 0; k < here.count; ++k) lanes.push_back(here.kernel[k].lanes);
  return lanes;
}

Expected<TrialsResult> run_trials(const Machine& machine, const Survey& survey,
                                  const FitOptions& fit_options, const TrialOptions& options) {
  if (Problems problems = options.validate(); !problems.empty()) {
    return tl::make_unexpected(std::move(problems));
  }
  const Expected<ScreenedSurvey> found = screened_survey(machine, survey, fit_options);
  if (!found) return tl::make_unexpected(found.error());
  const Model& model = *found->fitted.model;
  const Solved& solved = found->fitted.solved;
  const std::vector<CommonTerm> common = common_terms(machine);
  const auto start = std::chrono::steady_clock::now();
  const TrialBench bench(model, solved.adjusted, solved.chosen.random, common);
  const Eigen::MatrixXd values = all_trials(bench, options);
  TrialsResult result;
  result.trials = options.trials;
  result.seed = options.seed;
  result.seconds = std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
  const std::vector<Output> outputs = axis_outputs(model, solved.adjusted.unknowns);
  for (std::size_t k = 0; k < outputs.size(); ++k) {
    if (options.each_output) {
      options.each_output(outputs[k].name, values.col(static_cast<Eigen::Index>(k)));
    }
    result.outputs.push_back(
        summarised(outputs[k].name, outputs[k].value, values.col(static_cast<Eigen::Index>(k))));
  }
  return result;
}

}  // namespace pivotrace
