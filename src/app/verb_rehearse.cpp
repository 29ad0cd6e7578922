#include <fmt/format.h>

#include <memory>
#include <ostream>

#include "app/check.h"
#include "app/clock.h"
#include "app/control_sheets.h"
#include "app/next_step.h"
#include "app/progress.h"
#include "app/verbs.h"
#include "pivotrace/base/length.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/parameter_file.h"
#include "pivotrace/formats/plan_file.h"
#include "pivotrace/formats/truth_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/rehearsal/rehearse.h"
#include "pivotrace/report/rehearsal_film.h"
#include "pivotrace/report/rehearsal_text.h"

namespace pivotrace::app {

namespace {

struct RehearseArguments {
  std::string program_file;
  std::string machine_file;
  std::string sheet;
  std::string plan_file;
  std::string truth_file;
  std::string parameter_file;
  std::string log_file;
  std::string picture_file;
  std::string film_file;
  std::string fault;
  std::vector<double> start;
  bool noise = false;
  std::uint64_t seed = 1;
  double guard_mm = RehearsalOptions{}.guard_mm;
  bool json = false;
};

/// Everything a rehearsal is made of, read and checked.
struct Rehearsal {
  Machine machine;
  ControlSheet sheet;
  RehearsalTruth truth;
  RehearsalOptions options;
  std::string program;
  std::vector<FilmStop> film;  ///< where the machine came to rest, when it is filmed
};

/// Where the machine stands at first: as the plan says, as the user says, or above everything.
Expected<void> choose_start(const RehearseArguments& arguments, Rehearsal& rehearsal,
                            FileCalls& disk) {
  RehearsalOptions& options = rehearsal.options;
  const auto& travel = rehearsal.machine.linear.travel_mm;
  options.start_mm = {0.5 * (travel[0].low + travel[0].high),
                      0.5 * (travel[1].low + travel[1].high), travel[2].high};
  if (!arguments.plan_file.empty()) {
    const Expected<PlanOnMachine> planned =
        read_plan(arguments.plan_file, arguments.machine_file, disk);
    if (!planned) return tl::make_unexpected(planned.error());
    options.start_mm = start_position_mm(rehearsal.machine, planned->plan);
    if (!planned->plan.stations.empty()) {
      options.start_angles_rad = planned->plan.stations.front().angles_rad;
    }
  }
  if (arguments.start.empty()) return {};
  const double unit_mm = rehearsal.machine.inch ? mm_per_inch : 1.0;
  options.start_mm =
      unit_mm * Eigen::Vector3d(arguments.start[0], arguments.start[1], arguments.start[2]);
  for (std::size_t k = 0; k < 3; ++k) {
    if (travel[k].contains(options.start_mm[static_cast<Eigen::Index>(k)])) continue;
    return failure({ProblemNumber::bad_argument,
                    std::string("--start: ") + "XYZ"[k] + " lies outside the travel",
                    {},
                    "give machine coordinates, in the unit of the machine file"});
  }
  for (std::size_t i = 3; i < arguments.start.size(); ++i) {
    if (i - 3 >= rehearsal.machine.rotary.size()) {
      return failure({ProblemNumber::bad_argument,
                      "--start names more axes than the machine has",
                      {},
                      "give X,Y,Z and one angle for each rotary axis of the machine file"});
    }
    options.start_angles_rad[i - 3] = rad_from_deg(arguments.start[i]);
  }
  return {};
}

Expected<std::string> optional_file(const std::string& path, FileCalls& disk) {
  if (path.empty()) return std::string();
  return read_file(path, disk);
}

bool says_it_is_simulated(const std::string& record) {
  return record.starts_with(simulated_heading) ||
         record.find("# simulated: yes") != std::string::npos;
}

/// A rehearsal takes the place of an earlier one, never that of touches a machine made.
Expected<void> keep_what_was_measured(const std::string& log_file, FileCalls& disk) {
  const Expected<std::string> there = optional_file(log_file == "-" ? "" : log_file, disk);
  if (!there || there->empty() || says_it_is_simulated(*there)) return {};
  return failure({ProblemNumber::bad_argument,
                  "-o would replace a file that does not say it is simulated",
                  {log_file},
                  "give another name; if nobody needs that file, remove it first"});
}

Expected<Rehearsal> prepare(const RehearseArguments& arguments, FileCalls& disk) {
  const Expected<void> kept = keep_what_was_measured(arguments.log_file, disk);
  if (!kept) return tl::make_unexpected(kept.error());
  Rehearsal rehearsal;
  Expected<Machine> machine = read_machine(arguments.machine_file, disk);
  if (!machine) return tl::make_unexpected(machine.error());
  rehearsal.machine = std::move(*machine);
  Expected<ControlSheet> sheet = named_control_sheet(arguments.sheet, disk);
  if (!sheet) return tl::make_unexpected(sheet.error());
  rehearsal.sheet = std::move(*sheet);
  Expected<std::string> program = read_file(arguments.program_file, disk);
  if (!program) return tl::make_unexpected(program.error());
  rehearsal.program = std::move(*program);
  rehearsal.truth = nominal_truth(rehearsal.machine);
  if (!arguments.truth_file.empty()) {
    Expected<RehearsalTruth> truth = read_truth(arguments.truth_file, rehearsal.machine, disk);
    if (!truth) return tl::make_unexpected(truth.error());
    rehearsal.truth = std::move(*truth);
  }
  rehearsal.options.control = usual_start(rehearsal.machine, rehearsal.sheet);
  rehearsal.options.guard_mm = arguments.guard_mm;
  if (arguments.noise) rehearsal.options.noise = stated_noise(rehearsal.machine, arguments.seed);
  if (!arguments.parameter_file.empty() && !rehearsal.sheet.variables.results) {
    return failure({ProblemNumber::bad_argument,
                    "--parameters is only for controls that keep their touches in parameters",
                    {},
                    "leave it out: the control sheet " + rehearsal.sheet.name + " writes a log"});
  }
  Expected<std::string> parameters = optional_file(arguments.parameter_file, disk);
  if (!parameters) return tl::make_unexpected(parameters.error());
  rehearsal.options.parameter_file_name = arguments.parameter_file;
  rehearsal.options.parameter_file = std::move(*parameters);
  if (!arguments.fault.empty()) {
    const Expected<Fault> fault = fault_from_text(arguments.fault);
    if (!fault) return tl::make_unexpected(fault.error());
    rehearsal.options.fault = *fault;
  }
  const Expected<void> start = choose_start(arguments, rehearsal, disk);
  if (!start) return tl::make_unexpected(start.error());
  return rehearsal;
}

Expected<void> write_files(const RehearseArguments& arguments, const Rehearsal& rehearsal,
                           const RehearsalReport& report, const Console& console) {
  if (!arguments.log_file.empty()) {
    const std::string left = report.log.empty()
                                 ? std::string(simulated_heading) + "\n" + report.parameter_file
                                 : "# simulated: yes\n" + report.log;
    Expected<void> delivered = deliver(console, arguments.log_file, left);
    if (!delivered) return delivered;
    if (arguments.log_file != "-") console.err << "wrote " << arguments.log_file << '\n';
  }
  if (!arguments.picture_file.empty()) {
    Expected<void> delivered =
        deliver(console, arguments.picture_file,
                rehearsal_picture(rehearsal.machine, report.state_at_end,
                                  picture_subject(report, rehearsal.machine.inch)));
    if (!delivered) return delivered;
    console.err << "wrote " << arguments.picture_file << '\n';
  }
  if (!arguments.film_file.empty()) {
    const std::string film = rehearsal_film(rehearsal.machine, report, rehearsal.film,
                                            {arguments.program_file, rehearsal.program, utc_now()});
    Expected<void> delivered = deliver(console, arguments.film_file, film);
    if (!delivered) return delivered;
    console.err << "wrote " << arguments.film_file << ": open it in a browser\n";
  }
  return {};
}

/// A program that was not put to the test has not passed it.
bool fault_never_came(const Rehearsal& rehearsal, const RehearsalReport& report) {
  return rehearsal.options.fault && report.fault.empty() && report.run.end == ProgramEnd::finished;
}

Problem never_came(const RehearseArguments& arguments, const RehearsalReport& report) {
  return {ProblemNumber::bad_argument,
          "the fault " + arguments.fault + " never came to pass: the program ended after " +
              std::to_string(report.touches.size()) + " touches",
          {},
          "give the number of a touch that the program makes, or of one before a turn"};
}

/// What one sees when the run is repeated.
std::vector<std::string> once_more(const RehearseArguments& arguments) {
  std::vector<std::string> words = {"rehearse",  arguments.program_file,
                                    "--machine", arguments.machine_file,
                                    "--control", arguments.sheet};
  const auto add = [&words](const char* option, const std::string& value) {
    if (!value.empty()) words.insert(words.end(), {option, value});
  };
  add("--plan", arguments.plan_file);
  add("--truth", arguments.truth_file);
  if (arguments.noise)
    words.insert(words.end(), {"--noise", "--seed", fmt::to_string(arguments.seed)});
  add("--fault", arguments.fault);
  add("--parameters", arguments.parameter_file);
  return words;
}

/// A good run is fitted; one that left nothing behind is repeated so that it does; a bad one is looked at.
std::vector<std::string> next_words(const RehearseArguments& arguments,
                                    const RehearsalReport& report) {
  std::vector<std::string> words = once_more(arguments);
  if (!report.passed) {
    if (!arguments.picture_file.empty()) return {"help", "program"};
    words.insert(words.end(), {"--picture", beside(arguments.program_file, ".svg"), "--film",
                               beside(arguments.program_file, ".film.html")});
    return words;
  }
  if (!is_kept(arguments.log_file)) {
    words.insert(words.end(), {"-o", beside(arguments.program_file, ".touches.csv")});
    return words;
  }
  words = {"fit", arguments.machine_file, arguments.log_file};
  if (report.log.empty()) words.insert(words.end(), {"--plan", arguments.plan_file});
  if (!arguments.truth_file.empty()) words.insert(words.end(), {"--truth", arguments.truth_file});
  words.insert(words.end(), {"-o", beside(arguments.log_file, ".result.json")});
  return words;
}

/// The sheet in whose words the program is written, when it is not the one named.
std::optional<std::string> fitting_sheet(const RehearseArguments& arguments, Rehearsal& rehearsal,
                                         FileCalls& disk) {
  rehearsal.options.progress = {};
  for (const std::string& name : control_sheet_names(disk)) {
    const Expected<ControlSheet> sheet = named_control_sheet(name, disk);
    if (name == arguments.sheet || !sheet) continue;
    rehearsal.options.control = usual_start(rehearsal.machine, *sheet);
    const Expected<RehearsalReport> report =
        rehearse(rehearsal.program, arguments.program_file, rehearsal.machine, *sheet,
                 rehearsal.truth, rehearsal.options);
    if (report && report->run.problems.empty()) return name;
  }
  return std::nullopt;
}

/// A plan in the place of its program would be refused line by line as well.
bool is_no_program(const RehearseArguments& arguments, const Console& console) {
  const std::string kind = kind_of_file(arguments.program_file, console.disk);
  if (kind.empty()) return false;
  console.err << arguments.program_file << " is a " << kind << ", not a program; type: "
              << (kind == "plan"
                      ? command_line({"cycle", arguments.program_file, "--control", arguments.sheet,
                                      "-o", beside(arguments.program_file, ".nc")})
                      : command_line({"check", arguments.program_file}))
              << '\n';
  return true;
}

/// A program in the words of another control is refused line by line: one line says so instead.
bool is_of_another_control(const RehearseArguments& arguments, Rehearsal& rehearsal,
                           const RehearsalReport& report, const Console& console) {
  if (report.run.end != ProgramEnd::refused || report.run.problems.empty()) return false;
  const auto sheet = fitting_sheet(arguments, rehearsal, console.disk);
  if (!sheet) return false;
  RehearseArguments right = arguments;
  right.sheet = *sheet;
  console.err << arguments.program_file << " is not in the words of " << arguments.sheet
              << ", but of " << *sheet << "; type: " << command_line(once_more(right)) << '\n';
  return true;
}

/// Thousands of lines may be refused for the same reason.
void keep_the_first(Problems& problems) {
  constexpr std::size_t enough = 10;
  if (problems.size() <= enough) return;
  const std::size_t more = problems.size() - enough;
  problems.resize(enough);
  problems.back().advice += fmt::format("; and {} more lines like these", more);
}

ExitCode run(const RehearseArguments& arguments, const Console& console) {
  const auto fail = [&](const Problems& problems) {
    console.report(problems);
    return exit_code_for(problems);
  };
  Expected<Rehearsal> rehearsal = prepare(arguments, console.disk);
  if (!rehearsal) return fail(rehearsal.error());
  ProgressLine progress(console, "rehearsing", "blocks");
  rehearsal->options.progress = [&progress](std::size_t blocks) { progress.show(blocks); };
  if (!arguments.film_file.empty()) {
    rehearsal->options.at_rest = [&film = rehearsal->film](double time_s, const Moment& moment) {
      film.push_back({time_s, moment});
    };
  }
  Expected<RehearsalReport> report =
      rehearse(rehearsal->program, arguments.program_file, rehearsal->machine, rehearsal->sheet,
               rehearsal->truth, rehearsal->options);
  progress.clear();
  if (!report) return fail(report.error());
  if (!arguments.json) {
    if ((report->run.end == ProgramEnd::refused && is_no_program(arguments, console)) ||
        is_of_another_control(arguments, *rehearsal, *report, console)) {
      return ExitCode::wrong_input;
    }
    keep_the_first(report->run.problems);
  }
  if (arguments.plan_file.empty() && arguments.start.empty()) {
    report->notes.emplace_back(
        "started above the middle of the travel: neither --plan nor --start says where");
  }
  if (fault_never_came(*rehearsal, *report)) return fail({never_came(arguments, *report)});
  const Expected<void> written = write_files(arguments, *rehearsal, *report, console);
  if (!written) return fail(written.error());
  if (arguments.json) {
    console.out << rehearsal_json(*report, rehearsal->machine);
  } else if (arguments.log_file != "-") {
    console.out << rehearsal_text(*report, rehearsal->machine);
  }
  if (!arguments.json && report->run.end != ProgramEnd::refused) {
    say_next(console, next_words(arguments, *report));
  }
  return report->passed ? ExitCode::good : ExitCode::not_good;
}

constexpr const char* footer =
    "Example:\n"
    "  pivotrace rehearse probe.nc --machine fourth-axis.machine.toml --control demo-control \\\n"
    "      --plan fourth-axis.plan.toml --truth fourth-axis.truth.toml --noise -o rehearsed.csv\n"
    "runs the text of the program block by block, reports what it would touch and hit, how long\n"
    "it takes, and leaves the touches as the control would; 'pivotrace fit' on them must give\n"
    "back what the truth file says.\n"
    "Something going wrong on purpose, --fault:\n"
    "  no-trigger:5       the probe does not notice touch 5\n"
    "  early-trigger:5    touch 5 triggers half-way, in the air\n"
    "  moved-artefact:3   every artefact sits 3 mm elsewhere from touch 3 on\n"
    "  wrong-turn         the rotary axes turn the wrong way; wrong-turn:9, from touch 9 on\n"
    "  index-slip:4       the first turn after touch 4 ends 1 deg off and stays so\n"
    "Every touch counts, fast or slow. A good program stops itself, retracted, or copes.\n"
    "Exit code 1: it ran, but did not pass, or stopped itself; the report says why and where.\n"
    "A rehearsal knows only what the files say. On the machine: slowly, hand on the stop, by "
    "the\n"
    "machine's manual and your local safety rules.";

}  // namespace

void add_rehearse_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<RehearseArguments>();
  CLI::App* verb = app.add_subcommand(
      "rehearse", "Run a probing program on a virtual machine before it runs on a real one");
  verb->footer(footer);
  verb->add_option("PROGRAM", arguments->program_file, "program as the control gets it")
      ->type_name("FILE")
      ->required();
  verb->add_option("--machine", arguments->machine_file, "machine file (*.machine.toml)")
      ->type_name("FILE")
      ->required();
  verb->add_option("--control", arguments->sheet, "name of a control sheet, or its file")
      ->type_name("SHEET")
      ->required();
  verb->add_option("--plan", arguments->plan_file, "start where this plan starts (*.plan.toml)")
      ->type_name("FILE");
  verb->add_option(
          "--start", arguments->start,
          "start here instead: X,Y,Z as the control shows them, in the unit of the machine "
          "file, then angles in degrees")
      ->delimiter(',')
      ->type_name("X,Y,Z,...")
      ->expected(3, 3 + max_rotary_axes);
  verb->add_option("--truth", arguments->truth_file,
                   "how the machine really is (*.truth.toml); default: as its file says")
      ->type_name("FILE");
  verb->add_flag("--noise", arguments->noise, "err at random by the sigmas of the machine file");
  verb->add_option("--seed", arguments->seed, "which random errors (default 1)");
  verb->add_option("--fault", arguments->fault, "make this go wrong on purpose, see below");
  verb->add_option("--guard", arguments->guard_mm,
                   "least distance of rapid moves and turns from anything, mm (default 3)")
      ->check(CLI::Range(0.0, 1000.0));
  verb->add_option("--parameters", arguments->parameter_file,
                   "ngc: the control's parameter file at the start")
      ->type_name("FILE");
  verb->add_option("-o,--output", arguments->log_file,
                   "write here what the control leaves: its log, or its parameter file")
      ->type_name("FILE");
  verb->add_option("--picture", arguments->picture_file,
                   "draw the violation, or the smallest clearance (SVG)")
      ->type_name("FILE");
  verb->add_option("--film", arguments->film_file,
                   "play the run on a page of its own (HTML): machine, program line, clearance")
      ->type_name("FILE");
  verb->add_flag("--json", arguments->json, "print the report as JSON");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
