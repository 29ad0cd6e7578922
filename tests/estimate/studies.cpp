#include "studies.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <atomic>
#include <cmath>
#include <map>
#include <mutex>
#include <optional>
#include <set>
#include <thread>

#include "pivotrace/estimate/fit.h"
#include "pivotrace/estimate/predict.h"
#include "pivotrace/results/beside_truth.h"
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

/// Stated and true value of every output of a fit.
struct JudgedValue {
  ValueName name;
  double error = 0.0;
  Estimate estimate;
};

void judge_axes(const FitResult& fit, const std::vector<ValueBesideTruth>& beside,
                std::vector<JudgedValue>& values) {
  const auto judge = [&](const ValueName& name, const Estimate& estimate) {
    for (const ValueBesideTruth& value : beside) {
      if (value.name == name) values.push_back({name, value.fitted - value.truth, estimate});
    }
  };
  for (const AxisResult& axis : fit.axes) {
    for (const NamedEstimate& e : axis.centre) judge(e.name, e.estimate);
    for (const NamedEstimate& e : axis.orientation) judge(e.name, e.estimate);
    if (axis.pivot_to_stylus) {
      judge(axis_value(axis.letter, ValueKind::pivot_to_stylus), *axis.pivot_to_stylus);
    }
    if (axis.pivot_to_gauge) {
      judge(axis_value(axis.letter, ValueKind::pivot_to_gauge), *axis.pivot_to_gauge);
    }
  }
}

/// A drift moves what the slides show: the truth of work-side lines is that of the mean time.
Line at_mean_time(const Survey& survey, const Machine& machine, const SurveyTruth& truth,
                  int axis) {
  Line line = truth.state.axis_lines[axis];
  double seconds = 0.0;
  for (const Touch& touch : survey.touches) seconds += touch.time_s.value_or(0.0);
  const double hours = seconds / static_cast<double>(survey.touches.size()) / 3600.0;
  if (machine.rotary[axis].side == AxisSide::work) {
    line.point_mm -= truth.drift_mm_per_hour * hours;
  }
  return line;
}

void judge_pairs(const FitResult& fit, const Survey& survey, const Machine& machine,
                 const SurveyTruth& truth, std::vector<JudgedValue>& values) {
  for (const AxisPairResult& pair : fit.axis_pairs) {
    const Line first = at_mean_time(survey, machine, truth, machine.rotary_index(pair.first));
    const Line second = at_mean_time(survey, machine, truth, machine.rotary_index(pair.second));
    const CommonNormal normal = common_normal(first, second);
    const auto judge = [&](ValueKind kind, const Estimate& estimate, double is,
                           std::optional<LinearAxis> along = std::nullopt) {
      values.push_back(
          {pair_value(pair.first, pair.second, kind, along), estimate.value - is, estimate});
    };
    judge(ValueKind::distance, pair.distance, normal.signed_distance_mm);
    judge(ValueKind::crossing, pair.crossing, normal.crossing_rad);
    for (int k = 0; k < 3 && !pair.parallel; ++k) {
      const auto along = static_cast<LinearAxis>(k);
      judge(ValueKind::foot_on_first, pair.foot_on_first[k], normal.foot_on_first_mm[k], along);
      judge(ValueKind::foot_on_second, pair.foot_on_second[k], normal.foot_on_second_mm[k], along);
    }
  }
}

void judge_diameters(const FitResult& fit, const Machine& machine, const SurveyTruth& truth,
                     std::vector<JudgedValue>& values) {
  for (const ArtefactResult& artefact : fit.artefacts) {
    if (!artefact.diameter) continue;
    const int index = machine.artefact_index(artefact.name);
    const double is = 2.0 * truth.state.artefacts[index].radius_mm;
    values.push_back({artefact_value(artefact.name, ValueKind::diameter),
                      artefact.diameter->value - is, *artefact.diameter});
  }
}

std::vector<JudgedValue> judged(const FitResult& fit, const Survey& survey, const Machine& machine,
                                const SurveyTruth& truth) {
  RehearsalTruth whole;
  whole.survey = truth;
  std::vector<JudgedValue> values;
  judge_axes(fit, beside_truth(fit, survey, machine, whole), values);
  judge_pairs(fit, survey, machine, truth, values);
  judge_diameters(fit, machine, truth, values);
  return values;
}

/// The machine of a job as if its file told the truth.
Machine at_truth(const Job& job) {
  Machine machine = job.scenario.machine;
  const SurveyTruth& truth = job.scenario.truth;
  for (std::size_t k = 0; k < machine.rotary.size(); ++k) {
    machine.rotary[k].centre_mm = pierce_plane(
        truth.state.axis_lines[k], machine.rotary[k].direction, machine.rotary[k].quote_at_mm);
  }
  for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
    machine.artefacts[a].at_mm = truth.state.artefacts[a].point_mm;
  }
  return machine;
}

/// Predicted standard uncertainties at the truth, by name.
std::map<std::string, Estimate> predicted(const Job& job) {
  const Machine machine = at_truth(job);
  SurveyTruth perfect;
  perfect.state = nominal_state(machine);
  const Survey planned = recorded(
      job, synthesise_survey(machine, perfect, perfect.state, job.scenario.stations, {}), perfect);
  std::map<std::string, Estimate> result;
  const auto fit = predict_fit(machine, planned);
  if (!fit) return result;
  for (const JudgedValue& value : judged(*fit, planned, machine, perfect)) {
    result[text_of(value.name)] = value.estimate;
  }
  return result;
}

}  // namespace

