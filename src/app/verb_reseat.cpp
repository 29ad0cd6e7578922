#include <fmt/format.h>

#include <memory>
#include <ostream>

#include "app/clock.h"
#include "app/control_sheets.h"
#include "app/next_step.h"
#include "app/refusal.h"
#include "app/result_inputs.h"
#include "app/verbs.h"
#include "base/cautions.h"
#include "base/words.h"
#include "base/wrapped_text.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/pivots/index_angles.h"
#include "pivotrace/pivots/reseat.h"
#include "pivotrace/report/reseat_text.h"

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
  std::string machine_file;
  bool outside_travel = false;
  std::string units;
  std::string form = "table";
  std::string output;
  bool json = false;
};

/// Where the machine file of a fit may lie now: where it was then, or beside the result.
std::vector<std::string> places_of(const InputFile& machine, const std::string& result_file) {
  const std::size_t slash = result_file.rfind('/');
  const std::string folder = slash == std::string::npos ? "" : result_file.substr(0, slash + 1);
  return {machine.file, folder + std::string(base_name(machine.file))};
}

/// The machine file the result was fitted with, if it still holds the same bytes.
Expected<Machine> recorded_machine(const ReseatArguments& arguments, const FitResult& result,
                                   FileCalls& disk) {
  const InputFile* recorded = input_named(result, "machine");
  if (recorded == nullptr) {
    return failure({ProblemNumber::bad_argument,
                    "this result does not say which machine file it was fitted with",
                    {arguments.result_file, 0, 0},
                    "name it: --machine FILE"});
  }
  for (const std::string& place : places_of(*recorded, arguments.result_file)) {
    const auto text = read_file(place, disk);
    if (text && sha256_hex(*text) == recorded->sha256) return parse_machine(*text, place);
  }
  return failure({ProblemNumber::bad_argument,
                  fmt::format("the machine file of this result, {}, is not there or has changed "
                              "since",
                              recorded->file),
                  {arguments.result_file, 0, 0},
                  "name the file with the units, travels and limits of the machine: --machine "
                  "FILE"});
}

Expected<Machine> machine_of(const ReseatArguments& arguments, const FitResult& result,
                             FileCalls& disk) {
  return arguments.machine_file.empty() ? recorded_machine(arguments, result, disk)
                                        : read_machine(arguments.machine_file, disk);
}

Expected<std::vector<RotaryAngles>> taught_position(const ReseatArguments& arguments,
                                                    const FitResult& result) {
  std::string one_position;
  for (const std::string& text : arguments.taught_at) one_position += " " + text;
  if (one_position.empty()) return std::vector<RotaryAngles>(1);
  return index_angles(result, {one_position});
}

