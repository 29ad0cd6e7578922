#include "studies.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <atomic>
#include <cmath>
#include <mutex>
#include <thread>

#include "pivotrace/estimate/fit.h"
#include "pivotrace/estimate/predict.h"
#include "pivotrace/survey/random_stream.h"

namespace pivotrace::testing {

void in_parallel(int count, int threads, const std::function<void(int)>& work) {
  std::atomic<int> next{0};
  std::vector<std::thread> workers;
  for (int t = 0; t < std::max(1, threads); ++t) {
    workers.emplace_back([&] {
      for (int k = next++; k < count; k = next++) work(k);
    });
  }
  for (std::thread& worker : workers) worker.join();
}

namespace {

std::uint64_t seed_of(std::uint64_t seed, int k) {
  return seed * 1000003ULL + static_cast<std::uint64_t>(k);
}

/// The truth of one survey: known diameters and the stylus are off by what the file admits.
SurveyTruth drawn_truth(const Machine& machine, const SurveyTruth& truth, std::uint64_t seed) {
  RandomStream random(seed, 77);
  SurveyTruth drawn = truth;
  for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
    if (!machine.artefacts[a].diameter_u_mm) continue;
    drawn.state.artefacts[a].radius_mm +=
        0.5 * *machine.artefacts[a].diameter_u_mm * random.normal();
  }
  drawn.state.stylus_radius_mm +=
      0.5 * machine.probe.stylus_diameter_u_mm.value_or(0.0) * random.normal();
  for (int k = 0; k < 3; ++k)
    drawn.state.stylus_offset_mm[k] += machine.probe.offset_u_mm[k] * random.normal();
  return drawn;
}

std::vector<NamedEstimate> stated_values(const AxisResult& axis) {
  std::vector<NamedEstimate> values = axis.centre;
  values.insert(values.end(), axis.orientation.begin(), axis.orientation.end());
  return values;
}

double true_angle(const RotaryAxis& axis, const Line& line, int k) {
  const int along = static_cast<int>(*axis.along);
  const int other = 3 - along - k;
  const double hand = (k + 1) % 3 == along ? 1.0 : -1.0;
  return std::atan2(hand * line.direction[other], line.direction[along]);
}

double true_value(const Job& job, const SurveyTruth& truth, const ValueName& name) {
  const RotaryAxis& axis = job.scenario.machine.rotary[0];
  const Line& line = truth.state.axis_lines[0];
  if (is_angle(name)) return true_angle(axis, line, component(name));
  return pierce_plane(line, axis.direction, axis.quote_at_mm)[component(name)];
}

/// Predicted standard uncertainties at the truth, in the order of stated_values.
std::vector<double> bounds(const Job& job, const SurveyTruth& truth) {
  Machine machine = job.scenario.machine;
  for (std::size_t k = 0; k < machine.rotary.size(); ++k) {
    machine.rotary[k].centre_mm = pierce_plane(
        truth.state.axis_lines[k], machine.rotary[k].direction, machine.rotary[k].quote_at_mm);
  }
  for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
    machine.artefacts[a].at_mm = truth.state.artefacts[a].point_mm;
  }
  SurveyTruth perfect;
  perfect.state = nominal_state(machine);
  const Survey planned =
      synthesise_survey(machine, perfect, perfect.state, job.scenario.stations, {});
  const auto predicted = predict_fit(machine, planned);
  std::vector<double> result;
  for (const NamedEstimate& e : predicted->axes[0].centre) result.push_back(e.estimate.u_absolute);
  for (const NamedEstimate& e : predicted->axes[0].orientation)
    result.push_back(e.estimate.u_absolute);
  return result;
}

}  // namespace

CoverageResult coverage(const Job& job, const SurveyTruth& truth, int surveys, std::uint64_t seed,
                        int threads, bool screening) {
  CoverageResult result;
  result.job = job.name;
  result.surveys = surveys;
  const std::vector<double> bound = bounds(job, job.scenario.truth);
  std::vector<std::vector<NamedEstimate>> all(surveys);
  in_parallel(surveys, threads, [&](int k) {
    SurveyNoise noise = job.scenario.noise;
    noise.seed = seed_of(seed, k);
    const SurveyTruth drawn = drawn_truth(job.scenario.machine, truth, noise.seed);
    const Survey survey =
        synthesise_survey(job.scenario.machine, drawn, truth.state, job.scenario.stations, noise);
    FitOptions options;
    options.screen = screening;
    const auto fit = fit_survey(job.scenario.machine, survey, options);
    if (fit) all[k] = stated_values(fit->axes[0]);
  });
  for (const auto& values : all) {
    if (values.empty()) {
      ++result.refused;
      continue;
    }
    if (result.rows.empty()) result.rows.resize(values.size());
    for (std::size_t i = 0; i < values.size(); ++i) {
      CoverageRow& row = result.rows[i];
      const Estimate& stated = values[i].estimate;
      const double error = stated.value - true_value(job, truth, values[i].name);
      row.output = values[i].name;
      row.bound = bound[i];
      ++row.surveys;
      row.held += std::abs(error) <= stated.U95_absolute;
      row.mean_error += error;
      row.spread += error * error;
    }
  }
  for (CoverageRow& row : result.rows) {
    row.mean_error /= row.surveys;
    row.spread = std::sqrt(row.spread / row.surveys - row.mean_error * row.mean_error);
  }
  return result;
}

