#include <algorithm>
#include <filesystem>
#include <map>
#include <memory>
#include <ostream>

#include "app/next_step.h"
#include "app/refusal.h"
#include "app/verbs.h"
#include "pivotrace/formats/history_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/report/history_text.h"

namespace pivotrace::app {

namespace {

struct HistoryArguments {
  std::vector<std::string> places;
  std::string machine;
  std::string units = "mm";
  std::string output;
  std::string form = "text";
  double within_mm = 0.0;
  HistoryOptions options;
  bool json = false;
};

constexpr const char* result_ending = ".result.json";

/// Results in a folder, by name; a file stands for itself.
std::vector<std::string> result_files(const std::vector<std::string>& places) {
  std::vector<std::string> files;
  for (const std::string& place : places) {
    std::error_code failed;
    if (!std::filesystem::is_directory(place, failed)) {
      files.push_back(place);
      continue;
    }
    std::vector<std::string> inside;
    for (const auto& entry : std::filesystem::directory_iterator(place, failed)) {
      const std::string name = entry.path().generic_string();
      if (name.ends_with(result_ending)) inside.push_back(name);
    }
    std::ranges::sort(inside);
    files.insert(files.end(), inside.begin(), inside.end());
  }
  return files;
}

struct ReadResults {
  std::vector<Epoch> epochs;
  std::vector<std::string> machines;  ///< of the epochs
  std::vector<LeftOutOfHistory> left_out;
};

ReadResults read_all(const std::vector<std::string>& files, FileCalls& disk) {
  ReadResults read;
  for (const std::string& file : files) {
    const auto result = read_result(file, disk);
    if (!result) {
      read.left_out.push_back(
          {file, LeftOutOfHistory::Why::unreadable, result.error().front().what});
      continue;
    }
    auto epoch = epoch_of(*result, file, read.left_out);
    if (!epoch) continue;
    read.epochs.push_back(std::move(*epoch));
    read.machines.push_back(result->machine_name);
  }
  return read;
}

/// The machine asked for, or the one most results name.
std::string machine_of(const ReadResults& read, const std::string& asked) {
  if (!asked.empty() || read.machines.empty()) return asked;
  std::map<std::string, int> counts;
  for (const std::string& machine : read.machines) ++counts[machine];
  return std::ranges::max_element(counts, std::less<>(), &std::pair<const std::string, int>::second)
      ->first;
}

void leave_out_others(ReadResults& read, const std::string& machine) {
  std::vector<Epoch> kept;
  for (std::size_t i = 0; i < read.epochs.size(); ++i) {
    if (read.machines[i] == machine) {
      kept.push_back(std::move(read.epochs[i]));
    } else {
      read.left_out.push_back(
          {read.epochs[i].file, LeftOutOfHistory::Why::other_machine, read.machines[i]});
    }
  }
  read.epochs = std::move(kept);
}

std::string shown(const HistoryArguments& arguments, const History& history) {
  if (arguments.json || arguments.form == "json") return write_history(history);
  if (arguments.form == "csv") return write_history_rows(history);
  return history_text(history, length_unit(arguments.units));
}

ExitCode run(const HistoryArguments& arguments, const Console& console) {
  ReadResults read = read_all(result_files(arguments.places), console.disk);
  const std::string machine = machine_of(read, arguments.machine);
  leave_out_others(read, machine);
  if (read.epochs.empty()) {
    Problems problems = {{ProblemNumber::no_data,
                          "there is no usable result to make a history of",
                          {arguments.places.front(), 0, 0},
                          "give a folder of *.result.json files of one machine, or the files"}};
    for (const LeftOutOfHistory& file : read.left_out) {
      problems.push_back({ProblemNumber::no_data, left_out_text(file), {file.file, 0, 0}, ""});
    }
    return refuse(console, problems);
  }
  HistoryOptions options = arguments.options;
  if (arguments.within_mm > 0.0) options.within_mm = arguments.within_mm;
  const History history =
      make_history(machine, std::move(read.epochs), std::move(read.left_out), options);
  const auto delivered = deliver(console, arguments.output, shown(arguments, history));
  if (!delivered) return refuse(console, delivered.error());
  if (arguments.form == "text" && !arguments.json) {
    say_next(console, {"report", history.epochs.back().file, "-o",
                       beside(history.epochs.back().file, ".html")});
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
