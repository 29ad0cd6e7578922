#include <map>
#include <memory>
#include <ostream>

#include "app/fitted_record.h"
#include "app/followed_limits.h"
#include "app/next_step.h"
#include "app/refusal.h"
#include "app/verbs.h"
#include "base/cautions.h"
#include "pivotrace/formats/comparison_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/report/comparison_figure.h"
#include "pivotrace/report/comparison_text.h"

namespace pivotrace::app {

namespace {

struct CompareArguments {
  std::string old_file;
  std::string new_file;
  std::string machine_file;
  std::string units;  ///< empty: those of the machine file
  std::string output;
  std::string picture;
  std::string limits_file;
  double within_mm = 0.0;
  double between_mm = -1.0;
  bool allow_other_machine = false;
  bool json = false;
};

/// The new survey: a result, or a touch record when its machine file is named.
Expected<FitResult> new_result(const CompareArguments& arguments, FileCalls& disk) {
  if (arguments.machine_file.empty()) return read_result(arguments.new_file, disk);
  return fitted_record(arguments.machine_file, arguments.new_file, disk);
}

CompareOptions options_of(const CompareArguments& arguments) {
  CompareOptions options;
  options.allow_other_machine = arguments.allow_other_machine;
  if (arguments.between_mm >= 0.0) {
    options.between_surveys_mm = arguments.between_mm;
    options.between_surveys_stated = true;
  }
  if (arguments.within_mm > 0.0) options.within_mm = arguments.within_mm;
  return options;
}

/// What moved is written anew; what stands still is kept beside the other results.
std::vector<std::string> next_words(const CompareArguments& arguments, bool moved) {
  if (!arguments.machine_file.empty()) {
    return {"fit", arguments.machine_file, arguments.new_file, "-o",
            beside(arguments.new_file, ".result.json")};
  }
  if (moved) return {"write", arguments.new_file, "--list"};
  return {"history", arguments.old_file, arguments.new_file};
}

ExitCode run(const CompareArguments& arguments, const Console& console) {
  const auto before = read_result(arguments.old_file, console.disk);
  if (!before) return refuse(console, before.error());
  const auto after = new_result(arguments, console.disk);
  if (!after) return refuse(console, after.error());
  CompareOptions options = options_of(arguments);
  const auto rooms = followed_limits(arguments.limits_file, after->machine_name,
                                     arguments.allow_other_machine, console);
  if (!rooms) return refuse(console, rooms.error());
  options.rooms = *rooms;
  const auto comparison = compare(*before, *after, options);
  if (!comparison) return refuse(console, comparison.error());
  if (!arguments.picture.empty()) {
    const auto drawn = deliver(console, arguments.picture,
                               comparison_svg(*comparison, length_unit(arguments.units, *after)));
    if (!drawn) return refuse(console, drawn.error());
    if (is_kept(arguments.picture)) console.err << "wrote " << arguments.picture << '\n';
  }
  const std::string notice = comparison->simulated ? std::string(simulated_notice) + "\n" : "";
  const auto delivered = deliver(
      console, arguments.output,
      arguments.json ? write_comparison(*comparison)
                     : notice + comparison_text(*comparison, length_unit(arguments.units, *after)));
  if (!delivered) return refuse(console, delivered.error());
  if (!arguments.json) say_next(console, next_words(arguments, comparison->moved.value_or(false)));
  return comparison->moved.value_or(false) ? ExitCode::not_good : ExitCode::good;
}

}  // namespace

void add_compare_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<CompareArguments>();
  CLI::App* verb = app.add_subcommand(
      "compare", "Say what moved between two surveys, how sure that is, and what to do");
  verb->footer(
      "Example:\n"
      "  pivotrace compare march.result.json today.result.json --within 0.010\n"
      "  pivotrace compare march.result.json today.touches.csv --machine head.machine.toml\n"
      "Exit code 0: nothing seen to have moved (the sheet says how small a change would show);\n"
      "1: something moved.");
  verb->add_option("OLD", arguments->old_file, "earlier result of 'pivotrace fit' (*.result.json)")
      ->type_name("FILE")
      ->required();
  verb->add_option("NEW", arguments->new_file, "later result; with --machine a touch record")
      ->type_name("FILE")
      ->required();
  verb->add_option("--machine", arguments->machine_file,
                   "machine file of a touch record given as NEW")
      ->type_name("FILE");
  const std::map<std::string, double> lengths = {{"mm", 1.0}, {"um", 1e-3}, {"in", 25.4}};
  const auto length =
      CLI::AsNumberWithUnit(lengths, CLI::AsNumberWithUnit::CASE_INSENSITIVE, "LENGTH");
  verb->add_option("--within", arguments->within_mm,
                   "a change that does no harm: mm, or with um or in; leans over 300 mm")
      ->transform(length)
      ->check(CLI::PositiveNumber);
  verb->add_option("--limits", arguments->limits_file,
                   "limits of the values or of their changes (*.limits.toml), before --within")
      ->type_name("FILE");
  verb->add_option("--between", arguments->between_mm,
                   "largest shift by temperature and re-clamping between surveys, per coordinate; "
                   "what the results hold if absent")
      ->transform(length)
      ->check(CLI::NonNegativeNumber);
  verb->add_option("--units", arguments->units, "mm or inch; those of the machine file if absent")
      ->check(CLI::IsMember({"mm", "inch"}));
  verb->add_flag("--allow-other-machine", arguments->allow_other_machine,
                 "compare although the results name two machines");
  verb->add_option("-o,--output", arguments->output, "write to this file, not to the screen")
      ->type_name("FILE");
  verb->add_option("--picture", arguments->picture,
                   "draw the old and the new axes into this file (*.svg), changes enlarged")
      ->type_name("FILE");
  verb->add_flag("--json", arguments->json, "print the comparison as JSON");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
