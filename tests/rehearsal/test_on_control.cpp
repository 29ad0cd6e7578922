// The centre the control works out itself, read off the rehearsed program as an operator would, beside
// `fit` on the log of the same run.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cctype>
#include <cmath>
#include <regex>

#include "control/control_state.h"
#include "pivotrace/estimate/fit.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/line.h"
#include "pivotrace/plan/check_plan.h"
#include "pivotrace/report/rehearsal_text.h"
#include "rehearsal/demo_loop.h"
#include "rehearsal/virtual_machine.h"

namespace pivotrace {
namespace {

using test::DemoLoop;

/// What the stops of the program told the operator.
struct Told {
  int centre_stops = 0;
  std::map<char, double> centre;  ///< Y, Z: the new centre
  std::map<char, double> was;     ///< of the machine file
  double spread = -1.0;
  double moved = -1.0;
  int offset_stops = 0;
  std::map<char, double> old_offset;
  std::map<char, double> new_offset;
};

double number_in(const std::smatch& match, std::size_t group) { return std::stod(match[group]); }

/// "centre of A: Y in #512 (= -199.92), was -200; Z in ...; spread in ..., moved by ...", and
/// "start writes work offset 2: Y old #5242 (= ...) new #512 (= ...), Z ...".
Told told_by(const std::vector<std::string>& messages) {
  constexpr auto any_case = std::regex::icase;
  const std::string value = R"([^ ]+ \(= (-?[0-9.]+)\))";
  const std::regex centre("([XYZ]) in " + value + R"(, was (-?[0-9.]+))", any_case);
  const std::regex spread("spread in " + value, any_case);
  const std::regex moved("moved by " + value, any_case);
  const std::regex offset("([XYZ]) old " + value + " new " + value, any_case);
  Told told;
  for (const std::string& message : messages) {
    std::smatch match;
    for (std::sregex_iterator at(message.begin(), message.end(), centre), end; at != end; ++at) {
      const char letter = static_cast<char>(std::toupper((*at)[1].str()[0]));
      told.centre[letter] = number_in(*at, 2);
      told.was[letter] = number_in(*at, 3);
    }
    if (std::regex_search(message, match, spread)) {
      told.spread = number_in(match, 1);
      ++told.centre_stops;
    }
    if (std::regex_search(message, match, moved)) told.moved = number_in(match, 1);
    for (std::sregex_iterator at(message.begin(), message.end(), offset), end; at != end; ++at) {
      const char letter = static_cast<char>(std::toupper((*at)[1].str()[0]));
      told.old_offset[letter] = number_in(*at, 2);
      told.new_offset[letter] = number_in(*at, 3);
      if (letter == 'Z') ++told.offset_stops;
    }
  }
  return told;
}

const char* const control_files[] = {"routines/demo-control.toml", "routines/ngc.toml",
                                     "tests/cycle/third.toml"};

struct Job {
  Machine machine = read_machine(test::in_source("examples/fourth-axis.machine.toml")).value();
  RehearsalTruth truth;
  CycleOptions how;
  Purpose purpose = Purpose::periodic_check;

  Job() {
    how.solve_axis = 0;
    truth = nominal_truth(machine);
    truth.survey.state.axis_lines[0].point_mm += Eigen::Vector3d(0.0, 0.083, -0.051);
    truth.survey.state.axis_lines[0].direction = Eigen::Vector3d(1.0, 2.1e-4, -3.4e-4).normalized();
    truth.survey.state.artefacts[0].point_mm += Eigen::Vector3d(0.4, -0.3, 0.2);
  }

  DemoLoop loop(const char* control_file) const {
    PlanRequest request;
    request.purpose = purpose;
    const Expected<DemoLoop> made = test::demo_loop(
        machine, read_control_sheet(test::in_source(control_file)).value(), request, how);
    if (!made) MESSAGE(test::all_of(made.error()));
    REQUIRE(made.has_value());
    return *made;
  }

