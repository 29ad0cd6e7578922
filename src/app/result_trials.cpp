#include "app/result_trials.h"

#include <algorithm>
#include <optional>

#include "app/progress.h"
#include "app/result_inputs.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/estimate/trials.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/parameter_file.h"
#include "pivotrace/formats/plan_file.h"
#include "pivotrace/formats/touch_file.h"

namespace pivotrace::app {

namespace {

/// What stands in a file a result came from, as it was then: other touches would be another survey.
Expected<std::string> contents_of(const InputFile& input, FileCalls& disk) {
  Expected<std::string> text = read_file(input.file, disk);
  if (!text || sha256_hex(*text) == input.sha256) return text;
  return failure({ProblemNumber::bad_argument,
                  "--trials: this file was changed since the fit",
                  {input.file, 0, 0},
                  "fit it again, then report the new result"});
}

tl::unexpected<Problems> unnamed(const char* role) {
  return failure(
      {ProblemNumber::bad_argument,
       std::string("--trials: the result does not name the ") + role + " file it came from",
       {},
       "fit again with this version"});
}

/// What a fit was asked to solve for as well: not what it always solves for, as the zero of an indicator.
std::optional<OptionalUnknown> asked_for(EffectKind kind) {
  switch (kind) {
    case EffectKind::drift: return OptionalUnknown::drift;
    case EffectKind::stylus_offset: return OptionalUnknown::stylus_offset;
    case EffectKind::lobing: return OptionalUnknown::lobing;
    case EffectKind::reversal: return OptionalUnknown::reversal;
    case EffectKind::squareness: return OptionalUnknown::squareness;
    case EffectKind::scale: return OptionalUnknown::scale;
    default: return std::nullopt;
  }
}

FitOptions fit_options_of(const FitResult& result) {
  FitOptions options;
  for (const EffectResult& effect : result.effects) {
    const auto unknown = asked_for(effect.name.kind);
    if (!unknown || std::ranges::find(options.unknowns, *unknown) != options.unknowns.end()) {
      continue;
    }
    options.unknowns.push_back(*unknown);
  }
  return options;
}

/// The touches of a result, by the plan where they came as a listing of variables.
Expected<Survey> survey_of(const FitResult& result, const Machine& machine, FileCalls& disk) {
  const InputFile* touches = input_named(result, "touches");
  if (touches == nullptr) return unnamed("touches");
  const auto touch_text = contents_of(*touches, disk);
  if (!touch_text) return tl::make_unexpected(touch_text.error());
  const InputFile* plan = input_named(result, "plan");
  if (plan == nullptr) return parse_survey(*touch_text, touches->file, machine);
  const auto plan_text = contents_of(*plan, disk);
  if (!plan_text) return tl::make_unexpected(plan_text.error());
  const auto planned = parse_plan(*plan_text, plan->file, machine);
  if (!planned) return tl::make_unexpected(planned.error());
  return parse_planned_touches(*touch_text, touches->file, machine, *planned);
}

}  // namespace

Expected<std::vector<TrialSpread>> spreads_of(const FitResult& result, const TrialRequest& request,
                                              const Console& console) {
  const InputFile* machine_file = input_named(result, "machine");
  if (machine_file == nullptr) return unnamed("machine");
  const auto machine_text = contents_of(*machine_file, console.disk);
  if (!machine_text) return tl::make_unexpected(machine_text.error());
  const auto machine = parse_machine(*machine_text, machine_file->file);
  if (!machine) return tl::make_unexpected(machine.error());
  const auto survey = survey_of(result, *machine, console.disk);
  if (!survey) return tl::make_unexpected(survey.error());
  std::vector<TrialSpread> spreads;
  TrialOptions options;
  options.trials = request.trials;
  options.seed = request.seed;
  ProgressLine line(console, "repeating the survey", "trials",
                    static_cast<std::size_t>(options.trials));
  options.progress = [&line](int done) { line.show(static_cast<std::size_t>(done)); };
  options.each_output = [&spreads](const ValueName& name, const Eigen::VectorXd& values) {
    spreads.push_back({name, {values.data(), values.data() + values.size()}});
  };
  const auto done = run_trials(*machine, *survey, fit_options_of(result), options);
  line.clear();
  if (!done) return tl::make_unexpected(done.error());
  for (std::size_t k = 0; k < spreads.size(); ++k) {
    for (double& deviation : spreads[k].deviations) deviation -= done->outputs[k].value;
  }
  return spreads;
}

}  // namespace pivotrace::app
