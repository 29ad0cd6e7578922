#include <memory>
#include <ostream>

#include "app/clock.h"
#include "app/control_sheets.h"
#include "app/refusal.h"
#include "app/verbs.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/pivots/index_angles.h"
#include "pivotrace/pivots/reseat.h"

namespace pivotrace::app {

namespace {

struct ReseatArguments {
  std::string result_file;
  std::vector<double> offset;
  std::vector<std::string> taught_at;
  std::vector<std::string> at;
  std::optional<int> first_offset;
  std::string control;
  bool simulated = false;
  std::string units = "mm";
  std::string form = "table";
  std::string output;
  bool json = false;
};

Expected<ReseatRequest> request_from(const ReseatArguments& arguments, const FitResult& result) {
  ReseatRequest request;
  request.unit = length_unit(arguments.units);
  const double mm = request.unit == LengthUnit::inch ? mm_per_inch : 1.0;
  request.taught_mm =
      mm * Eigen::Vector3d(arguments.offset[0], arguments.offset[1], arguments.offset[2]);
  const auto taught_at = index_angles(result, arguments.taught_at);
  if (!taught_at) return tl::make_unexpected(taught_at.error());
  if (taught_at->size() != 1) {
    return failure({ProblemNumber::bad_argument,
                    "the offset was taught at one position, not at several",
                    {},
                    "for example --taught-at A=0"});
  }
  request.taught_at_rad = taught_at->front();
  const auto targets = index_angles(result, arguments.at);
  if (!targets) return tl::make_unexpected(targets.error());
  request.targets = *targets;
  request.first_offset = arguments.first_offset.value_or(first_work_offset);
  request.date = utc_now();
  return request;
}

Expected<std::string> program_of(const ReseatArguments& arguments, const FitResult& result,
                                 const ReseatRequest& request, const ReseatTable& table,
                                 FileCalls& disk) {
  if (arguments.control.empty() || !arguments.first_offset) {
    return failure({ProblemNumber::bad_argument,
                    "a program needs a control sheet and the first work offset it may write",
                    {},
                    "name both, for example --control ngc --first-offset 2"});
  }
  return named_control_sheet(arguments.control, disk).and_then([&](const ControlSheet& sheet) {
    return reseat_program(result, request, table, sheet, arguments.simulated);
  });
}

Expected<std::string> text_of(const ReseatArguments& arguments, const FitResult& result,
                              const ReseatRequest& request, const ReseatTable& table,
                              FileCalls& disk) {
  if (arguments.json) return reseat_json(result, request, table);
  if (arguments.form == "program") return program_of(arguments, result, request, table, disk);
  if (arguments.form == "csv") return reseat_csv(result, request, table);
  return reseat_text(result, request, table);
}

ExitCode run(const ReseatArguments& arguments, const Console& console) {
  const auto result = read_result(arguments.result_file, console.disk);
  if (!result) return refuse(console, result.error());
  const auto request = request_from(arguments, *result);
  if (!request) return refuse(console, request.error());
  const auto table = reseat(*result, *request);
  if (!table) return refuse(console, table.error());
  for (const std::string& warning : table->warnings) console.err << "warning: " << warning << '\n';
  const auto text = text_of(arguments, *result, *request, *table, console.disk);
  if (!text) return refuse(console, text.error());
  const auto delivered = deliver(console, arguments.output, *text);
  if (!delivered) return refuse(console, delivered.error());
  return table->offsets_run_out ? ExitCode::not_good : ExitCode::good;
}

}  // namespace

void add_reseat_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<ReseatArguments>();
  CLI::App* verb = app.add_subcommand(
      "reseat",
      "Work offsets for each index angle, for controls that do not follow the offset round");
  verb->footer(
      "Example: the offset was taught at A 0, features are cut at four angles:\n"
      "  pivotrace reseat fourth-axis.result.json --offset -310 -200.5 -180.25 --taught-at A=0 \\\n"
      "      --at A=0..270/90 --form program --first-offset 2 --control ngc -o offsets.nc\n"
      "Angles: A=90, a list A=0,90,180 or a range with a step A=0..270/90; several axes as\n"
      "\"A=-30 C=0..315/45\". Axes not named stand at 0.\n"
      "The taught offset must count as the touch record does: Z to the centre of the stylus ball.\n"
      "CAUTION: a wrong offset can wreck tool, part and machine. Check the first run without a\n"
      "part, slowly, by the machine's manual and local safety rules.\n"
      "Exit code 1: the table is complete, but there are more positions than work offsets.");
  verb->add_option("RESULT", arguments->result_file, "result of 'pivotrace fit' (*.result.json)")
      ->type_name("FILE")
      ->required();
  verb->add_option("--offset", arguments->offset,
                   "work offset as taught: X Y Z in machine coordinates")
      ->type_name("NUMBER")
      ->expected(3)
      ->required();
  verb->add_option("--taught-at", arguments->taught_at,
                   "index angles it was taught at (0 if absent)")
      ->type_name("ANGLES");
  verb->add_option("--at", arguments->at, "index angles that need an offset")
      ->type_name("ANGLES")
      ->required();
  verb->add_option("--first-offset", arguments->first_offset,
                   "work offset of the first position: 1 is the first (G54); a table starts there")
      ->type_name("NUMBER");
  verb->add_option("--control", arguments->control,
                   "control sheet that spells the program: its name, or its file");
  verb->add_flag("--simulated", arguments->simulated,
                 "write a program from a rehearsal's result all the same; it says so");
  verb->add_option("--units", arguments->units, "mm or inch, in and out")
      ->check(CLI::IsMember({"mm", "inch"}))
      ->capture_default_str();
  verb->add_option("--form", arguments->form, "table, program or csv")
      ->check(CLI::IsMember({"table", "program", "csv"}))
      ->capture_default_str();
  verb->add_option("-o,--output", arguments->output, "write to this file, not to the screen")
      ->type_name("FILE");
  verb->add_flag("--json", arguments->json, "print the offsets as JSON");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
