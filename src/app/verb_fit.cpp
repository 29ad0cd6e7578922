#include <map>
#include <memory>
#include <ostream>

#include "app/clock.h"
#include "app/next_step.h"
#include "app/progress.h"
#include "app/verbs.h"
#include "app/version.h"
#include "base/iso_time.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/estimate/trials.h"
#include "pivotrace/formats/conditions_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/parameter_file.h"
#include "pivotrace/formats/plan_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/formats/touch_file.h"
#include "pivotrace/formats/truth_file.h"
#include "pivotrace/report/beside_truth_text.h"
#include "pivotrace/report/finding_words.h"
#include "pivotrace/report/fit_sheet.h"
#include "pivotrace/results/beside_truth.h"

namespace pivotrace::app {

namespace {

struct FitArguments {
  std::string machine_file;
  std::string touch_file;
  std::string plan_file;
  std::string result_file;
  std::string truth_file;
  std::string started;  ///< ISO 8601; empty: as the record says
  bool json = false;
  bool every_touch = false;
  bool keep_all = false;
  int trials = 0;  ///< 0 = none
  TrialOptions trial_options;
  std::vector<std::string> unknowns;
};

const std::map<std::string, OptionalUnknown>& unknowns_by_word() {
  static const std::map<std::string, OptionalUnknown> words = [] {
    std::map<std::string, OptionalUnknown> by_word;
    for (const OptionalUnknown unknown :
         {OptionalUnknown::drift, OptionalUnknown::stylus_offset, OptionalUnknown::lobing,
          OptionalUnknown::reversal, OptionalUnknown::squareness, OptionalUnknown::scale}) {
      by_word[optional_unknown_word(unknown)] = unknown;
    }
    return by_word;
  }();
  return words;
}

FitOptions fit_options(const FitArguments& arguments) {
  FitOptions options;
  options.screen = !arguments.keep_all;
  for (const std::string& word : arguments.unknowns) {
    options.unknowns.push_back(unknowns_by_word().at(word));
  }
  return options;
}

/// What is fitted, and the files it came from: hashed as they were read, so that the hash is that of
/// the very bytes behind the result.
struct FitInput {
  Machine machine;
  Survey survey;
  std::vector<InputFile> files;
  Conditions conditions;
};

/// The day somebody typed, in the place of what the record says.
Expected<void> dated(Survey& survey, const std::string& started) {
  if (started.empty()) return {};
  if (!seconds_from_iso(started)) {
    return failure({ProblemNumber::bad_argument,
                    "--started is \"" + started + "\", which is no date and time",
                    {},
                    "type year-month-day and the time, for example --started 2026-03-05T14:30:00"});
  }
  survey.started = started;
  return {};
}

/// A touch record, or the parameter file of a control that keeps its touches there.
Expected<Survey> touches_in(const std::string& text, const FitArguments& arguments,
                            const Machine& machine, FileCalls& disk) {
  if (arguments.plan_file.empty()) return parse_survey(text, arguments.touch_file, machine);
  const Expected<PlanOnMachine> planned =
      read_plan(arguments.plan_file, arguments.machine_file, disk);
  if (!planned) return tl::make_unexpected(planned.error());
  return parse_planned_touches(text, arguments.touch_file, machine, planned->plan);
}

Expected<FitInput> read_input(const FitArguments& arguments, FileCalls& disk) {
  const Expected<std::string> machine_text = read_file(arguments.machine_file, disk);
  if (!machine_text) return tl::make_unexpected(machine_text.error());
  Expected<Machine> machine = parse_machine(*machine_text, arguments.machine_file);
  if (!machine) return tl::make_unexpected(machine.error());
  const Expected<std::string> touch_text = read_file(arguments.touch_file, disk);
  if (!touch_text) return tl::make_unexpected(touch_text.error());
  Expected<Survey> survey = touches_in(*touch_text, arguments, *machine, disk);
  if (!survey) return tl::make_unexpected(survey.error());
  const auto day = dated(*survey, arguments.started);
  if (!day) return tl::make_unexpected(day.error());
  const auto usual = conditions_of_machine(*machine_text, arguments.machine_file);
  if (!usual) return tl::make_unexpected(usual.error());
  FitInput input{std::move(*machine),
                 std::move(*survey),
                 {{"machine", arguments.machine_file, sha256_hex(*machine_text)},
                  {"touches", arguments.touch_file, sha256_hex(*touch_text)}},
                 overlaid(*usual, conditions_of_record(*touch_text))};
  if (arguments.plan_file.empty()) return input;
  const Expected<std::string> plan_text = read_file(arguments.plan_file, disk);
  if (!plan_text) return tl::make_unexpected(plan_text.error());
  input.files.push_back({"plan", arguments.plan_file, sha256_hex(*plan_text)});
  return input;
}

Expected<TrialsResult> with_progress(const Console& console, const Machine& machine,
                                     const Survey& survey, const FitArguments& arguments) {
  ProgressLine line(console, "repeating the survey", "trials",
                    static_cast<std::size_t>(arguments.trials));
  TrialOptions options = arguments.trial_options;
  options.trials = arguments.trials;
  options.progress = [&line](int done) { line.show(static_cast<std::size_t>(done)); };
  Expected<TrialsResult> result = run_trials(machine, survey, fit_options(arguments), options);
  line.clear();
  return result;
}

/// What stands in the files does not fit as single touches, but does as the centres of balls.
bool are_centres(const FitArguments& arguments, const FitInput& input) {
  const Survey& survey = input.survey;
  if (survey.touches.size() != survey.stations.size()) return false;
  Survey centres = survey;
  for (Touch& touch : centres.touches) {
    const Artefact& artefact = input.machine.artefacts[static_cast<std::size_t>(touch.artefact)];
    if (touch.kind == TouchKind::centre || touch.approach) return false;
    if (artefact.kind != ArtefactKind::ball) return false;
    touch.kind = TouchKind::centre;
  }
  const Expected<FitResult> result = fit_survey(input.machine, centres, fit_options(arguments));
  return result && result->usable;
}

/// A result that is kept is looked at; one that is not usable is explained.
std::vector<std::string> next_words(const FitArguments& arguments, const FitResult& result) {
  if (!result.usable) return {"help", "findings"};
  if (is_kept(arguments.result_file)) {
    return {"report", arguments.result_file, "-o", beside(arguments.result_file, ".html")};
  }
  std::vector<std::string> words = {"fit", arguments.machine_file, arguments.touch_file};
  if (!arguments.plan_file.empty()) words.insert(words.end(), {"--plan", arguments.plan_file});
  words.insert(words.end(), {"-o", beside(arguments.touch_file, ".result.json")});
  return words;
}

ExitCode run(const FitArguments& arguments, const Console& console) {
  const auto fail = [&](const Problems& problems) {
    console.report(problems);
    return exit_code_for(problems);
  };
  const Expected<FitInput> input = read_input(arguments, console.disk);
  if (!input) return fail(input.error());
  const Machine& machine = input->machine;
  const Survey& survey = input->survey;
  Expected<RehearsalTruth> truth;
  if (!arguments.truth_file.empty())
    truth = read_truth(arguments.truth_file, machine, console.disk);
  if (!truth) return fail(truth.error());
  Expected<FitResult> result = fit_survey(machine, survey, fit_options(arguments));
  if ((!result || !result->usable) && !arguments.json && are_centres(arguments, *input)) {
    console.err << "each row of " << arguments.touch_file
                << " is a ball centre, and the file does not say so; type this as its first line: "
                   "# kind: centre\n";
    return ExitCode::wrong_input;
  }
  if (!result) return fail(result.error());
  result->made = utc_now();
  result->version = version;
  result->inputs = input->files;
  result->conditions = input->conditions;
  Expected<TrialsResult> trials;
  if (arguments.trials > 0) {
    trials = with_progress(console, machine, survey, arguments);
    if (!trials) return fail(trials.error());
  }
  const std::string json = write_result(*result, words_of);
  if (!arguments.result_file.empty()) {
    const Expected<void> delivered = deliver(console, arguments.result_file, json);
    if (!delivered) return fail(delivered.error());
  }
  if (arguments.json) {
    console.out << json;
  } else if (arguments.result_file != "-") {
    console.out << fit_sheet(*result, {machine.inch, arguments.every_touch});
    if (arguments.trials > 0) console.out << '\n' << trials_sheet(*trials, *result, machine.inch);
    if (!arguments.truth_file.empty()) {
      console.out << '\n'
                  << beside_truth_text(beside_truth(*result, survey, machine, *truth),
                                       machine.inch);
    }
    if (!arguments.result_file.empty()) console.err << "wrote " << arguments.result_file << '\n';
    say_next(console, next_words(arguments, *result));
  }
  return result->usable ? ExitCode::good : ExitCode::not_good;
}

}  // namespace

void add_fit_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<FitArguments>();
  CLI::App* verb = app.add_subcommand(
      "fit", "Find the axis lines from a touch record and show them with their uncertainty");
  verb->footer(
      "Example:\n"
      "  pivotrace fit fourth-axis.machine.toml fourth-axis.touches.csv -o "
      "fourth-axis.result.json\n"
      "prints the inspection sheet and keeps the result for 'pivotrace write'.\n"
      "Exit code 1: fitted, but the sheet says why nothing may be written from it.\n"
      "Exit code 3: these touches cannot determine the axis; the message says what to add.");
  verb->add_option("MACHINE", arguments->machine_file, "machine file (*.machine.toml)")
      ->type_name("FILE")
      ->required();
  verb->add_option("TOUCHES", arguments->touch_file, "touch record (CSV)")
      ->type_name("FILE")
      ->required();
  verb->add_option(
          "--plan", arguments->plan_file,
          "the plan: TOUCHES is then the listing of the variables (the parameter file) in which "
          "a program without a log leaves its touches")
      ->type_name("FILE");
  verb->add_option("--started", arguments->started,
                   "when the touches were made, where the record does not say: "
                   "2026-03-05T14:30:00")
      ->type_name("TIME");
  verb->add_option("-o,--output", arguments->result_file, "also keep the whole result here (JSON)")
      ->type_name("FILE");
  verb->add_option("--truth", arguments->truth_file,
                   "after a rehearsal: also show every value beside this truth (*.truth.toml)")
      ->type_name("FILE");
  verb->add_flag("--json", arguments->json, "print the result as JSON instead of the sheet");
  verb->add_flag("--touches", arguments->every_touch, "list every touch with what is left over");
  verb->add_flag(
      "--keep-all", arguments->keep_all,
      "leave no touch out, however bad (default: leave out what is beyond doubt, and say so)");
  verb->add_option(
      "--trials", arguments->trials,
      "repeat the survey this often on paper (Monte Carlo) and compare with the stated U95");
  verb->get_option("--trials")->excludes("--json");
  verb->add_option("--seed", arguments->trial_options.seed,
                   "seed of the trials; the same seed, the same numbers")
      ->capture_default_str();
  verb->add_option("--threads", arguments->trial_options.threads,
                   "threads for the trials; 0 = all processors")
      ->capture_default_str();
  std::vector<std::string> words;
  for (const auto& [word, unknown] : unknowns_by_word()) words.push_back(word);
  verb->add_option("--with", arguments->unknowns,
                   "also solve for these, when the touches can carry it (comma-separated)")
      ->delimiter(',')
      ->check(CLI::IsMember(words));
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
