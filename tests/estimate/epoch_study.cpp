#include "epoch_study.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <mutex>
#include <optional>

#include "pivotrace/estimate/predict.h"
#include "pivotrace/survey/disturbances.h"
#include "pivotrace/survey/random_stream.h"
#include "studies.h"

namespace pivotrace::testing {

namespace {

constexpr double remount_mm = 5.0;
constexpr double sigma_dof = 8.0;

/// Known diameters and the stylus are off by what the file admits.
void draw_probe(const Machine& machine, RandomStream& random, SurveyTruth& truth) {
  truth.state.stylus_radius_mm +=
      0.5 * machine.probe.stylus_diameter_u_mm.value_or(0.0) * random.normal();
  for (int k = 0; k < 3; ++k) {
    truth.state.stylus_offset_mm[k] += machine.probe.offset_u_mm[k] * random.normal();
  }
}

void draw_artefacts(const Machine& machine, RandomStream& random, SurveyTruth& truth) {
  for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
    truth.state.artefacts[a].radius_mm +=
        0.5 * machine.artefacts[a].diameter_u_mm.value_or(0.0) * random.normal();
  }
}

void remount(RandomStream& random, SurveyTruth& truth) {
  for (auto& artefact : truth.state.artefacts) {
    for (int k = 0; k < 3; ++k) {
      artefact.point_mm[k] += remount_mm * (2.0 * random.uniform() - 1.0);
    }
  }
}

bool stays_with_machine(BoundKind kind) {
  return kind == BoundKind::squareness || kind == BoundKind::scale || kind == BoundKind::place ||
         kind == BoundKind::index_wave;
}

/// One machine, disturbed within the bounds its file has in force.
class Disturbances {
 public:
  Disturbances(const Job& job, double between_surveys_mm)
      : bounds_(bounds_in_force(job.scenario.machine)), frame_(frame_of_job(job)) {
    for (Bound& bound : bounds_) {
      if (bound.kind == BoundKind::between_surveys) bound.half_width = between_surveys_mm;
    }
  }

  template <typename Which>
  void draw(RandomStream& random, SurveyTruth& truth, const Which& which) const {
    for (const Bound& bound : bounds_) {
      if (which(bound.kind)) disturb(truth, bound, drawn_components(bound, random), frame_);
    }
  }