Expected<ReseatRequest> request_from(const ReseatArguments& arguments, const FitResult& result,
                                     const Machine& machine) {
  ReseatRequest request;
  const bool inch = arguments.units.empty() ? machine.inch : arguments.units == "inch";
  request.unit = inch ? LengthUnit::inch : LengthUnit::mm;
  request.outside_travel_allowed = arguments.outside_travel;
  const double mm = request.unit == LengthUnit::inch ? mm_per_inch : 1.0;
  request.taught_mm =
      mm * Eigen::Vector3d(arguments.offset[0], arguments.offset[1], arguments.offset[2]);
  const auto taught_at = taught_position(arguments, result);
  if (!taught_at) return tl::make_unexpected(taught_at.error());
  if (taught_at->size() != 1) {
    return failure({ProblemNumber::bad_argument,
                    "the offset was taught at one position, not at several",
                    {},
                    "for example --taught-at A=0, or --taught-at A=0,C=90 for two axes"});
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

/// The table looked at becomes the program that sets it.
std::vector<std::string> program_words(const ReseatArguments& arguments, bool simulated) {
  std::vector<std::string> words = {"reseat", arguments.result_file, "--offset"};
  for (const double number : arguments.offset) words.push_back(fmt::to_string(number));
  if (!arguments.taught_at.empty()) words.emplace_back("--taught-at");
  words.insert(words.end(), arguments.taught_at.begin(), arguments.taught_at.end());
  words.emplace_back("--at");
  words.insert(words.end(), arguments.at.begin(), arguments.at.end());
  if (!arguments.machine_file.empty())
    words.insert(words.end(), {"--machine", arguments.machine_file});
  if (!arguments.units.empty()) words.insert(words.end(), {"--units", arguments.units});
  words.insert(words.end(), {"--form", "program", "--first-offset",
                             fmt::to_string(arguments.first_offset.value_or(first_work_offset)),
                             "--control", arguments.control.empty() ? "ngc" : arguments.control,
                             "-o", beside(arguments.result_file, ".offsets.nc")});
  if (simulated) words.emplace_back("--simulated");
  return words;
}

ExitCode run(const ReseatArguments& arguments, const Console& console) {
  const auto result = read_result(arguments.result_file, console.disk);
  if (!result) return refuse(console, result.error());
  const auto machine = machine_of(arguments, *result, console.disk);
  if (!machine) return refuse(console, machine.error());
  const auto request = request_from(arguments, *result, *machine);
  if (!request) return refuse(console, request.error());
  const auto table = reseat(*result, *machine, *request);
  if (!table) return refuse(console, table.error());
  for (const std::string& warning : table->warnings) console.err << "warning: " << warning << '\n';
  const auto text = text_of(arguments, *result, *request, *table, console.disk);
  if (!text) return refuse(console, text.error());
  const auto delivered = deliver(console, arguments.output, *text);
  if (!delivered) return refuse(console, delivered.error());
  if (is_kept(arguments.output)) console.err << "wrote " << arguments.output << '\n';
  if (arguments.json) return table->offsets_run_out ? ExitCode::not_good : ExitCode::good;
  if (arguments.form == "table") {
    say_next(console, program_words(arguments, result->simulated));
  } else if (is_kept(arguments.output)) {
    console.err << "once the offsets are in the control, prove them by a few touches\n";
    say_next(console, {"confirm", arguments.result_file, "--machine",
                       machine_file_of(*result, arguments.result_file), "--plan-file",
                       beside(arguments.result_file, ".confirm.plan.toml")});
  }
  return table->offsets_run_out ? ExitCode::not_good : ExitCode::good;
}

}  // namespace

void add_reseat_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<ReseatArguments>();
  CLI::App* verb = app.add_subcommand(
      "reseat",
      "Work offsets for each index angle, for controls that do not follow the offset round");
  verb->footer(
      std::string(
          "Example: the offset was taught at A 0, features are cut at four angles:\n"
          "  pivotrace reseat fourth-axis.result.json --offset -310 -200.5 -180.25 --taught-at A=0 "
          "\\\n"
          "      --at A=0..270/90 --form program --first-offset 2 --control ngc -o offsets.nc\n"
          "Angles: A=90, a list A=0,90,180 or a range with a step A=0..270/90; axes not named "
          "stand\n"
          "at 0. Two axes: A=90,C=45 is one position, A=-30,C=0..315/45 is eight. Several sets\n"
          "follow one another: --at A=0,C=0 A=45,C=90 A=90,C=180.\n"
          "Units, travels and rotary limits are those of the machine file.\n") +
      wrapped(taught_offset_caution, "", 0) + wrapped(caution(wrong_value_caution), "", 0) +
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
  verb->add_option("--at", arguments->at, "sets of index angles that need an offset")
      ->type_name("ANGLES")
      ->required();
  verb->add_option("--first-offset", arguments->first_offset,
                   "work offset of the first position: 1 is the first (G54); a table starts there")
      ->type_name("NUMBER");
  verb->add_option("--control", arguments->control,
                   "control sheet that spells the program: its name, or its file")
      ->type_name("SHEET");
  verb->add_flag("--simulated", arguments->simulated,
                 "write a program from a rehearsal's result all the same; it says so");
  verb->add_option("--machine", arguments->machine_file,
                   "machine file; if absent, the one the result was fitted with, unchanged")
      ->type_name("FILE");
  verb->add_flag("--allow-outside-travel", arguments->outside_travel,
                 "work offsets outside the travel of the machine are meant");
  verb->add_option("--units", arguments->units,
                   "mm or inch, in and out (those of the machine file if absent)")
      ->check(CLI::IsMember({"mm", "inch"}));
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