SurveyFrame frame_of_job(const Job& job) {
  const Scenario& s = job.scenario;
  return frame_of(s.machine, synthesise_survey(s.machine, s.truth, s.truth.state, s.stations, {}));
}

WorstCase worst_case(const Job& job, const Bound& bound) {
  const Scenario& s = job.scenario;
  const SurveyFrame frame = frame_of_job(job);
  const auto values_of = [&](const SurveyTruth& truth) {
    const Survey survey = recorded(
        job, synthesise_survey(s.machine, truth, s.truth.state, s.stations, {}, Arrivals::one_side),
        truth);
    FitOptions options;
    options.screen = false;
    const auto fit = fit_survey(s.machine, survey, options);
    return fit ? judged(*fit, survey, s.machine, truth) : std::vector<JudgedValue>{};
  };
  const std::map<std::string, Estimate> expected = predicted(job);
  const std::vector<JudgedValue> plain = values_of(s.truth);
  const int count = pivotrace::components(bound.kind);
  Eigen::MatrixXd response = Eigen::MatrixXd::Zero(static_cast<Eigen::Index>(plain.size()), count);
  for (int k = 0; k < count; ++k) {
    SurveyTruth truth = s.truth;
    disturb(truth, bound, bound.half_width * Eigen::VectorXd::Unit(count, k), frame);
    const std::vector<JudgedValue> shifted = values_of(truth);
    for (std::size_t i = 0; i < plain.size() && i < shifted.size(); ++i) {
      response(static_cast<Eigen::Index>(i), k) =
          (shifted[i].error - plain[i].error) / bound.half_width;
    }
  }
  WorstCase worst;
  worst.components = Eigen::VectorXd::Zero(count);
  for (std::size_t i = 0; i < plain.size(); ++i) {
    const Eigen::VectorXd along = response.row(static_cast<Eigen::Index>(i)).transpose();
    const Eigen::VectorXd most = worst_components(bound, along);
    const auto known = expected.find(text_of(plain[i].name));
    if (known == expected.end() || !(known->second.U95_absolute > 0.0)) continue;
    const double shift = along.dot(most);
    const double in_U95 = shift / known->second.U95_absolute;
    if (in_U95 <= worst.shift_in_U95) continue;
    worst = {plain[i].name, in_U95, shift, 0.0, most};
  }
  SurveyTruth truth = s.truth;
  disturb(truth, bound, worst.components, frame);
  for (const JudgedValue& value : values_of(truth)) {
    if (value.name == worst.output) worst.counted = value.estimate.B_absolute;
  }
  return worst;
}

CoverageResult coverage(const Job& job, int surveys, std::uint64_t seed, int threads,
                        const CoverageOptions& options) {
  CoverageResult result;
  result.job = job.name;
  result.surveys = surveys;
  const std::map<std::string, Estimate> expected = predicted(job);
  const Scenario& s = job.scenario;
  Machine file = s.machine;
  if (options.file) options.file(file);
  std::vector<std::vector<JudgedValue>> all(surveys);
  std::mutex mutex;
  in_parallel(surveys, threads, [&](int k) {
    SurveyNoise noise = s.noise;
    noise.seed = seed_of(seed, k);
    if (options.draw_sigmas) noise = drawn_about(noise, file.sigma_dof);
    SurveyTruth truth = s.truth;
    if (options.draw_common) truth = drawn_truth(s.machine, truth, noise.seed);
    if (options.disturb) options.disturb(truth, k);
    const Survey survey = recorded(
        job,
        synthesise_survey(s.machine, truth, s.truth.state, s.stations, noise, Arrivals::one_side),
        truth);
    FitOptions fit_options;
    fit_options.screen = options.screening;
    const auto fit = fit_survey(file, survey, fit_options);
    if (!fit) return;
    all[k] = judged(*fit, survey, s.machine, truth);
    const std::lock_guard<std::mutex> lock(mutex);
    std::set<std::string> codes;
    for (const Finding& finding : fit->findings) {
      if (finding.severity != Severity::note) codes.insert(text_of(finding.code));
    }
    result.alarmed += codes.empty() ? 0 : 1;
    for (const std::string& code : codes) ++result.alarms[code];
  });
  std::map<std::string, CoverageRow> rows;
  std::vector<std::string> order;
  for (const auto& values : all) {
    if (values.empty()) {
      ++result.refused;
      continue;
    }
    for (const JudgedValue& value : values) {
      const std::string name = text_of(value.name);
      if (!rows.contains(name)) order.push_back(name);
      CoverageRow& row = rows[name];
      row.output = value.name;
      const double U95 = options.draw_common ? value.estimate.U95_absolute : value.estimate.U95;
      ++row.surveys;
      row.held += std::abs(value.error) <= U95;
      row.mean_error += value.error;
      row.spread += value.error * value.error;
      row.mean_U95 += U95;
    }
  }
  for (const std::string& name : order) {
    CoverageRow row = rows[name];
    row.mean_error /= row.surveys;
    row.mean_U95 /= row.surveys;
    row.spread = std::sqrt(row.spread / row.surveys - row.mean_error * row.mean_error);
    if (const auto known = expected.find(name); known != expected.end()) {
      row.bound = options.draw_common ? known->second.u_absolute : known->second.u;
    }
    result.rows.push_back(row);
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
    const Survey clean =
        synthesise_survey(job.scenario.machine, job.scenario.truth, job.scenario.truth.state,
                          job.scenario.stations, noise, Arrivals::one_side);
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
