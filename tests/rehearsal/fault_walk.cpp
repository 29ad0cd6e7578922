#include "rehearsal/fault_walk.h"

#include <fmt/format.h>

#include <cmath>

#include "pivotrace/estimate/fit.h"
#include "pivotrace/geometry/line.h"

namespace pivotrace::test {

namespace {

/// How far from the safe height a retracted program may stand: emitted decimals.
constexpr double retracted_mm = 0.001;

bool holds_truth(const FitResult& fit, const RehearsalTruth& truth, const Machine& machine) {
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    const AxisResult& axis = fit.axes[i];
    if (!axis.estimated) continue;
    const Line& line = truth.survey.state.axis_lines[i];
    for (const NamedEstimate& named : axis.centre) {
      const Eigen::Vector3d pierced =
          pierce_plane(line, machine.rotary[i].direction, axis.quoted_at_mm);
      const double error = named.estimate.value - pierced[component(named.name)];
      if (std::fabs(error) > named.estimate.U95_absolute) return false;
    }
  }
  return true;
}

bool is_doubted(const FitResult& fit) {
  if (!fit.usable) return true;
  for (const Finding& finding : fit.findings) {
    if (finding.severity != Severity::note) return true;
  }
  return false;
}

/// What is wrong with the end of one rehearsal; empty when it is as it must be.
std::string judge_end(const DemoLoop& loop, const RehearsalTruth& truth,
                      const RehearsalReport& report, FaultWalk& walk) {
  if (!report.violations.empty()) {
    return fmt::format("line {}: {}", report.violations.front().moment.line,
                       report.violations.front().text);
  }
  if (report.run.end == ProgramEnd::alarm) {
    const double height = report.end.shown_mm.z();
    const bool can_retract = loop.sheet.branches.can_jump();
    if (can_retract && std::fabs(height - loop.plan.distances.safe_height) > retracted_mm) {
      return fmt::format("stopped at Z {:.3f}, not retracted", height);
    }
    ++walk.stopped;
    return "";
  }
  // The virtual operator, asked to look, saw the wrong angle.
  if (report.run.end == ProgramEnd::machine) return ++walk.stopped, "";
  if (report.run.end != ProgramEnd::finished)
    return "neither stopped nor ended: " + all_of(report.run.problems);
  const Expected<Survey> survey = survey_of(loop, report);
  if (!survey) return ++walk.recognised, "";
  const Expected<FitResult> fit = fit_survey(loop.machine, *survey);
  if (!fit || is_doubted(*fit)) return ++walk.recognised, "";
  if (!holds_truth(*fit, truth, loop.machine)) return "ended, and the fit is wrong without a word";
  ++walk.without_harm;
  return "";
}

}  // namespace

FaultWalk walk_faults(const DemoLoop& loop, const RehearsalTruth& truth, int first, int step) {
  FaultWalk walk;
  RehearsalOptions options = options_for(loop);
  const auto run = [&] {
    return rehearse(loop.program.text, "demo.nc", loop.machine, loop.sheet, truth, options).value();
  };
  const int touches = static_cast<int>(run().touches.size());
  for (const FaultKind kind :
       {FaultKind::no_trigger, FaultKind::early_trigger, FaultKind::moved_artefact,
        FaultKind::wrong_turn, FaultKind::index_slip}) {
    const bool from_the_start = kind != FaultKind::no_trigger && kind != FaultKind::early_trigger;
    for (int touch = from_the_start ? first - 1 : first; touch <= touches; touch += step) {
      options.fault = Fault{kind, touch};
      const std::string why = judge_end(loop, truth, run(), walk);
      ++walk.rehearsals;
      if (!why.empty()) walk.unsafe.push_back({*options.fault, why});
    }
  }
  return walk;
}

}  // namespace pivotrace::test