  SurveyNoise noise(std::uint64_t seed) const {
    SurveyNoise stated;
    stated.touch_sigma_mm = machine.probe.touch_sigma_mm;
    stated.station_sigma_mm = machine.linear.station_sigma_mm;
    stated.index_sigma_rad[0] = machine.rotary[0].index_sigma_rad;
    stated.seed = seed;
    return stated;
  }
};

RehearsalReport run(const DemoLoop& loop, const Job& job, const SurveyNoise& noise = {}) {
  RehearsalOptions options = test::options_for(loop);
  options.noise = noise;
  const Expected<RehearsalReport> report =
      rehearse(loop.program.text, "p.nc", job.machine, loop.sheet, job.truth, options);
  REQUIRE(report.has_value());
  return *report;
}

FitResult fitted(const DemoLoop& loop, const RehearsalReport& report) {
  const Expected<Survey> survey = test::survey_of(loop, report);
  if (!survey) MESSAGE(test::all_of(survey.error()));
  REQUIRE(survey.has_value());
  FitOptions options;
  options.screen = false;  // the control leaves nothing out
  const Expected<FitResult> fit = fit_survey(loop.machine, *survey, options);
  REQUIRE(fit.has_value());
  return *fit;
}

/// The fitted line where the control quotes its centre: the mean place of the ball along the axis.
Eigen::Vector3d fitted_centre_mm(const FitResult& fit, const Job& job) {
  const Eigen::Vector3d& along = job.machine.rotary[0].direction;
  double place_mm = 0.0;
  for (int k = 0; k < 3; ++k) place_mm += along[k] * fit.artefacts[0].position[k].value;
  return pierce_plane(fit.axes[0].line, along, place_mm);
}

/// Without noise both solve the same equations. What is left is the last digit of the record the fit
/// reads: half of it for each coordinate of each touch, and the mean over the touches of a run is
/// closer. The control itself works with all its digits.
constexpr double record_digit_mm = 1e-4;

TEST_CASE("on the control: without noise its centre is that of fit, to the digits of the record") {
  for (const char* sheet : control_files) {
    for (const auto& [purpose, datum] : {std::pair(Purpose::periodic_check, LengthDatum::centre),
                                         std::pair(Purpose::periodic_check, LengthDatum::tip),
                                         std::pair(Purpose::commissioning, LengthDatum::centre)}) {
      CAPTURE(sheet);
      Job job;
      job.purpose = purpose;
      job.machine.probe.length_datum = datum;
      const DemoLoop loop = job.loop(sheet);
      const RehearsalReport report = run(loop, job);
      CAPTURE(rehearsal_text(report, job.machine));
      REQUIRE(report.passed);
      const Told told = told_by(report.messages);
      REQUIRE(told.centre.size() == 2);
      CHECK(told.centre_stops == 1);
      CHECK(told.offset_stops == 0);
      const FitResult fit = fitted(loop, report);
      const Eigen::Vector3d centre_mm = fitted_centre_mm(fit, job);
      CHECK(std::fabs(told.centre.at('Y') - centre_mm.y()) <= record_digit_mm);
      CHECK(std::fabs(told.centre.at('Z') - centre_mm.z()) <= record_digit_mm);
      CHECK(told.was.at('Y') == doctest::Approx(-200.0));
      CHECK(told.was.at('Z') == doctest::Approx(-250.0));
      CHECK(told.moved ==
            doctest::Approx(std::hypot(told.centre.at('Y') + 200.0, told.centre.at('Z') + 250.0))
                .epsilon(1e-4));
      // One linear step finds a ball centre from a prediction that is up to 0.1 mm off: what is left
      // is its square over twice the reach, 0.1^2 / (2 * 15.7) mm.
      CHECK(told.spread >= 0.0);
      // The single touches aim where the file says: beside the centre by that shift, the lean and what
      // the index errors of the truth add, and a touch aimed e beside reads e^2 / (2 (R + r)) too far out.
      const double beside_mm = std::hypot(0.083, 0.051) + 0.015;
      CHECK(told.spread <= beside_mm * beside_mm / (2.0 * 15.7));
    }
  }
}

/// A short part and, with a touch less at each station, a longer one after it.
Plan plan_in_two_parts(const Machine& machine) {
  PlanRequest request;
  request.stations = 5;
  Plan plan = make_plan(machine, request).value().plan;
  request.stations = 12;
  const Plan longer = make_plan(machine, request).value().plan;
  for (PlannedStation station : longer.stations) {
    station.label = std::to_string(plan.stations.size() + 1);
    station.touches.pop_back();
    plan.stations.push_back(station);
  }
  return plan;
}

TEST_CASE("on the control: a longer part after the one that is solved leaves its places alone") {
  const Job job;
  for (const char* sheet : {"routines/demo-control.toml", "tests/cycle/third.toml"}) {
    CAPTURE(sheet);
    DemoLoop loop = job.loop(sheet);
    loop.plan = plan_in_two_parts(job.machine);
    const auto program = make_program(job.machine, loop.plan, loop.sheet, job.how);
    if (!program) MESSAGE(test::all_of(program.error()));
    REQUIRE(program.has_value());
    loop.program = *program;
    const RehearsalReport report = run(loop, job);
    CAPTURE(rehearsal_text(report, job.machine));
    REQUIRE(report.passed);
    const Told told = told_by(report.messages);
    REQUIRE(told.centre.size() == 2);
    // The truth moves the line by (0.083, -0.051) at X -300; the ball stands 30 mm further along a
    // lean of 3.4e-4: 0.01 mm.
    CHECK(std::fabs(told.centre.at('Y') - (-200.0 + 0.083)) < 0.02);
    CHECK(std::fabs(told.centre.at('Z') - (-250.0 - 0.051)) < 0.02);
    // The single touches aim where the file says: beside the centre by that shift, the lean and what
    // the index errors of the truth add, and a touch aimed e beside reads e^2 / (2 (R + r)) too far out.
    const double beside_mm = std::hypot(0.083, 0.051) + 0.015;
    CHECK(told.spread <= beside_mm * beside_mm / (2.0 * 15.7));
  }
}

TEST_CASE("a second visit to one target at a station touches where the plan says") {
  const Machine machine =
      read_machine(test::in_source("examples/pin-in-chuck.machine.toml")).value();
  const ControlSheet sheet =
      read_control_sheet(test::in_source("routines/demo-control.toml")).value();
  PlanRequest request;
  request.self_find = true;
  DemoLoop loop = test::demo_loop(machine, sheet, request).value();
  for (PlannedStation& station : loop.plan.stations) {
    // Back to the height of the first touch, from the other side round.
    const double height_mm = station.touches.front().along_mm;
    std::vector<PlannedTouch> again;
    for (const PlannedTouch& touch : station.touches) {
      if (touch.along_mm == height_mm) again.insert(again.begin(), touch);
    }
    REQUIRE(station.touches.back().along_mm != height_mm);
    station.touches.insert(station.touches.end(), again.begin(), again.end());
  }
  const auto program = make_program(machine, loop.plan, sheet, {});
  if (!program) MESSAGE(test::all_of(program.error()));
  REQUIRE(program.has_value());
  loop.program = *program;
  const Expected<RehearsalReport> report = rehearse(
      loop.program.text, "p.nc", machine, sheet, nominal_truth(machine), test::options_for(loop));
  REQUIRE(report.has_value());
  CAPTURE(rehearsal_text(*report, machine));
  REQUIRE(report->passed);
  const Survey survey = test::survey_of(loop, *report).value();
  const MachineState state = nominal_state(machine);
  std::size_t at = 0;
  for (const PlannedStation& station : loop.plan.stations) {
    for (const PlannedTouch& touch : station.touches) {
      REQUIRE(at < survey.touches.size());
      const PlacedTouch placed =
          place_touch(machine, state, loop.plan.distances, station.angles_rad, touch);
      CAPTURE(at);
      CHECK((survey.touches[at].shown_mm - placed.contact_mm()).norm() < 0.01);
      ++at;
    }
  }
  CHECK(at == survey.touches.size());
}

/// With noise the control weighs all stations alike and takes its radius as it comes, the fit weighs
/// them by what is known of them. By Gauss and Markov the fit is the better one, and the difference
/// of the two is no larger than the control's own error: its sigma is that of the mean of as many
/// stations, sigma_c = sigma_p / sqrt(N (1 - |mean e|^2)) (least squares, written out).
double control_sigma_mm(const Job& job, const DemoLoop& loop) {
  double c = 0.0;
  double s = 0.0;
  const auto n = static_cast<double>(loop.plan.stations.size());
  for (const PlannedStation& station : loop.plan.stations) {
    c += std::cos(station.angles_rad[0]) / n;
    s += std::sin(station.angles_rad[0]) / n;
  }
  const double orbit_mm = 60.0;
  const double station = std::hypot(job.machine.linear.station_sigma_mm,
                                    orbit_mm * job.machine.rotary[0].index_sigma_rad);
  // Five or six touches: a coordinate of one ball centre, at most one sigma of a touch.
  const double place = std::hypot(station, job.machine.probe.touch_sigma_mm);
  return place / std::sqrt(n * (1.0 - c * c - s * s));
}

TEST_CASE("on the control: with noise its centre differs from fit by less than its own error") {
  for (const char* sheet : {"routines/demo-control.toml", "routines/ngc.toml"}) {
    const Job job;
    const DemoLoop loop = job.loop(sheet);
    const double sigma_mm = control_sigma_mm(job, loop);
    double squares = 0.0;
    int values = 0;
    for (std::uint64_t seed = 1; seed <= 20; ++seed) {
      CAPTURE(sheet);
      CAPTURE(seed);
      const RehearsalReport report = run(loop, job, job.noise(seed));
      REQUIRE(report.passed);
      const Told told = told_by(report.messages);
      REQUIRE(told.centre.size() == 2);
      const Eigen::Vector3d centre_mm = fitted_centre_mm(fitted(loop, report), job);
      for (const char letter : {'Y', 'Z'}) {
        const double difference = told.centre.at(letter) - centre_mm[letter - 'X'];
        // Five sigma of the control's error: never in 40 values.
        CHECK(std::fabs(difference) <= 5.0 * sigma_mm);
        squares += difference * difference;
        ++values;
      }
      CHECK(told.spread > 0.0);
      CHECK(told.spread < 0.03);
    }
    CHECK(std::sqrt(squares / values) <= sigma_mm);
  }
}

TEST_CASE("on the control: a centre beyond the limit stops the program before any offset") {
  for (const char* sheet : control_files) {
    CAPTURE(sheet);
    Job job;
    job.how.set_offset = 2;
    // It lies 0.097 mm off, give or take the lean.
    job.how.centre_limit_mm = 0.2;
    CHECK(run(job.loop(sheet), job).passed);
    job.how.centre_limit_mm = 0.05;
    const RehearsalReport report = run(job.loop(sheet), job);
    CHECK_FALSE(report.passed);
    CHECK(report.run.end == ProgramEnd::alarm);
    REQUIRE(report.run.problems.size() == 1);
    CHECK(report.run.problems[0].number == ProblemNumber::program_stopped);
    const Told told = told_by(report.messages);
    CHECK(told.centre_stops == 1);
    CHECK(told.offset_stops == 0);
    CHECK(told.moved > 0.05);
    // It stands retracted.
    CHECK(report.end.shown_mm.z() == doctest::Approx(job.loop(sheet).plan.distances.safe_height));
  }
}

/// An operator who looks up a variable at every stop.
class Watchful : public rehearsal::VirtualMachine {
 public:
  Watchful(const Machine& machine, const RehearsalTruth& truth, const RehearsalOptions& options,
           const Variables& variables, int watched)
      : VirtualMachine(machine, truth, options), variables_(variables), watched_(watched) {}