 private:
  std::vector<Bound> bounds_;
  SurveyFrame frame_;
};

/// What the file says nothing of is assumed then.
Job as_disturbed(Job job, const BetweenSurveys& between) {
  if (between.disturbed) job.scenario.machine.bounds = {};
  return job;
}

/// What a survey says of itself.
struct Said {
  bool later = false;
  bool own_probe = false;
  bool own_artefacts = false;
};

std::optional<FitResult> surveyed(const Job& job, const SurveyTruth& truth,
                                  const SurveyNoise& noise, const Said& said) {
  const Survey survey =
      synthesise_survey(job.scenario.machine, truth, truth.state, job.scenario.stations, noise);
  auto fit = fit_survey(job.scenario.machine, survey);
  if (!fit || !fit->usable) return std::nullopt;
  fit->started = said.later ? "2026-04-02T08:00:00Z" : "2026-03-02T08:00:00Z";
  fit->conditions.probe = "P1";
  fit->conditions.probe_calibrated = said.later && said.own_probe ? "2026-03-30" : "2026-01-15";
  for (const Artefact& artefact : job.scenario.machine.artefacts) {
    fit->conditions.artefacts[artefact.name] =
        said.later && said.own_artefacts ? "another" : "the same";
  }
  return *fit;
}

using Moving = std::function<void(SurveyTruth&)>;

struct Pair {
  std::optional<FitResult> before;
  std::optional<FitResult> after;
};

void draw_probe_and_artefacts(const Job& job, RandomStream& random, SurveyTruth& truth) {
  draw_probe(job.scenario.machine, random, truth);
  draw_artefacts(job.scenario.machine, random, truth);
}

void same_probe(const SurveyTruth& before, SurveyTruth& after) {
  after.state.stylus_radius_mm = before.state.stylus_radius_mm;
  after.state.stylus_offset_mm = before.state.stylus_offset_mm;
  after.lobing_amplitude_mm = before.lobing_amplitude_mm;
  after.lobing_phase_rad = before.lobing_phase_rad;
}

void same_artefacts(const SurveyTruth& before, SurveyTruth& after) {
  for (std::size_t a = 0; a < after.state.artefacts.size(); ++a) {
    after.state.artefacts[a].radius_mm = before.state.artefacts[a].radius_mm;
  }
}

/// Of the pair: the truth of each survey. `later` is the job of the second.
std::pair<SurveyTruth, SurveyTruth> drawn_truths(const Job& job, const Job& later,
                                                 const BetweenSurveys& between,
                                                 RandomStream& random) {
  const auto of_probe = [](BoundKind kind) { return kind == BoundKind::lobing; };
  const auto of_survey = [](BoundKind kind) { return kind == BoundKind::drift; };
  SurveyTruth machine = job.scenario.truth;
  const Disturbances disturbances(job, between.between_surveys_mm);
  if (between.disturbed) disturbances.draw(random, machine, stays_with_machine);
  SurveyTruth before = machine;
  draw_probe_and_artefacts(job, random, before);
  if (between.disturbed) disturbances.draw(random, before, of_probe);
  SurveyTruth after = machine;
  after.state.artefacts = later.scenario.truth.state.artefacts;
  if (between.own_probe) {
    draw_probe_and_artefacts(later, random, after);
    if (between.disturbed) disturbances.draw(random, after, of_probe);
  } else {
    same_probe(before, after);
    if (between.later) {
      draw_artefacts(later.scenario.machine, random, after);
    } else {
      same_artefacts(before, after);
    }
  }
  if (between.disturbed) {
    for (SurveyTruth* truth : {&before, &after}) disturbances.draw(random, *truth, of_survey);
    disturbances.draw(random, after,
                      [](BoundKind kind) { return kind == BoundKind::between_surveys; });
  }
  return {std::move(before), std::move(after)};
}

Pair drawn_pair(const Job& job, const BetweenSurveys& between, const Moving& move,
                std::uint64_t seed, int k) {
  Job later = job;
  if (between.later) between.later(later);
  RandomStream random(seed * 1000003ULL + static_cast<std::uint64_t>(k), 78);
  SurveyNoise noise = job.scenario.noise;
  noise.seed = seed * 2000003ULL + 2ULL * static_cast<std::uint64_t>(k);
  noise.axes_seed = noise.seed;
  if (between.sigmas_drawn) noise = drawn_about(noise, sigma_dof);
  auto [before, after] = drawn_truths(job, later, between, random);
  if (between.remounted) remount(random, after);
  move(after);
  Pair pair;
  const bool other_artefacts = between.own_probe || between.later != nullptr;
  pair.before = surveyed(job, before, noise, {false, between.own_probe, other_artefacts});
  ++noise.seed;
  pair.after = surveyed(later, after, noise, {true, between.own_probe, other_artefacts});
  return pair;
}

/// Sizes that would show are worked out only where they are asked for.
CompareOptions allowing(double between_surveys_mm) {
  CompareOptions options;
  options.between_surveys_mm = between_surveys_mm;
  options.between_surveys_stated = true;
  options.smallest_seen = false;
  return options;
}

/// judge(counts, k, pair, comparison) for every pair k that could be compared.
template <typename Judge>
PairCounts counted(const Job& as_given, const BetweenSurveys& between, const Moving& move,
                   int pairs, std::uint64_t seed, int threads, const Judge& judge) {
  const Job job = as_disturbed(as_given, between);
  PairCounts counts;
  counts.job = job.name;
  std::mutex mutex;
  in_parallel(pairs, threads, [&](int k) {
    const Pair pair = drawn_pair(job, between, move, seed, k);
    const auto comparison =
        pair.before && pair.after
            ? compare(*pair.before, *pair.after, allowing(between.between_surveys_mm))
            : Expected<SurveyComparison>(failure({}));
    const std::scoped_lock lock(mutex);
    if (!comparison) {
      ++counts.refused;
      return;
    }
    ++counts.pairs;
    judge(counts, k, pair, *comparison);
  });
  return counts;
}

bool names(const Explanation& line, const Movement& movement) {
  return std::ranges::any_of(line.what, [&](const CauseName& name) {
    return name.cause == movement.cause && (movement.axis == '\0' || name.axis == movement.axis);
  });
}

const Moving standing_still = [](SurveyTruth&) {};

}  // namespace

