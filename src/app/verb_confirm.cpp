#include <map>
#include <memory>
#include <optional>
#include <ostream>

#include "app/control_sheets.h"
#include "app/fitted_record.h"
#include "app/followed_limits.h"
#include "app/next_step.h"
#include "app/refusal.h"
#include "app/verbs.h"
#include "base/cautions.h"
#include "pivotrace/cycle/make_program.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/confirm_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/plan_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/plan/plan_confirmation.h"
#include "pivotrace/report/confirm_text.h"
#include "pivotrace/report/plan_text.h"

namespace pivotrace::app {

namespace {

struct ConfirmArguments {
  std::string result_file;
  std::string new_file;
  std::string machine_file;
  std::string limits_file;
  std::string control;
  std::string program_file;
  std::string plan_file;
  std::string units;  ///< empty: those of the machine file
  std::string output;
  std::string cut_axis;
  std::vector<double> cut_at_deg;
  double step_mm = -1.0;
  double step_U95_mm = -1.0;
  double within_mm = 0.0;
  ConfirmOptions options;
  bool json = false;

  bool has_cut() const { return !cut_axis.empty(); }
};

ConfirmOptions options_of(const ConfirmArguments& arguments) {
  ConfirmOptions options = arguments.options;
  if (arguments.within_mm > 0.0) options.within_mm = arguments.within_mm;
  return options;
}

Expected<void> deliver_program(const ConfirmArguments& arguments, const Machine& machine,
                               const Plan& plan, const Console& console) {
  const auto sheet = named_control_sheet(arguments.control, console.disk);
  if (!sheet) return tl::make_unexpected(sheet.error());
  const auto program = make_program(machine, plan, *sheet);
  if (!program) return tl::make_unexpected(program.error());
  const auto delivered = deliver(console, arguments.program_file, program->text);
  if (!delivered) return delivered;
  console.err << "wrote " << arguments.program_file << ", " << program->blocks
              << " blocks\nRehearse it before it runs on a machine.\n";
  return {};
}

Expected<void> deliver_plan(const ConfirmArguments& arguments, const Machine& machine,
                            const Plan& plan, const Console& console) {
  const auto machine_file = seen_from(arguments.machine_file, arguments.plan_file, console.disk);
  if (!machine_file) return tl::make_unexpected(machine_file.error());
  const auto delivered =
      deliver(console, arguments.plan_file, write_plan(plan, machine, *machine_file));
  if (delivered) console.err << "wrote " << arguments.plan_file << '\n';
  return delivered;
}

/// No survey yet: what to touch.
ExitCode plan_touches(const ConfirmArguments& arguments, const FitResult& written,
                      const Console& console) {
  if (arguments.machine_file.empty()) {
    return refuse(
        console,
        {{ProblemNumber::bad_argument,
          "there is no new survey to confirm the values with, and no machine to plan one for",
          {},
          "give the new result or touch record after the old result, or --machine "
          "MACHINE to plan the touches"}});
  }
  const auto machine = read_machine(arguments.machine_file, console.disk);
  if (!machine) return refuse(console, machine.error());
  const ConfirmOptions options = options_of(arguments);
  const auto plan =
      plan_confirmation(*machine, tolerated_values(written, options), options.between_surveys_mm);
  if (!plan) return refuse(console, plan.error());
  if (!arguments.plan_file.empty()) {
    const auto delivered = deliver_plan(arguments, *machine, plan->outcome.plan, console);
    if (!delivered) return refuse(console, delivered.error());
  }
  if (!arguments.program_file.empty()) {
    const auto delivered = deliver_program(arguments, *machine, plan->outcome.plan, console);
    if (!delivered) return refuse(console, delivered.error());
  }
  console.out << plan_text(*machine, plan->outcome);
  for (const ValueName& name : plan->out_of_reach) {
    console.err << text_of(name) << " cannot be confirmed within its tolerance by these touches\n";
  }
  if (is_kept(arguments.program_file) && is_kept(arguments.plan_file)) {
    say_next(console, {"rehearse", arguments.program_file, "--machine", arguments.machine_file,
                       "--control", arguments.control, "--plan", arguments.plan_file, "-o",
                       beside(arguments.program_file, ".touches.csv")});
  } else if (is_kept(arguments.plan_file)) {
    say_next(console, {"cycle", arguments.plan_file, "--control",
                       arguments.control.empty() ? "ngc" : arguments.control, "-o",
                       beside(arguments.plan_file, ".nc")});
  }
  return plan->out_of_reach.empty() ? ExitCode::good : ExitCode::not_good;
}

Expected<FitResult> new_result(const ConfirmArguments& arguments, FileCalls& disk) {
  if (arguments.machine_file.empty()) return read_result(arguments.new_file, disk);
  return fitted_record(arguments.machine_file, arguments.new_file, disk);
}

Expected<CutTest> cut_of(const ConfirmArguments& arguments) {
  const auto letter = axis_letter(arguments.cut_axis);
  if (!letter) return tl::make_unexpected(letter.error());
  if (arguments.cut_at_deg.size() != 2 || arguments.step_mm < 0.0 || arguments.step_U95_mm < 0.0) {
    return failure({ProblemNumber::bad_argument,
                    "a cut needs two angles, its step and the U95 of that step",
                    {},
                    "for example --cut-axis A --cut-at 0 180 --step 0.018 --step-u95 0.004"});
  }
  return CutTest{**letter, rad_from_deg(arguments.cut_at_deg[0]),
                 rad_from_deg(arguments.cut_at_deg[1]), arguments.step_mm, arguments.step_U95_mm};
}

ExitCode run(ConfirmArguments arguments, const Console& console) {
  const auto written = read_result(arguments.result_file, console.disk);
  if (!written) return refuse(console, written.error());
  const auto rooms = followed_limits(arguments.limits_file, written->machine_name,
                                     arguments.options.allow_other_machine, console);
  if (!rooms) return refuse(console, rooms.error());
  arguments.options.rooms = *rooms;
  if (arguments.new_file.empty() && !arguments.has_cut()) {
    return plan_touches(arguments, *written, console);
  }
  const LengthUnit unit = length_unit(arguments.units, *written);
  std::vector<ConfirmedValue> values;
  bool simulated = written->simulated;
  std::string text;
  bool good = true;
  if (!arguments.new_file.empty()) {
    const auto found = new_result(arguments, console.disk);
    if (!found) return refuse(console, found.error());
    const auto confirmed = confirm(*written, *found, options_of(arguments));
    if (!confirmed) return refuse(console, confirmed.error());
    values = *confirmed;
    simulated = simulated || found->simulated;
    text += confirm_text(*written, values, unit);
    good = overall(values) == Holding::holds;
  }
  std::optional<CutEvidence> evidence;
  if (arguments.has_cut()) {
    const auto cut = cut_of(arguments);
    if (!cut) return refuse(console, cut.error());
    const auto seen = cut_evidence(*written, *cut, options_of(arguments));
    if (!seen) return refuse(console, seen.error());
    evidence = *seen;
    text += (values.empty() ? "" : "\n") + cut_text(*cut, *evidence, unit);
    good = good && evidence->holding == Holding::holds && !evidence->something_else;
  }
  if (simulated) text = std::string(simulated_notice) + "\n" + text;
  const auto delivered =
      deliver(console, arguments.output,
              arguments.json ? write_confirmation(*written, simulated, values, evidence) : text);
  if (!delivered) return refuse(console, delivered.error());
  if (!arguments.json) {
    say_next(console, good ? std::vector<std::string>{"report", arguments.result_file, "-o",
                                                      beside(arguments.result_file, ".html")}
                           : std::vector<std::string>{"help", "crash"});
  }
  return good ? ExitCode::good : ExitCode::not_good;
}

void add_survey_options(CLI::App* verb, ConfirmArguments& arguments) {
  verb->add_option("RESULT", arguments.result_file, "the result whose values were written")
      ->type_name("FILE")
      ->required();
  verb->add_option("NEW", arguments.new_file,
                   "result of a fresh survey; with --machine its touch record; absent: plan one")
      ->type_name("FILE");
  verb->add_option("--machine", arguments.machine_file, "machine file, to plan or to read a record")
      ->type_name("FILE");
  verb->add_option("--plan-file", arguments.plan_file,
                   "write the planned touches here (*.plan.toml)")
      ->type_name("FILE");
  CLI::Option* control =
      verb->add_option("--control", arguments.control,
                       "control sheet that spells the program: its name, or its file")
          ->type_name("SHEET");
  verb->add_option("--program", arguments.program_file, "write the probing program here")
      ->type_name("FILE")
      ->needs(control);
}

void add_judging_options(CLI::App* verb, ConfirmArguments& arguments) {
  const std::map<std::string, double> lengths = {{"mm", 1.0}, {"um", 1e-3}, {"in", 25.4}};
  const auto length =
      CLI::AsNumberWithUnit(lengths, CLI::AsNumberWithUnit::CASE_INSENSITIVE, "LENGTH");
  verb->add_option(
          "--within", arguments.within_mm,
          "how far a value may be off: mm, or with um or in; leans over 300 mm; 3 U95 if absent")
      ->transform(length)
      ->check(CLI::PositiveNumber);
  verb->add_option("--limits", arguments.limits_file,
                   "limits of the values (*.limits.toml), before --within")
      ->type_name("FILE");
  verb->add_option("--between", arguments.options.between_surveys_mm,
                   "largest shift by temperature and re-clamping between surveys, per coordinate")
      ->transform(length)
      ->check(CLI::NonNegativeNumber);
  verb->add_option("--cut-axis", arguments.cut_axis,
                   "axis at two angles of which flush features were cut")
      ->type_name("LETTER");
  verb->add_option("--cut-at", arguments.cut_at_deg, "the two angles, degrees")->expected(2);
  verb->add_option("--step", arguments.step_mm, "step measured between the two features")
      ->transform(length);
  verb->add_option("--step-u95", arguments.step_U95_mm, "U95 of that step")->transform(length);
  verb->add_flag("--allow-other-machine", arguments.options.allow_other_machine,
                 "confirm although the results name two machines");
  verb->add_option("--units", arguments.units, "mm or inch; those of the machine file if absent")
      ->check(CLI::IsMember({"mm", "inch"}));
  verb->add_option("-o,--output", arguments.output, "write to this file, not to the screen")
      ->type_name("FILE");
  verb->add_flag("--json", arguments.json, "print the verdict as JSON");
}

}  // namespace

void add_confirm_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<ConfirmArguments>();
  CLI::App* verb = app.add_subcommand(
      "confirm",
      "After writing: plan the shortest touches that prove a value, and say whether it holds");
  verb->footer(
      "Example:\n"
      "  pivotrace confirm head.result.json --machine head.machine.toml --plan-file "
      "confirm.plan.toml\n"
      "  pivotrace confirm head.result.json confirm.touches.csv --machine head.machine.toml "
      "--within 0.010\n"
      "  pivotrace confirm unit.result.json --cut-axis A --cut-at 0 180 --step 0.018 --step-u95 "
      "0.004\n"
      "Exit code 0: the values hold (or the touches planned can prove it); 1: they do not, or "
      "nobody\n"
      "can tell.");
  add_survey_options(verb, *arguments);
  add_judging_options(verb, *arguments);
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
