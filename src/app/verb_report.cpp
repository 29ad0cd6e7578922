#include <memory>
#include <ostream>

#include "app/check.h"
#include "app/clock.h"
#include "app/followed_limits.h"
#include "app/next_step.h"
#include "app/plan_report.h"
#include "app/refusal.h"
#include "app/result_folder.h"
#include "app/result_trials.h"
#include "app/verbs.h"
#include "app/version.h"
#include "pivotrace/disk/file_name.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/limits_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/pivots/judge.h"
#include "pivotrace/pivots/part_steps.h"
#include "pivotrace/report/change_page.h"
#include "pivotrace/report/result_page.h"

namespace pivotrace::app {

namespace {

struct ReportArguments {
  std::vector<std::string> files;
  std::string limits_file;
  std::string previous_file;
  std::string output;
  std::string units;  ///< empty: those of the machine file
  double within_mm = 0.0;
  int trials = 0;  ///< 0 = none
  std::uint64_t seed = 1;
  PlanReport plan;
  bool allow_other_machine = false;

  const std::string& result_file() const { return files.front(); }
};

/// The limits a page is drawn against, and what they say of the result.
struct Judged {
  Limits limits;
  JudgeReport report;
};

Expected<Judged> judged_by(const ReportArguments& arguments, const FitResult& result,
                           FileCalls& disk) {
  Judged judged;
  const auto limits = read_limits(arguments.limits_file, disk);
  if (!limits) return tl::make_unexpected(limits.error());
  judged.limits = *limits;
  JudgeInputs inputs;
  inputs.allow_other_machine = arguments.allow_other_machine;
  Expected<FitResult> previous;
  if (!arguments.previous_file.empty()) {
    previous = read_result(arguments.previous_file, disk);
    if (!previous) return tl::make_unexpected(previous.error());
    inputs.previous = &*previous;
  }
  const auto report = judge(result, judged.limits, inputs);
  if (!report) return tl::make_unexpected(report.error());
  judged.report = *report;
  return judged;
}

ExitCode code_of(const FitResult& result, const JudgeReport* judged) {
  const bool good = result.usable && (judged == nullptr || judged->verdict == Verdict::conforms);
  return good ? ExitCode::good : ExitCode::not_good;
}

/// A page is no text for a screen: what keeps it.
std::vector<std::string> kept_words(const ReportArguments& arguments) {
  std::vector<std::string> words = {"report"};
  words.insert(words.end(), arguments.files.begin(), arguments.files.end());
  words.insert(words.end(), {"-o", beside(arguments.result_file(), ".html")});
  return words;
}

void say_written(const ReportArguments& arguments, const Console& console,
                 const std::vector<std::string>& next) {
  if (!is_kept(arguments.output)) {
    if (arguments.output.empty()) say_next(console, kept_words(arguments));
    return;
  }
  console.err << "wrote " << arguments.output << ": open it in a browser\n";
  say_next(console, next);
}

ExitCode report_result(const ReportArguments& arguments, const Console& console) {
  const auto text = read_file(arguments.result_file(), console.disk, result_read_limit_bytes);
  if (!text) return refuse(console, text.error());
  const auto result = parse_result(*text, arguments.result_file());
  if (!result) return refuse(console, result.error());
  ResultPageOptions options;
  options.unit = length_unit(arguments.units, *result);
  options.file = arguments.result_file();
  options.sha256 = sha256_hex(*text);
  options.date = utc_now();
  Expected<Judged> judged;
  // A result that is not usable is judged by nobody, but its page is what shows why.
  if (!arguments.limits_file.empty() && result->usable) {
    judged = judged_by(arguments, *result, console.disk);
    if (!judged) return refuse(console, judged.error());
    options.judged = &judged->report;
    if (judged->limits.part) {
      const auto positions = part_positions(*result, *judged->limits.part);
      if (!positions) return refuse(console, positions.error());
      options.part = &*judged->limits.part;
      options.positions = *positions;
    }
  }
  if (arguments.trials > 0) {
    const auto spreads = spreads_of(*result, {arguments.trials, arguments.seed}, console);
    if (!spreads) return refuse(console, spreads.error());
    options.trials = *spreads;
  }
  const auto delivered = deliver(console, arguments.output, result_page(*result, options));
  if (!delivered) return refuse(console, delivered.error());
  if (result->usable) {
    say_written(arguments, console, {"write", arguments.result_file(), "--list"});
  } else {
    say_written(arguments, console, {"help", "findings"});
  }
  return code_of(*result, options.judged);
}

ChangePageOptions page_options() {
  ChangePageOptions options;
  options.date = utc_now();
  options.version = version;
  return options;
}

/// A result and the hash of its bytes, as the page names them.
Expected<FitResult> listed_result(const std::string& role, const std::string& file,
                                  ChangePageOptions& options, FileCalls& disk) {
  const auto text = read_file(file, disk, result_read_limit_bytes);
  if (!text) return tl::make_unexpected(text.error());
  options.files.push_back({role, file, sha256_hex(*text)});
  return parse_result(*text, file);
}

ExitCode report_comparison(const ReportArguments& arguments, const Console& console) {
  ChangePageOptions options = page_options();
  const auto before = listed_result("old result", arguments.files[0], options, console.disk);
  if (!before) return refuse(console, before.error());
  const auto after = listed_result("new result", arguments.files[1], options, console.disk);
  if (!after) return refuse(console, after.error());
  CompareOptions how;
  how.allow_other_machine = arguments.allow_other_machine;
  if (arguments.within_mm > 0.0) how.within_mm = arguments.within_mm;
  const auto rooms = followed_limits(arguments.limits_file, after->machine_name,
                                     arguments.allow_other_machine, console);
  if (!rooms) return refuse(console, rooms.error());
  how.rooms = *rooms;
  const auto comparison = compare(*before, *after, how);
  if (!comparison) return refuse(console, comparison.error());
  options.unit = length_unit(arguments.units, *after);
  const auto delivered = deliver(console, arguments.output, comparison_page(*comparison, options));
  if (!delivered) return refuse(console, delivered.error());
  say_written(arguments, console, {"compare", arguments.files[0], arguments.files[1]});
  return comparison->moved.value_or(false) ? ExitCode::not_good : ExitCode::good;
}

/// "2025-07-06" of a date and time.
constexpr std::size_t date_letters = 10;

ExitCode report_history(const ReportArguments& arguments, const Console& console) {
  ChangePageOptions options = page_options();
  HistoryOptions how;
  if (arguments.within_mm > 0.0) how.within_mm = arguments.within_mm;
  const auto followed = history_of(arguments.files, {"", arguments.limits_file}, how, console);
  if (!followed) return refuse(console, followed.error());
  const History& history = followed->history;
  options.unit = arguments.units.empty() ? followed->unit : length_unit(arguments.units);
  for (const Epoch& epoch : history.epochs) {
    options.files.push_back({epoch.started.substr(0, date_letters),
                             epoch.file + ", hash of its touches", epoch.touches_hash});
  }
  const auto delivered = deliver(console, arguments.output, history_page(history, options));
  if (!delivered) return refuse(console, delivered.error());
  std::vector<std::string> next = {"history"};
  next.insert(next.end(), arguments.files.begin(), arguments.files.end());
  say_written(arguments, console, next);
  return history.alarmed() ? ExitCode::not_good : ExitCode::good;
}

PlanReport plan_report(const ReportArguments& arguments) {
  PlanReport report = arguments.plan;
  report.plan_file = arguments.files.front();
  report.units = arguments.units;
  report.output = arguments.output;
  return report;
}

bool is_plan(const std::string& file, FileCalls& disk) {
  return kind_of_file(file, disk) == "plan";
}

ExitCode run(const ReportArguments& arguments, const Console& console) {
  std::error_code failed;
  const bool folder = std::filesystem::is_directory(path_of(arguments.files.front()), failed);
  const bool alone = arguments.files.size() == 1 && !folder;
  if (!alone && !arguments.previous_file.empty()) {
    return refuse(console, Problems{{ProblemNumber::bad_argument,
                                     "--previous is for the page of one result",
                                     {},
                                     "name one result, or leave --previous out"}});
  }
  if (alone && is_plan(arguments.files.front(), console.disk)) {
    return report_plan(plan_report(arguments), console);
  }
  if (!arguments.plan.program_file.empty() || !arguments.plan.control.empty()) {
    return refuse(console, {{ProblemNumber::bad_argument,
                             "--program and --control are for the page of one plan",
                             {},
                             "name the plan: pivotrace report my.plan.toml --program probe.nc "
                             "--control ngc -o plan.html"}});
  }
  if (alone) return report_result(arguments, console);
  if (arguments.files.size() == 2 && !folder) return report_comparison(arguments, console);
  return report_history(arguments, console);
}

void add_plan_options(CLI::App* verb, ReportArguments& arguments) {
  verb->add_option("--program", arguments.plan.program_file,
                   "of a plan: its program, to be rehearsed on the page")
      ->type_name("FILE");
  verb->add_option("--control", arguments.plan.control,
                   "the control sheet it is written with: its name, or its file")
      ->type_name("SHEET");
  verb->add_option("--truth", arguments.plan.truth_file,
                   "rehearse on a machine that is so (*.truth.toml); default: as its file says")
      ->type_name("FILE");
  verb->add_option("--machine", arguments.plan.machine_file,
                   "machine file, if not the one the plan names")
      ->type_name("FILE");
}

}  // namespace

void add_report_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<ReportArguments>();
  CLI::App* verb =
      app.add_subcommand("report", "A page to look at, print and sign: values, figures, findings");
  verb->footer(
      "Example:\n"
      "  pivotrace report fourth-axis.result.json --limits fourth-axis.limits.toml -o report.html\n"
      "  pivotrace report before.result.json after.result.json -o moved.html\n"
      "  pivotrace report results/ --within 0.010 -o history.html\n"
      "  pivotrace report my.plan.toml --program probe.nc --control ngc -o plan.html\n"
      "One result is shown whole; of two, the older first, what moved; of more, or of a folder,\n"
      "every value over time; of a plan, what it promises, the set-up, and the rehearsal of its\n"
      "program. One file that opens in any browser, without network or scripts.\n"
      "Exit code 1: the page is written, but the result is not usable or not within its limits,\n"
      "something moved, jumped or creeps, or the program did not pass.");
  verb->add_option("RESULT", arguments->files,
                   "results of 'pivotrace fit' (*.result.json), a folder of them, or a plan")
      ->type_name("FILE")
      ->required()
      ->expected(1, -1);
  verb->add_option("--trials", arguments->trials,
                   "of one: repeat the survey so often on paper, and draw it beside what is stated")
      ->check(CLI::Range(100, 100000));
  verb->add_option("--seed", arguments->seed,
                   "seed of the trials; the same seed, the same numbers");
  add_plan_options(verb, *arguments);
  verb->add_option("--within", arguments->within_mm,
                   "of two or more: a change that does no harm, mm; leans over 300 mm")
      ->check(CLI::PositiveNumber);
  verb->add_option("--limits", arguments->limits_file,
                   "draw the values against these limits (*.limits.toml)")
      ->type_name("FILE");
  verb->add_option("--previous", arguments->previous_file,
                   "with --limits: earlier result, for limits on change")
      ->type_name("FILE");
  verb->add_flag("--allow-other-machine", arguments->allow_other_machine,
                 "judge although limits or earlier result are of another machine");
  verb->add_option("--units", arguments->units, "mm or inch; those of the machine file if absent")
      ->check(CLI::IsMember({"mm", "inch"}));
  verb->add_option("-o,--output", arguments->output, "write to this file, not to the screen")
      ->type_name("FILE");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