void another_ball(Job& job) {
  for (std::size_t a = 0; a < job.scenario.machine.artefacts.size(); ++a) {
    Artefact& artefact = job.scenario.machine.artefacts[a];
    auto& truth = job.scenario.truth.state.artefacts[a];
    artefact.diameter_mm = artefact.diameter_mm.value_or(0.0) + 4.0;
    truth.radius_mm += 2.0;
    artefact.at_mm += Eigen::Vector3d(3.0, -4.0, 6.0);
    truth.point_mm += Eigen::Vector3d(3.0, -4.0, 6.0);
  }
}

void another_plan(Job& job) {
  std::vector<StationTarget>& stations = job.scenario.stations;
  for (std::size_t s = 0; s + 1 < stations.size(); ++s) {
    for (int axis = 0; axis < max_rotary_axes; ++axis) {
      stations[s].angles_rad[axis] =
          0.5 * (stations[s].angles_rad[axis] + stations[s + 1].angles_rad[axis]);
    }
  }
  if (stations.size() > 4) stations.pop_back();
}

PairCounts still_pairs(const Job& job, const BetweenSurveys& between, int pairs, std::uint64_t seed,
                       int threads) {
  return counted(job, between, standing_still, pairs, seed, threads,
                 [](PairCounts& counts, int, const Pair&, const SurveyComparison& comparison) {
                   counts.moved += comparison.moved.value_or(false);
                 });
}

namespace {

Estimate& estimate_of(FitResult& result, const ValueName& name) {
  for (AxisResult& axis : result.axes) {
    for (auto* list : {&axis.centre, &axis.orientation}) {
      const auto found = std::ranges::find(*list, name, &NamedEstimate::name);
      if (found != list->end()) return found->estimate;
    }
  }
  std::abort();  // the comparison has only values of the result
}

/// Every value in turn, up and down in turn.
std::size_t turn_of(int k, const SurveyComparison& still) {
  return static_cast<std::size_t>(k / 2) % still.values.size();
}
double sign_of(int k) { return k % 2 == 0 ? 1.0 : -1.0; }

/// Of values alike in all pairs: of one pair of this job.
std::vector<double> typical_U95(const Job& job, const BetweenSurveys& between) {
  const Pair pair = drawn_pair(job, between, standing_still, 99, 0);
  const auto comparison = compare(*pair.before, *pair.after, allowing(between.between_surveys_mm));
  std::vector<double> sizes;
  for (const ValueChange& value : comparison->values) sizes.push_back(value.U95);
  return sizes;
}

}  // namespace

PairCounts changed_pairs(const Job& job, const BetweenSurveys& between, double times, int pairs,
                         std::uint64_t seed, int threads) {
  return counted(job, between, standing_still, pairs, seed, threads,
                 [&](PairCounts& counts, int k, const Pair& pair, const SurveyComparison& still) {
                   const std::size_t i = turn_of(k, still);
                   FitResult after = *pair.after;
                   CompareOptions options = allowing(between.between_surveys_mm);
                   options.smallest_seen = true;
                   const ValueChange value = compare(*pair.before, after, options)->values[i];
                   estimate_of(after, value.name).value += sign_of(k) * times * value.smallest_seen;
                   options.smallest_seen = false;
                   const auto comparison = compare(*pair.before, after, options);
                   counts.moved += comparison->moved.value_or(false);
                   counts.value_seen += comparison->values[i].moved;
                 });
}

