#include <memory>
#include <optional>
#include <ostream>

#include "app/next_step.h"
#include "app/verbs.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/plan_file.h"
#include "pivotrace/plan/make_plan.h"
#include "pivotrace/report/drawing.h"
#include "pivotrace/report/plan_text.h"

namespace pivotrace::app {

namespace {

struct PlanArguments {
  std::string machine_file;
  std::string purpose = "check";
  double minutes = 0.0;
  std::vector<std::string> axes;
  int stations = 0;
  int equator = 0;
  std::string order;
  double rough_mm = -1.0;
  double clearance_mm = -1.0;
  bool flip = false;
  bool from_file = false;
  std::string plan_file;
  std::string drawing_file;
  bool json = false;
};

PlanRequest request_of(const PlanArguments& arguments) {
  PlanRequest request;
  if (arguments.purpose == "commissioning") request.purpose = Purpose::commissioning;
  if (arguments.purpose == "crash") request.purpose = Purpose::after_crash;
  if (arguments.minutes > 0.0) {
    request.purpose = Purpose::minutes;
    request.minutes = arguments.minutes;
  }
  for (const std::string& letter : arguments.axes) {
    if (!letter.empty()) request.axes.push_back(letter.front());
  }
  if (arguments.stations != 0) request.stations = arguments.stations;
  if (arguments.equator != 0) request.equator_touches = arguments.equator;
  if (arguments.order == "there-and-back") request.order = StationOrder::there_and_back;
  if (arguments.order == "pairs") request.order = StationOrder::pairs;
  if (arguments.rough_mm >= 0.0) request.rough_mm = arguments.rough_mm;
  if (arguments.clearance_mm >= 0.0) request.clearance_mm = arguments.clearance_mm;
  request.flip = arguments.flip;
  request.self_find = !arguments.from_file;
  return request;
}

/// A plan that is kept becomes a program; one that was only looked at is kept.
std::vector<std::string> next_words(const PlanArguments& arguments) {
  const std::string& plan = arguments.plan_file;
  if (is_kept(plan)) {
    return {"cycle",     plan,
            "--control", "ngc",
            "-o",        beside(plan, ".nc"),
            "--sheet",   beside(plan, ".sheet.html")};
  }
  return {"plan",  arguments.machine_file,
          "--for", arguments.purpose,
          "-o",    beside(arguments.machine_file, ".plan.toml")};
}

ExitCode run(const PlanArguments& arguments, const Console& console) {
  const auto fail = [&](const Problems& problems) {
    console.report(problems);
    return exit_code_for(problems);
  };
  const Expected<Machine> machine = read_machine(arguments.machine_file, console.disk);
  if (!machine) return fail(machine.error());
  const Expected<PlanOutcome> outcome = make_plan(*machine, request_of(arguments));
  if (!outcome) return fail(outcome.error());
  if (!arguments.plan_file.empty()) {
    const auto machine_file = seen_from(arguments.machine_file, arguments.plan_file, console.disk);
    if (!machine_file) return fail(machine_file.error());
    const auto delivered =
        deliver(console, arguments.plan_file, write_plan(outcome->plan, *machine, *machine_file));
    if (!delivered) return fail(delivered.error());
  }
  if (!arguments.drawing_file.empty()) {
    const auto delivered =
        deliver(console, arguments.drawing_file, draw_setup(*machine, outcome->plan));
    if (!delivered) return fail(delivered.error());
  }
  if (arguments.json) {
    console.out << plan_json(*machine, *outcome);
  } else if (arguments.plan_file != "-" && arguments.drawing_file != "-") {
    console.out << plan_text(*machine, *outcome);
  }
  for (const std::string* file : {&arguments.plan_file, &arguments.drawing_file}) {
    if (!file->empty() && *file != "-") console.err << "wrote " << *file << '\n';
  }
  if (!arguments.json) say_next(console, next_words(arguments));
  return ExitCode::good;
}

}  // namespace

void add_plan_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<PlanArguments>();
  CLI::App* verb = app.add_subcommand(
      "plan", "Choose stations and touches, and say how well they will tell the axis");
  verb->footer(
      "Example:\n"
      "  pivotrace plan fourth-axis.machine.toml --for commissioning -o fourth-axis.plan.toml "
      "--drawing setup.svg\n"
      "shows stations, touches, minutes and the uncertainty to expect, and keeps the plan for\n"
      "'pivotrace cycle'. The plan is text: edit it, then run 'pivotrace check' on it.");
  verb->add_option("MACHINE", arguments->machine_file, "machine file (*.machine.toml)")
      ->type_name("FILE")
      ->required();
  verb->add_option("--for", arguments->purpose, "commissioning, check or crash (default: check)")
      ->check(CLI::IsMember({"commissioning", "check", "crash"}));
  verb->add_option("--minutes", arguments->minutes, "as good as possible in this many minutes")
      ->check(CLI::PositiveNumber);
  verb->add_option("--axis", arguments->axes, "measure only this axis (may be given again)");
  verb->add_option("--stations", arguments->stations, "stations per axis");
  verb->add_option("--equator", arguments->equator, "touches round the equator of a ball");
  verb->add_option("--order", arguments->order, "there-and-back or pairs")
      ->check(CLI::IsMember({"there-and-back", "pairs"}));
  verb->add_option("--rough", arguments->rough_mm,
                   "how far the machine file or the jog may be off, mm");
  verb->add_option("--clearance", arguments->clearance_mm, "clearance before each touch, mm");
  verb->add_flag("--flip", arguments->flip, "second pass with the spindle turned by 180 deg");
  verb->add_flag("--from-file", arguments->from_file,
                 "start from the positions in the machine file, not from a jogged position");
  verb->add_option("-o,--output", arguments->plan_file, "keep the plan here (TOML)")
      ->type_name("FILE");
  verb->add_option("--drawing", arguments->drawing_file, "draw the set-up here (SVG)")
      ->type_name("FILE");
  verb->add_flag("--json", arguments->json, "print the summary as JSON");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