namespace {

/// Spoils touches of a survey; returns their indices.
std::vector<int> spoil(Survey& survey, const Job& job, int touches, bool slip, bool in_air,
                       RandomStream& random) {
  const auto pick = [&](std::size_t count) {
    return static_cast<int>(random.uniform() * static_cast<double>(count));
  };
  const double size_mm = 0.02 * std::pow(250.0, random.uniform());
  std::vector<int> bad;
  if (slip) {
    const Station& stay = survey.stations[pick(survey.stations.size())];
    const MachineState state = job.scenario.truth.state;
    for (int t = 0; t < stay.touch_count; ++t) {
      Touch& touch = survey.touches[stay.first_touch + t];
      const Line& line = state.axis_lines[0];
      // All touches of the station move as the ball does when the axis turns too far.
      const Eigen::Vector3d ball = machine_from_carried(
          job.scenario.machine, state, 0, state.artefacts[0].point_mm, stay.angles_rad);
      const Eigen::Vector3d reach = perpendicular_from_line(line, ball);
      touch.shown_mm += line.direction.cross(reach.normalized()) * size_mm;
      bad.push_back(stay.first_touch + t);
    }
    return bad;
  }
  while (static_cast<int>(bad.size()) < touches) {
    const int t = pick(survey.touches.size());
    if (std::find(bad.begin(), bad.end(), t) != bad.end()) continue;
    const double error =
        in_air ? 1.0 + 4.0 * random.uniform()
               : (random.uniform() < 0.5 ? -1.0 : 1.0) * 0.02 * std::pow(250.0, random.uniform());
    // Against the approach: stopped short of the surface.
    survey.touches[t].shown_mm -= *survey.touches[t].approach * error;
    bad.push_back(t);
  }
  return bad;
}

/// Named as one of several suspects, or as part of a station that may have slipped.
bool named_as_possible(const FitResult& fit, const TouchResult& touch) {
  for (const Finding& finding : fit.findings) {
    if (const auto* group = std::get_if<finding::Inseparable>(&finding.details)) {
      for (const finding::SuspectName& suspect : group->suspects) {
        if (suspect.touch == touch.label) return true;
      }
    }
    const auto* left = std::get_if<finding::LeftOut>(&finding.details);
    if (left != nullptr && left->station_possible && left->who.station.label == touch.station) {
      return true;
    }
  }
  return false;
}

}  // namespace

BlunderResult blunders(const Job& job, int touches, bool slip, bool in_air, int surveys,
                       std::uint64_t seed, int threads) {
  BlunderResult result;
  result.surveys = surveys;
  std::mutex mutex;
  in_parallel(surveys, threads, [&](int k) {
    SurveyNoise noise = job.scenario.noise;
    noise.seed = seed_of(seed, k);
    const Survey clean = synthesise_survey(job.scenario.machine, job.scenario.truth,
                                           job.scenario.truth.state, job.scenario.stations, noise);
    Survey spoiled = clean;
    RandomStream random(noise.seed, 5);
    const std::vector<int> bad = spoil(spoiled, job, touches, slip, in_air, random);
    FitOptions plain;
    plain.screen = false;
    const auto reference = fit_survey(job.scenario.machine, clean, plain);
    const auto fit = fit_survey(job.scenario.machine, spoiled);
    const std::lock_guard<std::mutex> lock(mutex);
    result.bad_touches += static_cast<int>(bad.size());
    result.good_touches += static_cast<int>(clean.touches.size() - bad.size());
    if (!fit || !reference) return;
    for (std::size_t t = 0; t < fit->touches.size(); ++t) {
      const bool is_bad = std::find(bad.begin(), bad.end(), static_cast<int>(t)) != bad.end();
      const bool out = fit->touches[t].excluded;
      if (is_bad) result.found += out || named_as_possible(*fit, fit->touches[t]);
      if (!is_bad) result.good_lost += out;
    }
    bool held = true;
    for (std::size_t i = 0; i < fit->axes[0].centre.size(); ++i) {
      const Estimate& clean_value = reference->axes[0].centre[i].estimate;
      const Estimate& value = fit->axes[0].centre[i].estimate;
      held = held && std::abs(value.value - clean_value.value) <= 1.5 * clean_value.u;
    }
    result.centre_held += held;
  });
  return result;
}

}  // namespace pivotrace::testing