PairCounts foretold_pairs(const Job& job, const BetweenSurveys& between, int pairs,
                          std::uint64_t seed, int threads) {
  const Scenario& s = job.scenario;
  const auto planned = predict_fit(
      s.machine, synthesise_survey(s.machine, s.truth, s.truth.state, s.stations, SurveyNoise()));
  return counted(job, between, standing_still, pairs, seed, threads,
                 [&](PairCounts& counts, int k, const Pair& pair, const SurveyComparison& still) {
                   FitResult foretold = *planned;
                   foretold.conditions = pair.after->conditions;
                   CompareOptions options = allowing(between.between_surveys_mm);
                   const std::size_t i = turn_of(k, still);
                   const ValueChange value =
                       changes_that_would_show(*pair.before, foretold, options)->at(i);
                   FitResult after = *pair.after;
                   estimate_of(after, value.name).value += sign_of(k) * value.smallest_seen;
                   const auto comparison = compare(*pair.before, after, options);
                   counts.moved += comparison->moved.value_or(false);
                   counts.value_seen += comparison->values[i].moved;
                 });
}

PairCounts at_tolerance(const Job& job, const BetweenSurveys& between, double tolerance_in_U95,
                        int pairs, std::uint64_t seed, int threads) {
  const std::vector<double> U95 = typical_U95(as_disturbed(job, between), between);
  return counted(job, between, standing_still, pairs, seed, threads,
                 [&](PairCounts& counts, int k, const Pair& pair, const SurveyComparison& still) {
                   const std::size_t i = turn_of(k, still);
                   const ValueName name = still.values[i].name;
                   const double tolerance = tolerance_in_U95 * U95[i];
                   FitResult after = *pair.after;
                   estimate_of(after, name).value += sign_of(k) * tolerance;
                   CompareOptions options = allowing(between.between_surveys_mm);
                   options.within_mm = is_angle(name) ? 300.0 * tolerance : tolerance;
                   counts.value_seen +=
                       compare(*pair.before, after, options)->values[i].within_tolerance;
                 });
}

namespace {

void shift(Line& line, double amount) {
  line.point_mm += amount * Eigen::Vector3d(0.6, -0.55, 0.58);
}

/// By `amount` over 300 mm.
void turn(Line& line, double amount) {
  line.direction =
      (line.direction + amount / 300.0 * Eigen::Vector3d(0.6, 0.5, -0.62)).normalized();
}

}  // namespace

namespace {

void move_all(SurveyTruth& truth, double amount) {
  for (Line& line : truth.state.axis_lines) shift(line, amount);
}

/// As a rigid body about the first centre, by `amount` over 300 mm.
void turn_all(SurveyTruth& truth, double amount, std::size_t first,
              const Eigen::Vector3d& direction) {
  const Eigen::Vector3d about = truth.state.axis_lines[first].point_mm;
  const Eigen::AngleAxisd turned(amount / 300.0, direction.normalized());
  for (std::size_t i = first; i < truth.state.axis_lines.size(); ++i) {
    Line& line = truth.state.axis_lines[i];
    line.point_mm = about + turned * (line.point_mm - about);
    line.direction = turned * line.direction;
  }
}

std::vector<Movement> of_two_axes(char outer, char inner) {
  return {{"inner axis in its bearing",
           [](SurveyTruth& truth, double amount) {
             shift(truth.state.axis_lines[1], amount);
             turn(truth.state.axis_lines[1], amount);
           },
           Cause::axis_bearing, inner},
          {"inner axis leans",
           [](SurveyTruth& truth, double amount) { turn(truth.state.axis_lines[1], amount); },
           Cause::axis_bearing, inner},
          {"zero of the outer axis",
           [](SurveyTruth& truth, double amount) {
             const Line outermost = truth.state.axis_lines[0];
             const Eigen::AngleAxisd turned(amount / 300.0, outermost.direction);
             Line& line = truth.state.axis_lines[1];
             line.point_mm = outermost.point_mm + turned * (line.point_mm - outermost.point_mm);
             line.direction = turned * line.direction;
           },
           Cause::axis_zero, outer}};
}

}  // namespace

