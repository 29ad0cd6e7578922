#include <memory>
#include <ostream>

#include "app/control_sheets.h"
#include "app/next_step.h"
#include "app/verbs.h"
#include "base/cautions.h"
#include "base/wrapped_text.h"
#include "pivotrace/control/proof.h"
#include "pivotrace/cycle/make_program.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/parameter_file.h"
#include "pivotrace/formats/plan_file.h"
#include "pivotrace/report/setup_sheet.h"

namespace pivotrace::app {

namespace {

struct CycleArguments {
  std::string plan_file;
  std::string proof;
  std::string sheet;
  std::string machine_file;
  std::string solve_axis;
  double centre_limit_mm = 1.0;
  int set_offset = 0;
  int program_number = CycleOptions{}.program_number;
  std::string sheet_file;
  std::string rows_file;
  std::string program_file;
};

Expected<CycleOptions> options_of(const CycleArguments& arguments, const Machine& machine) {
  CycleOptions options;
  options.centre_limit_mm = arguments.centre_limit_mm;
  if (!arguments.solve_axis.empty()) {
    const int axis = machine.rotary_index(arguments.solve_axis.front());
    if (axis < 0) {
      return failure({ProblemNumber::unknown_name,
                      "the machine has no axis " + arguments.solve_axis,
                      {},
                      "name one of the [[rotary]] axes of the machine file"});
    }
    options.solve_axis = axis;
  }
  if (arguments.set_offset > 0) options.set_offset = arguments.set_offset;
  options.program_number = arguments.program_number;
  return options;
}

/// The program that shows whether a control sheet is right; it needs no plan.
ExitCode run_proof(const CycleArguments& arguments, const Console& console) {
  const auto fail = [&](const Problems& problems) {
    console.report(problems);
    return exit_code_for(problems);
  };
  const Expected<ControlSheet> sheet = named_control_sheet(arguments.proof, console.disk);
  if (!sheet) return fail(sheet.error());
  ProofRequest request;
  if (!arguments.machine_file.empty()) {
    const Expected<Machine> machine = read_machine(arguments.machine_file, console.disk);
    if (!machine) return fail(machine.error());
    request.inch = machine->inch;
    for (const RotaryAxis& axis : machine->rotary) request.rotary.push_back(axis.letter);
  }
  const Expected<EmittedProgram> program = proof_program(*sheet, request);
  if (!program) return fail(program.error());
  const auto delivered = deliver(console, arguments.program_file, program->text);
  if (!delivered) return fail(delivered.error());
  console.err
      << "CAUTION: its last part moves X slowly by 10 mm: free air all the way, hand at the "
         "stop.\n"
      << rules_come_first << "\nThen read back what it left:\n";
  say_next(console,
           {"check", arguments.proof, "--proof",
            beside(arguments.program_file.empty() ? "proof.nc" : arguments.program_file, ".log")});
  return ExitCode::good;
}

std::vector<std::string> rehearsal_words(const CycleArguments& arguments,
                                         const PlanOnMachine& planned) {
  const std::string& machine =
      arguments.machine_file.empty() ? planned.machine_file : arguments.machine_file;
  return {"rehearse",  arguments.program_file,
          "--machine", machine,
          "--control", arguments.sheet,
          "--plan",    arguments.plan_file,
          "-o",        beside(arguments.program_file, ".touches.csv")};
}

ExitCode run(const CycleArguments& arguments, const Console& console) {
  if (!arguments.proof.empty()) return run_proof(arguments, console);
  if (arguments.plan_file.empty() || arguments.sheet.empty()) {
    console.report({{ProblemNumber::bad_argument,
                     "a cycle needs a plan and a control sheet",
                     {},
                     "pivotrace cycle my.plan.toml --control SHEET, or --proof SHEET"}});
    return ExitCode::wrong_input;
  }
  const auto fail = [&](const Problems& problems) {
    console.report(problems);
    return exit_code_for(problems);
  };
  const Expected<ControlSheet> sheet = named_control_sheet(arguments.sheet, console.disk);
  if (!sheet) return fail(sheet.error());
  const Expected<PlanOnMachine> planned =
      read_plan(arguments.plan_file, arguments.machine_file, console.disk);
  if (!planned) return fail(planned.error());
  const Expected<CycleOptions> options = options_of(arguments, planned->machine);
  if (!options) return fail(options.error());
  const Expected<EmittedProgram> program =
      make_program(planned->machine, planned->plan, *sheet, *options);
  if (!program) return fail(program.error());
  if (!arguments.sheet_file.empty()) {
    const auto delivered =
        deliver(console, arguments.sheet_file,
                setup_sheet(planned->machine, planned->plan, *sheet, *program, *options));
    if (!delivered) return fail(delivered.error());
    console.err << "wrote " << arguments.sheet_file << '\n';
  }
  if (!arguments.rows_file.empty()) {
    if (!program->results) {
      return fail({{ProblemNumber::bad_argument,
                    "--parameter-rows is only for controls that leave touches in parameters",
                    {},
                    "leave it out: the control sheet " + sheet->name + " writes a log"}});
    }
    const auto delivered =
        deliver(console, arguments.rows_file, parameter_rows(planned->plan, *program->results));
    if (!delivered) return fail(delivered.error());
    console.err << "wrote " << arguments.rows_file << '\n'
                << wrapped(caution(parameter_file_caution), "", 0);
  }
  const auto delivered = deliver(console, arguments.program_file, program->text);
  if (!delivered) return fail(delivered.error());
  if (!arguments.program_file.empty() && arguments.program_file != "-") {
    console.err << "wrote " << arguments.program_file << ", " << program->blocks << " blocks\n";
  }
  console.err << "Rehearse it before it runs on a machine.\n";
  say_next(console, is_kept(arguments.program_file)
                        ? rehearsal_words(arguments, *planned)
                        : std::vector<std::string>{"cycle", arguments.plan_file, "--control",
                                                   arguments.sheet, "-o",
                                                   beside(arguments.plan_file, ".nc")});
  return ExitCode::good;
}

}  // namespace

void add_cycle_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<CycleArguments>();
  CLI::App* verb =
      app.add_subcommand("cycle", "Write the probing program of a plan for your control");
  verb->footer(
      "Example:\n"
      "  pivotrace cycle fourth-axis.plan.toml --control demo-control -o probe.nc --sheet "
      "probe.html\n"
      "writes the program and a set-up sheet to print. A control sheet is a text file that says "
      "how\n"
      "a control writes each step; shipped are ngc (RS274/NGC), demo-control (invented, for the\n"
      "examples) and macro (to fill in for your control: copy it to\n"
      "~/.config/pivotrace/routines, answer its questions from the manual, 'pivotrace check' it).\n"
      "Rehearse every program with 'pivotrace rehearse' before it runs on a machine.");
  verb->add_option("PLAN", arguments->plan_file, "plan (*.plan.toml)")->type_name("FILE");
  verb->add_option("--control", arguments->sheet, "name of a control sheet, or its file")
      ->type_name("SHEET");
  verb->add_option("--proof", arguments->proof,
                   "write the program that shows whether this control sheet is right; no PLAN")
      ->type_name("SHEET");
  verb->add_option("--machine", arguments->machine_file,
                   "machine file, if not the one the plan names")
      ->type_name("FILE");
  verb->add_option("--solve-on-control", arguments->solve_axis,
                   "the control also works out the centre of this axis and shows it");
  verb->add_option("--centre-limit", arguments->centre_limit_mm,
                   "alarm when that centre has moved further than this, mm (default 1)")
      ->check(CLI::PositiveNumber);
  verb->add_option("--set-offset", arguments->set_offset,
                   "set this work offset to that centre, after a stop that shows old and new")
      ->check(CLI::PositiveNumber);
  verb->add_option("--program-number", arguments->program_number,
                   "number the program is stored under, where the control has one (default 7100)")
      ->check(CLI::Range(1, 99999999));
  verb->add_option("--sheet", arguments->sheet_file, "write a set-up sheet here (HTML)")
      ->type_name("FILE");
  verb->add_option("--parameter-rows", arguments->rows_file,
                   "ngc: rows to add to the control's parameter file, so that it saves the touches")
      ->type_name("FILE");
  verb->add_option("-o,--output", arguments->program_file, "write the program here")
      ->type_name("FILE");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
