#include <memory>
#include <ostream>

#include "app/clock.h"
#include "app/next_step.h"
#include "app/refusal.h"
#include "app/verbs.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/limits_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/pivots/judge.h"
#include "pivotrace/pivots/part_steps.h"
#include "pivotrace/report/result_page.h"

namespace pivotrace::app {

namespace {

struct ReportArguments {
  std::string result_file;
  std::string limits_file;
  std::string previous_file;
  std::string output;
  std::string units = "mm";
  bool allow_other_machine = false;
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

ExitCode run(const ReportArguments& arguments, const Console& console) {
  const auto text = read_file(arguments.result_file, console.disk, result_read_limit_bytes);
  if (!text) return refuse(console, text.error());
  const auto result = parse_result(*text, arguments.result_file);
  if (!result) return refuse(console, result.error());
  ResultPageOptions options;
  options.unit = length_unit(arguments.units);
  options.file = arguments.result_file;
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
  const auto delivered = deliver(console, arguments.output, result_page(*result, options));
  if (!delivered) return refuse(console, delivered.error());
  if (!arguments.output.empty() && arguments.output != "-") {
    console.err << "wrote " << arguments.output << ": open it in a browser\n";
    if (result->usable) {
      say_next(console, {"write", arguments.result_file, "--list"});
    } else {
      say_next(console, {"help", "findings"});
    }
  }
  return code_of(*result, options.judged);
}

}  // namespace

void add_report_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<ReportArguments>();
  CLI::App* verb =
      app.add_subcommand("report", "A page to look at, print and sign: values, figures, findings");
  verb->footer(
      "Example:\n"
      "  pivotrace report fourth-axis.result.json --limits fourth-axis.limits.toml -o report.html\n"
      "One file that opens in any browser, without network or scripts.\n"
      "Exit code 1: the page is written, but the result is not usable or not within its limits.");
  verb->add_option("RESULT", arguments->result_file, "result of 'pivotrace fit' (*.result.json)")
      ->type_name("FILE")
      ->required();
  verb->add_option("--limits", arguments->limits_file,
                   "draw the values against these limits (*.limits.toml)")
      ->type_name("FILE");
  verb->add_option("--previous", arguments->previous_file,
                   "with --limits: earlier result, for limits on change")
      ->type_name("FILE");
  verb->add_flag("--allow-other-machine", arguments->allow_other_machine,
                 "judge although limits or earlier result are of another machine");
  verb->add_option("--units", arguments->units, "mm or inch")
      ->check(CLI::IsMember({"mm", "inch"}))
      ->capture_default_str();
  verb->add_option("-o,--output", arguments->output, "write to this file, not to the screen")
      ->type_name("FILE");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