std::vector<Movement> movements(const Job& job) {
  const std::vector<RotaryAxis>& rotary = job.scenario.machine.rotary;
  const char outer = rotary.front().letter;
  const bool on_work_side =
      std::ranges::all_of(rotary, [](const RotaryAxis& a) { return a.side == AxisSide::work; });
  const Eigen::Vector3d askew(0.6, 0.5, -0.62);
  std::vector<Movement> all = {
      {"unit shifted", move_all, Cause::unit, outer},
      {"unit shifted and turned",
       [askew](SurveyTruth& truth, double amount) {
         move_all(truth, amount);
         turn_all(truth, amount, 0, askew);
       },
       Cause::unit, outer},
      {"outer axis in its bearing",
       [askew](SurveyTruth& truth, double amount) { turn_all(truth, amount, 0, askew); },
       Cause::axis_bearing, outer},
      {"probe off",
       [](SurveyTruth& truth, double amount) {
         truth.state.stylus_offset_mm += amount * Eigen::Vector3d(0.6, -0.55, 0.58);
       },
       Cause::probe, '\0'}};
  if (on_work_side) all.push_back({"machine zero shifted", move_all, Cause::machine_zero, '\0'});
  if (rotary.size() == 2 && on_work_side) {
    for (Movement& movement : of_two_axes(outer, rotary.back().letter)) {
      all.push_back(std::move(movement));
    }
  }
  return all;
}

namespace {

/// How many times the smallest visible change a movement of 0.1 mm makes, for the value it shows in most.
double visibility(const Job& job, const Movement& movement) {
  constexpr double trial_mm = 0.1;
  const SurveyNoise quiet;
  SurveyTruth after = job.scenario.truth;
  movement.move(after, trial_mm);
  const auto first = surveyed(job, job.scenario.truth, quiet, {});
  const auto second = surveyed(job, after, quiet, {true, false, false});
  const Pair typical = drawn_pair(job, {}, standing_still, 99, 0);
  CompareOptions with_sizes = allowing(0.0);
  with_sizes.smallest_seen = true;
  const auto comparison = compare(*typical.before, *typical.after, with_sizes);
  const auto quiet_change = compare(*first, *second, allowing(0.0));
  double most = 0.0;
  for (std::size_t k = 0; k < comparison->values.size(); ++k) {
    most = std::max(most,
                    std::abs(quiet_change->values[k].change) / comparison->values[k].smallest_seen);
  }
  return most / trial_mm;
}

}  // namespace

PairCounts moved_pairs(const Job& job, const Movement& movement, double times, int pairs,
                       std::uint64_t seed, int threads) {
  const double amount = times / visibility(job, movement);
  const BetweenSurveys drawn = {.sigmas_drawn = true};
  return counted(
      job, drawn, [&](SurveyTruth& truth) { movement.move(truth, amount); }, pairs, seed, threads,
      [&](PairCounts& counts, int, const Pair&, const SurveyComparison& comparison) {
        counts.moved += comparison.moved.value_or(false);
        if (comparison.explanations.empty()) return;
        const Explanation& line = comparison.explanations.front();
        const bool right = names(line, movement);
        counts.right += right;
        counts.surely_wrong += !right && line.probability > 0.95;
      });
}

}  // namespace pivotrace::testing
