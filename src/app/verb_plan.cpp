#include <csignal>
#include <memory>
#include <optional>
#include <ostream>

#include "app/next_step.h"
#include "app/progress.h"
#include "app/verbs.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/plan_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/formats/wanted_text.h"
#include "pivotrace/plan/find_plan.h"
#include "pivotrace/report/drawing.h"
#include "pivotrace/report/plan_text.h"

namespace pivotrace::app {

namespace {

struct PlanArguments {
  std::string machine_file;
  std::string purpose;
  double minutes = 0.0;
  std::string within;
  std::string detect;
  std::string against;
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
  std::string certificate_file;
  bool json = false;
};

Purpose purpose_of(const PlanArguments& arguments) {
  if (arguments.purpose == "commissioning") return Purpose::commissioning;
  if (arguments.purpose == "crash") return Purpose::after_crash;
  const bool named = !arguments.purpose.empty();
  const bool asked =
      arguments.minutes > 0.0 || !arguments.within.empty() || !arguments.detect.empty();
  return asked && !named ? Purpose::minutes : Purpose::periodic_check;
}

std::vector<char> axes_of(const PlanArguments& arguments) {
  std::vector<char> axes;
  for (const std::string& letter : arguments.axes) {
    if (!letter.empty()) axes.push_back(letter.front());
  }
  return axes;
}

/// Stations counted, or an order named: the regular pattern, as asked.
bool by_hand(const PlanArguments& arguments) {
  return arguments.stations != 0 || arguments.equator != 0 || !arguments.order.empty() ||
         arguments.flip;
}

PlanRequest regular_request(const PlanArguments& arguments) {
  PlanRequest request;
  request.purpose = purpose_of(arguments);
  if (arguments.minutes > 0.0) {
    request.purpose = Purpose::minutes;
    request.minutes = arguments.minutes;
  }
  request.axes = axes_of(arguments);
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

/// Values named one by one leave the others this much more room.
constexpr double room_for_others = 10.0;
/// What is wanted may take so long where nobody says how long.
constexpr double minutes_for_wanted = 30.0;

/// What is typed after --within, --detect and --minutes.
Expected<FindRequest> search_request(const PlanArguments& arguments, const Machine& machine,
                                     const Console& console) {
  FindRequest request = request_for(purpose_of(arguments), machine);
  request.axes = axes_of(arguments);
  request.self_find = !arguments.from_file;
  if (arguments.rough_mm >= 0.0) request.rough_mm = arguments.rough_mm;
  if (arguments.clearance_mm >= 0.0) request.clearance_mm = arguments.clearance_mm;
  if (!arguments.within.empty()) {
    const Expected<WantedText> wanted = parse_wanted(arguments.within);
    if (!wanted) return tl::make_unexpected(wanted.error());
    const double room = wanted->length_mm || wanted->angle_rad ? 1.0 : room_for_others;
    request.length_mm = wanted->length_mm.value_or(room * request.length_mm);
    request.angle_rad = wanted->angle_rad.value_or(
        wanted->length_mm ? *wanted->length_mm / arm_of_an_angle_mm : room * request.angle_rad);
    request.within = wanted->values;
    request.minutes = minutes_for_wanted;
  }
  if (!arguments.detect.empty()) {
    const Expected<double> shift_mm = parse_length_mm(arguments.detect);
    if (!shift_mm) return tl::make_unexpected(shift_mm.error());
    request.detect = Detection{*shift_mm, {}};
    if (!arguments.against.empty()) {
      Expected<FitResult> read = read_result(arguments.against, console.disk);
      if (!read) return tl::make_unexpected(read.error());
      request.detect->earlier = std::move(*read);
    }
    request.minutes = minutes_for_wanted;
  }
  if (arguments.minutes > 0.0) {
    request.minutes = arguments.minutes;
    request.stop_when_reached = !arguments.within.empty() || !arguments.detect.empty();
  }
  return request;
}

/// Ctrl-C ends a search, not the program.
class Interruption {
 public:
  Interruption() : before_(std::signal(SIGINT, [](int) { asked = 1; })) { asked = 0; }
  ~Interruption() { std::signal(SIGINT, before_); }
  Interruption(const Interruption&) = delete;
  Interruption& operator=(const Interruption&) = delete;

  static bool came() { return asked != 0; }

 private:
  using Handler = void (*)(int);
  static inline volatile std::sig_atomic_t asked = 0;
  Handler before_;
};

Expected<PlanOutcome> planned(const PlanArguments& arguments, const Machine& machine,
                              const Console& console) {
  if (by_hand(arguments)) return make_plan(machine, regular_request(arguments));
  Expected<FindRequest> request = search_request(arguments, machine, console);
  if (!request) return tl::make_unexpected(request.error());
  constexpr std::size_t parts = 100;
  ProgressLine line(console, "planning (Ctrl-C: the best so far)", "% of the minutes looked at",
                    parts);
  const Interruption interruption;
  request->progress = [&](double part) {
    line.show(static_cast<std::size_t>(part * parts));
    return !Interruption::came();
  };
  Expected<PlanOutcome> outcome = find_plan(machine, *request);
  line.clear();
  if (outcome || !arguments.within.empty() || !arguments.detect.empty()) return outcome;
  // Nothing was promised of a single value: the even pattern leaves out what cannot be reached.
  Expected<PlanOutcome> regular = make_plan(machine, regular_request(arguments));
  if (!regular) return outcome;
  console.err << "note: no shorter survey was found (" << outcome.error().front().what
              << "); stations are spread evenly instead\n";
  return regular;
}

/// Everything the proof of a search rests on.
Expected<std::string> certificate_text(const PlanArguments& arguments, const Machine& machine,
                                       const PlanOutcome& outcome, const Console& console) {
  if (!outcome.certificate) {
    return failure({ProblemNumber::bad_argument,
                    "a plan of a regular pattern, or to detect a shift, has no certificate",
                    {},
                    "leave out --stations, --equator, --order, --flip and --detect"});
  }
  return search_request(arguments, machine, console).and_then([&](const FindRequest& request) {
    return certified_visits(machine, request).map([&](const std::vector<CertifiedVisit>& visits) {
      return certificate_json(machine, outcome, visits);
    });
  });
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
          "--for", arguments.purpose.empty() ? "check" : arguments.purpose,
          "-o",    beside(arguments.machine_file, ".plan.toml")};
}

ExitCode run(const PlanArguments& arguments, const Console& console) {
  const auto fail = [&](const Problems& problems) {
    console.report(problems);
    return exit_code_for(problems);
  };
  const Expected<Machine> machine = read_machine(arguments.machine_file, console.disk);
  if (!machine) return fail(machine.error());
  const Expected<PlanOutcome> outcome = planned(arguments, *machine, console);
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
  if (!arguments.certificate_file.empty()) {
    const auto text = certificate_text(arguments, *machine, *outcome, console);
    if (!text) return fail(text.error());
    const auto delivered = deliver(console, arguments.certificate_file, *text);
    if (!delivered) return fail(delivered.error());
  }
  if (arguments.json) {
    console.out << plan_json(*machine, *outcome);
  } else if (arguments.plan_file != "-" && arguments.drawing_file != "-" &&
             arguments.certificate_file != "-") {
    console.out << plan_text(*machine, *outcome);
  }
  for (const std::string* file :
       {&arguments.plan_file, &arguments.drawing_file, &arguments.certificate_file}) {
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
  verb->add_option("--within", arguments->within,
                   "U95 wanted: 3um (all), 3um,8arcsec, or A.centre.Z=2um,A.orientation.B=5arcsec");
  auto* detect =
      verb->add_option("--detect", arguments->detect,
                       "find a shift of this size in 8 of 10 cases: 5um (angles: over 100 mm)");
  verb->add_option(
          "--against", arguments->against,
          "the earlier result (*.result.json) to detect a shift against; default: this survey "
          "made again")
      ->needs(detect);
  verb->add_option("--axis", arguments->axes, "measure only this axis (may be given again)");
  verb->add_option("--stations", arguments->stations,
                   "stations per axis: a regular pattern instead of a search");
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
  verb->add_option("--certificate", arguments->certificate_file,
                   "write here what the proof rests on, so that anyone can compute it again (JSON)")
      ->type_name("FILE");
  verb->add_flag("--json", arguments->json, "print the summary as JSON");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
