#include <memory>
#include <ostream>

#include "app/next_step.h"
#include "app/refusal.h"
#include "app/verbs.h"
#include "pivotrace/formats/limits_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/report/judge_text.h"

namespace pivotrace::app {

namespace {

struct JudgeArguments {
  std::string result_file;
  std::string limits_file;
  std::string previous_file;
  std::string output;
  bool allow_other_machine = false;
  bool json = false;
};

ExitCode run(const JudgeArguments& arguments, const Console& console) {
  const auto result = read_result(arguments.result_file, console.disk);
  if (!result) return refuse(console, result.error());
  const auto limits = read_limits(arguments.limits_file, console.disk);
  if (!limits) return refuse(console, limits.error());
  JudgeInputs inputs;
  inputs.allow_other_machine = arguments.allow_other_machine;
  Expected<FitResult> previous;
  if (!arguments.previous_file.empty()) {
    previous = read_result(arguments.previous_file, console.disk);
    if (!previous) return refuse(console, previous.error());
    inputs.previous = &*previous;
  }
  const auto report = judge(*result, *limits, inputs);
  if (!report) return refuse(console, report.error());
  const auto delivered =
      deliver(console, arguments.output,
              arguments.json ? judge_json(*result, *report) : judge_text(*result, *report));
  if (!delivered) return refuse(console, delivered.error());
  if (!arguments.json) {
    if (report->verdict == Verdict::conforms) {
      say_next(console, {"write", arguments.result_file, "--list"});
    } else {
      say_next(console, {"report", arguments.result_file, "--limits", arguments.limits_file, "-o",
                         beside(arguments.result_file, ".html")});
    }
  }
  return report->verdict == Verdict::conforms ? ExitCode::good : ExitCode::not_good;
}

}  // namespace

void add_judge_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<JudgeArguments>();
  CLI::App* verb = app.add_subcommand(
      "judge",
      "Judge a result against limits, uncertainty counted (ISO 14253-1), and say what it "
      "does to parts");
  verb->footer(
      "Example:\n"
      "  pivotrace judge fourth-axis.result.json --limits fourth-axis.limits.toml\n"
      "Each limit ends in one of three: conforms, does not conform, or not proven, with what "
      "would\n"
      "settle it. Exit code 0: everything conforms; 1: something does not, or is not proven.");
  verb->add_option("RESULT", arguments->result_file, "result of 'pivotrace fit' (*.result.json)")
      ->type_name("FILE")
      ->required();
  verb->add_option("--limits", arguments->limits_file, "limits (*.limits.toml)")
      ->type_name("FILE")
      ->required();
  verb->add_option("--previous", arguments->previous_file,
                   "earlier result, for limits on change and as the old values of parts")
      ->type_name("FILE");
  verb->add_flag("--allow-other-machine", arguments->allow_other_machine,
                 "judge although limits or earlier result are of another machine");
  verb->add_option("-o,--output", arguments->output, "write to this file, not to the screen")
      ->type_name("FILE");
  verb->add_flag("--json", arguments->json, "print the judgement as JSON");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
