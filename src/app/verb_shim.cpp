#include <memory>
#include <ostream>

#include "app/next_step.h"
#include "app/refusal.h"
#include "app/verbs.h"
#include "base/cautions.h"
#include "base/wrapped_text.h"
#include "pivotrace/formats/mounting_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/report/shim_text.h"

namespace pivotrace::app {

namespace {

struct ShimArguments {
  std::string result_file;
  std::string feet_file;
  std::string axis;
  std::string units;  ///< empty: those of the machine file
  std::string output;
  bool json = false;
};

ExitCode run(const ShimArguments& arguments, const Console& console) {
  const auto result = read_result(arguments.result_file, console.disk);
  if (!result) return refuse(console, result.error());
  const auto mounting = read_mounting(arguments.feet_file, console.disk);
  if (!mounting) return refuse(console, mounting.error());
  const auto axis = axis_letter(arguments.axis);
  if (!axis) return refuse(console, axis.error());
  const auto advice = shim_advice(*result, *mounting, *axis);
  if (!advice) return refuse(console, advice.error());
  const auto delivered =
      deliver(console, arguments.output,
              arguments.json ? shim_json(*result, *advice)
                             : shim_text(*result, *advice, length_unit(arguments.units, *result)));
  if (!delivered) return refuse(console, delivered.error());
  if (!arguments.json) {
    if (advice->nothing_to_gain || advice->offset_is_enough) {
      say_next(console, {"write", arguments.result_file, "--list"});
    } else {
      const std::string machine = machine_file_of(*result, arguments.result_file);
      console.err << "after the unit was moved, measure again\n";
      say_next(console,
               {"plan", machine, "--for", "commissioning", "-o", beside(machine, ".plan.toml")});
    }
  }
  return advice->nothing_to_gain || advice->offset_is_enough ? ExitCode::good : ExitCode::not_good;
}

}  // namespace

void add_shim_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<ShimArguments>();
  CLI::App* verb = app.add_subcommand(
      "shim", "Say how to move the unit on the table: shims under each foot, which end to tap");
  verb->footer(
      std::string(
          "Example:\n"
          "  pivotrace shim fourth-axis.result.json --feet fourth-axis.feet.toml\n"
          "Feet, keys and tailstock stand in the machine file or in a file of their own.\n") +
      wrapped(caution(hands_in_machine_caution), "", 0) +
      "Exit code 0: nothing to gain, or a work offset is enough; 1: the unit should be aligned.");
  verb->add_option("RESULT", arguments->result_file, "result of 'pivotrace fit' (*.result.json)")
      ->type_name("FILE")
      ->required();
  verb->add_option("--feet", arguments->feet_file,
                   "where the unit stands: machine file or *.feet.toml")
      ->type_name("FILE")
      ->required();
  verb->add_option("--axis", arguments->axis, "axis to align; the outermost measured one if absent")
      ->type_name("LETTER");
  verb->add_option("--units", arguments->units, "mm or inch; those of the machine file if absent")
      ->check(CLI::IsMember({"mm", "inch"}));
  verb->add_option("-o,--output", arguments->output, "write to this file, not to the screen")
      ->type_name("FILE");
  verb->add_flag("--json", arguments->json, "print the advice as JSON");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
