#include <memory>
#include <ostream>

#include "app/next_step.h"
#include "app/refusal.h"
#include "app/result_folder.h"
#include "app/verbs.h"
#include "base/cautions.h"
#include "pivotrace/formats/history_file.h"
#include "pivotrace/report/history_text.h"

namespace pivotrace::app {

namespace {

struct HistoryArguments {
  std::vector<std::string> places;
  std::string machine;
  std::string units;  ///< empty: those of the machine file
  std::string output;
  std::string form = "text";
  std::string limits_file;
  double within_mm = 0.0;
  HistoryOptions options;
  bool json = false;
};

std::string shown(const HistoryArguments& arguments, const History& history, LengthUnit of_machine,
                  const std::string& notice) {
  if (arguments.json || arguments.form == "json") return write_history(history);
  if (arguments.form == "csv") return write_history_rows(history);
  return notice +
         history_text(history, arguments.units.empty() ? of_machine : length_unit(arguments.units));
}

ExitCode run(const HistoryArguments& arguments, const Console& console) {
  HistoryOptions options = arguments.options;
  if (arguments.within_mm > 0.0) options.within_mm = arguments.within_mm;
  const auto followed =
      history_of(arguments.places, {arguments.machine, arguments.limits_file}, options, console);
  if (!followed) return refuse(console, followed.error());
  const History& history = followed->history;
  const std::string notice = history.simulated() ? std::string(simulated_notice) + "\n" : "";
  const auto delivered =
      deliver(console, arguments.output, shown(arguments, history, followed->unit, notice));
  if (!delivered) return refuse(console, delivered.error());
  if (arguments.form == "text" && !arguments.json) {
    std::vector<std::string> words = {"report"};
    words.insert(words.end(), arguments.places.begin(), arguments.places.end());
    // Of two results it is the page of what moved between them.
    words.insert(words.end(), {"-o", arguments.places.size() == 2 ? "moved.html" : "history.html"});
    say_next(console, words);
  }
  return history.alarmed() ? ExitCode::not_good : ExitCode::good;
}

}  // namespace

void add_history_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<HistoryArguments>();
  CLI::App* verb = app.add_subcommand(
      "history", "Follow every value over time: what jumped, what creeps, when to look again");
  verb->footer(
      "Example:\n"
      "  pivotrace history results/ --within 0.010\n"
      "A folder is searched for *.result.json; nothing else is kept anywhere.\n"
      "Exit code 0: steady; 1: something jumped, creeps, or made a chart cry.");
  verb->add_option("PLACE", arguments->places, "folder of results, or result files")
      ->type_name("FOLDER|FILE")
      ->required();
  verb->add_option("--machine-name", arguments->machine,
                   "follow the machine of this name; the one most results name if absent")
      ->type_name("NAME");
  const std::map<std::string, double> lengths = {{"mm", 1.0}, {"um", 1e-3}, {"in", 25.4}};
  const auto length =
      CLI::AsNumberWithUnit(lengths, CLI::AsNumberWithUnit::CASE_INSENSITIVE, "LENGTH");
  verb->add_option(
          "--within", arguments->within_mm,
          "how far a value may go after the last jump: mm, or with um or in; leans over 300 mm")
      ->transform(length)
      ->check(CLI::PositiveNumber);
  verb->add_option("--limits", arguments->limits_file,
                   "limits of the values or of their changes (*.limits.toml), before --within")
      ->type_name("FILE");
  verb->add_option("--between", arguments->options.between_surveys_mm,
                   "largest shift by temperature and re-clamping between surveys, per coordinate")
      ->transform(length)
      ->check(CLI::NonNegativeNumber);
  verb->add_option("--false-alarm-every", arguments->options.run_length,
                   "results between two false alarms of one chart, on average")
      ->check(CLI::Range(10.0, 100000.0))
      ->capture_default_str();
  verb->add_option("--form", arguments->form, "text, json or csv")
      ->check(CLI::IsMember({"text", "json", "csv"}))
      ->capture_default_str();
  verb->add_flag("--json", arguments->json, "the same as --form json");
  verb->add_option("--units", arguments->units, "mm or inch; those of the machine file if absent")
      ->check(CLI::IsMember({"mm", "inch"}));
  verb->add_option("-o,--output", arguments->output, "write to this file, not to the screen")
      ->type_name("FILE");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
