#include <memory>
#include <ostream>

#include "app/dialect_folders.h"
#include "app/verbs.h"
#include "pivotrace/cycle/make_program.h"
#include "pivotrace/formats/dialect_file.h"
#include "pivotrace/formats/parameter_file.h"
#include "pivotrace/formats/plan_file.h"
#include "pivotrace/report/setup_sheet.h"

namespace pivotrace::app {

namespace {

struct CycleArguments {
  std::string plan_file;
  std::string dialect;
  std::string machine_file;
  std::string solve_axis;
  double centre_limit_mm = 1.0;
  int set_offset = 0;
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
  return options;
}

ExitCode run(const CycleArguments& arguments, const Console& console) {
  const auto fail = [&](const Problems& problems) {
    console.report(problems);
    return exit_code_for(problems);
  };
  const Expected<std::string> dialect_file =
      find_dialect(arguments.dialect, dialect_folders(console.disk), console.disk);
  if (!dialect_file) return fail(dialect_file.error());
  const Expected<Dialect> dialect = read_dialect(*dialect_file, console.disk);
  if (!dialect) return fail(dialect.error());
  const Expected<PlanOnMachine> planned =
      read_plan(arguments.plan_file, arguments.machine_file, console.disk);
  if (!planned) return fail(planned.error());
  const Expected<CycleOptions> options = options_of(arguments, planned->machine);
  if (!options) return fail(options.error());
  const Expected<EmittedProgram> program =
      make_program(planned->machine, planned->plan, *dialect, *options);
  if (!program) return fail(program.error());
  if (!arguments.sheet_file.empty()) {
    const auto delivered =
        deliver(console, arguments.sheet_file,
                setup_sheet(planned->machine, planned->plan, *dialect, *program, *options));
    if (!delivered) return fail(delivered.error());
    console.err << "wrote " << arguments.sheet_file << '\n';
  }
  if (!arguments.rows_file.empty()) {
    if (!program->results) {
      return fail({{ProblemNumber::bad_argument,
                    "--parameter-rows is only for controls that leave touches in parameters",
                    {},
                    "leave it out: the dialect " + dialect->name + " writes a log"}});
    }
    const auto delivered =
        deliver(console, arguments.rows_file, parameter_rows(planned->plan, *program->results));
    if (!delivered) return fail(delivered.error());
    console.err << "wrote " << arguments.rows_file << '\n';
  }
  const auto delivered = deliver(console, arguments.program_file, program->text);
  if (!delivered) return fail(delivered.error());
  if (!arguments.program_file.empty() && arguments.program_file != "-") {
    console.err << "wrote " << arguments.program_file << ", " << program->blocks << " blocks\n";
  }
  console.err << "Rehearse it before it runs on a machine: pivotrace rehearse\n";
  return ExitCode::good;
}

}  // namespace

void add_cycle_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<CycleArguments>();
  CLI::App* verb =
      app.add_subcommand("cycle", "Write the probing program of a plan for your control");
  verb->footer(
      "Example:\n"
      "  pivotrace cycle fourth-axis.plan.toml --dialect macro -o probe.nc --sheet probe.html\n"
      "writes the program and a set-up sheet to print. A dialect is a text file that says how a\n"
      "control writes each step; macro and ngc are shipped, and a copy of one, edited, in\n"
      "~/.config/pivotrace/routines makes your own.\n"
      "Rehearse every program with 'pivotrace rehearse' before it runs on a machine.");
  verb->add_option("PLAN", arguments->plan_file, "plan (*.plan.toml)")->required();
  verb->add_option("--dialect", arguments->dialect, "name of a dialect, or its file")->required();
  verb->add_option("--machine", arguments->machine_file,
                   "machine file, if not the one the plan names");
  verb->add_option("--solve-on-control", arguments->solve_axis,
                   "the control also works out the centre of this axis and shows it");
  verb->add_option("--centre-limit", arguments->centre_limit_mm,
                   "alarm when that centre has moved further than this, mm (default 1)")
      ->check(CLI::PositiveNumber);
  verb->add_option("--set-offset", arguments->set_offset,
                   "set this work offset to that centre, after a stop that shows old and new")
      ->check(CLI::PositiveNumber);
  verb->add_option("--sheet", arguments->sheet_file, "write a set-up sheet here (HTML)");
  verb->add_option(
      "--parameter-rows", arguments->rows_file,
      "ngc: rows to add to the control's parameter file, so that it saves the touches");
  verb->add_option("-o,--output", arguments->program_file, "write the program here");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