  MachineAnswer operator_stop(const std::string& text, bool optional) override {
    seen.push_back(variables_.value(watched_));
    return VirtualMachine::operator_stop(text, optional);
  }

  std::vector<double> seen;

 private:
  const Variables& variables_;
  int watched_;
};

TEST_CASE("on the control: the work offset is written after the last stop, and as it was told") {
  // In ngc: NISTIR 6556 section 3.2.1, parameters 5221 + 20 (n - 1) + 0..5.
  constexpr int y_of_second_in_ngc = 5242;
  for (const char* sheet : {"routines/demo-control.toml", "routines/ngc.toml"}) {
    CAPTURE(sheet);
    Job job;
    job.how.set_offset = 2;
    const DemoLoop loop = job.loop(sheet);
    const RehearsalOptions options = test::options_for(loop);
    const PositionRules& known = loop.sheet.position;
    const int y_of_second = known.work_origin_1.at('Y') + known.work_origin_step;
    if (loop.sheet.name == "ngc") CHECK(y_of_second == y_of_second_in_ngc);
    Variables variables(loop.sheet.variables.readable);
    Watchful machine(job.machine, job.truth, options, variables, y_of_second);
    InterpreterOptions how;
    how.start = options.control;
    how.auxiliary_words = {"M10", "M11"};
    const ProgramRun outcome =
        run_program(loop.program.text, "p.nc", loop.sheet, machine, variables, how);
    REQUIRE(outcome.end == ProgramEnd::finished);
    REQUIRE(machine.seen.size() >= 2);
    const double old = options.control.work_origins[1][1];
    for (const double value : machine.seen) CHECK(value == doctest::Approx(old));
    const Told told = told_by(run(loop, job).messages);
    CHECK(told.offset_stops == 1);
    CHECK(told.old_offset.at('Y') == doctest::Approx(old));
    CHECK(told.new_offset.at('Y') == doctest::Approx(told.centre.at('Y')));
    CHECK(variables.value(y_of_second) == doctest::Approx(told.new_offset.at('Y')));
    CHECK(variables.value(y_of_second) != doctest::Approx(old));
  }
}

}  // namespace
}  // namespace pivotrace
