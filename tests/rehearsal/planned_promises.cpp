#include "rehearsal/planned_promises.h"

#include <algorithm>

#include "pivotrace/estimate/fit.h"
#include "pivotrace/machine/motion_time.h"
#include "pivotrace/plan/find_plan.h"
#include "pivotrace/report/rehearsal_text.h"
#include "pivotrace/results/beside_truth.h"
#include "pivotrace/survey/disturbances.h"
#include "pivotrace/survey/random_stream.h"

namespace pivotrace::test {

namespace {

double minutes_of_run(const RehearsalReport& report) {
  return (report.seconds + control_s_per_move * report.moves) / 60.0;
}

void draw_what_is_stated(const Machine& machine, RandomStream& random, SurveyTruth& truth) {
  for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
    truth.state.artefacts[a].radius_mm +=
        0.5 * machine.artefacts[a].diameter_u_mm.value_or(0.0) * random.normal();
  }
  truth.state.stylus_radius_mm +=
      0.5 * machine.probe.stylus_diameter_u_mm.value_or(0.0) * random.normal();
  for (int k = 0; k < 3; ++k) {
    truth.state.stylus_offset_mm[k] += machine.probe.offset_u_mm[k] * random.normal();
    truth.linear_error(k, k) +=
        machine.linear.scale_u[static_cast<std::size_t>(k)] * random.normal();
  }
  truth.linear_error(0, 1) += machine.linear.squareness_u_rad[0] * random.normal();
  truth.linear_error(1, 2) += machine.linear.squareness_u_rad[1] * random.normal();
  truth.linear_error(0, 2) += machine.linear.squareness_u_rad[2] * random.normal();
}

/// A bound of scale or squareness is in force only where no standard uncertainty is stated.
bool stated_instead(const Machine& machine, BoundKind kind) {
  const auto any = [](const std::array<double, 3>& sizes) {
    return std::ranges::any_of(sizes, [](double u) { return u != 0.0; });
  };
  return (kind == BoundKind::scale && any(machine.linear.scale_u)) ||
         (kind == BoundKind::squareness && any(machine.linear.squareness_u_rad));
}

PromisedValue& value_named(KeptPromises& kept, const ValueName& name) {
  const auto known = std::ranges::find(kept.values, name, &PromisedValue::name);
  if (known != kept.values.end()) return *known;
  kept.values.push_back({name});
  return kept.values.back();
}

void count(const DemoLoop& loop, const RehearsalTruth& truth, const RehearsalReport& report,
           KeptPromises& kept) {
  const Expected<Survey> survey = survey_of(loop, report);
  const Expected<FitResult> fit =
      survey.and_then([&](const Survey& touched) { return fit_survey(loop.machine, touched); });
  if (!report.passed || !fit) {
    kept.refused.push_back(report.passed ? all_of(fit.error())
                                         : rehearsal_text(report, loop.machine));
    return;
  }
  for (const ValueBesideTruth& beside : beside_truth(*fit, *survey, loop.machine, truth)) {
    const auto predicted =
        std::ranges::find(loop.plan.predicted, beside.name, &PredictedOutput::name);
    if (predicted == loop.plan.predicted.end()) continue;
    PromisedValue& value = value_named(kept, beside.name);
    value.predicted_U95 = predicted->U95_absolute;
    ++value.surveys;
    value.held += beside.held() ? 1 : 0;
    value.mean_U95 += beside.U95;
  }
}

}  // namespace

double KeptPromises::share_held() const {
  int all = 0, held = 0;
  for (const PromisedValue& value : values) {
    all += value.surveys;
    held += value.held;
  }
  return all == 0 ? 0.0 : static_cast<double>(held) / all;
}

double KeptPromises::least_reached() const {
  return std::ranges::min(values, {}, &PromisedValue::reached).reached();
}

double KeptPromises::most_reached() const {
  return std::ranges::max(values, {}, &PromisedValue::reached).reached();
}

RehearsalTruth drawn_truth(const DemoLoop& loop, std::uint64_t seed) {
  const Machine& machine = loop.machine;
  RehearsalTruth truth = nominal_truth(machine);
  RandomStream random(seed, 1414);
  const auto somewhere = [&](double size) -> Eigen::Vector3d {
    return size * Eigen::Vector3d(random.normal(), random.normal(), random.normal());
  };
  for (Line& line : truth.survey.state.axis_lines) {
    line.point_mm += somewhere(0.03);
    line.direction = (line.direction + somewhere(1e-4)).normalized();
  }
  for (ArtefactPlace& place : truth.survey.state.artefacts) place.point_mm += somewhere(0.1);
  const SurveyFrame frame = [&] {
    SurveyFrame whole = frame_of(machine, nominal_survey(machine, loop.plan));
    whole.hours = loop.plan.minutes / 60.0;
    return whole;
  }();
  truth.survey.linear_origin_mm = frame.slides_origin_mm;
  draw_what_is_stated(machine, random, truth.survey);
  for (const Bound& bound : bounds_in_force(machine)) {
    // What lies between two surveys is no error of one.
    if (bound.kind == BoundKind::between_surveys || stated_instead(machine, bound.kind)) continue;
    disturb(truth.survey, bound, drawn_components(bound, random), frame);
  }
  return truth;
}

KeptPromises kept_promises(const DemoLoop& loop, int surveys, std::uint64_t seed, Sigmas sigmas) {
  KeptPromises kept;
  kept.planned_minutes = loop.plan.minutes;
  kept.surveys = surveys;
  RehearsalOptions options = options_for(loop);
  const auto run = [&](const RehearsalTruth& truth) {
    return rehearse(loop.program.text, "promised.nc", loop.machine, loop.sheet, truth, options)
        .value();
  };
  kept.rehearsed_minutes = minutes_of_run(run(moved_truth(loop.machine)));
  for (int k = 0; k < surveys; ++k) {
    const std::uint64_t one = seed + static_cast<std::uint64_t>(k);
    const SurveyNoise stated = stated_noise(loop.machine, one);
    options.noise = sigmas == Sigmas::exact ? stated : drawn_about(stated, loop.machine.sigma_dof);
    const RehearsalTruth truth = drawn_truth(loop, one);
    count(loop, truth, run(truth), kept);
  }
  for (PromisedValue& value : kept.values) value.mean_U95 /= std::max(1, value.surveys);
  return kept;
}

DemoLoop searched_loop(const Machine& machine, Purpose purpose) {
  const PlanOutcome outcome = find_plan(machine, request_for(purpose, machine)).value();
  const ControlSheet sheet = read_control_sheet(in_source("routines/demo-control.toml")).value();
  const EmittedProgram program = make_program(machine, outcome.plan, sheet, {}).value();
  return {machine, sheet, outcome.plan, program};
}

}  // namespace pivotrace::test
