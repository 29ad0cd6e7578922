// The offset programs of write and reseat, run as a control would run them: afterwards its work
// offsets hold the values of the result, and nothing else has changed.
//
// Source of what G10 L2, G92 and the parameters 52xx do: NISTIR 6556 (Kramer, Proctor, Messina,
// "The NIST RS274/NGC Interpreter - Version 3", 2000), sections 3.2.1, 3.2.2, 3.5.5 and 3.5.18.
#include <doctest/doctest.h>

#include <Eigen/Geometry>
#include <cmath>
#include <map>

#include "app/demo_folder.h"
#include "control/recording_machine.h"
#include "pivotrace/control/interpreter.h"
#include "pivotrace/formats/control_sheet_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/index_angles.h"
#include "pivotrace/pivots/offset_program.h"
#include "pivotrace/pivots/reseat.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

/// NISTIR 6556 table 2: X of work offset n is parameter 5221 + 20 (n - 1), Y and Z follow.
constexpr int first_origin_parameter = 5221;
constexpr int parameters_per_offset = 20;
constexpr int work_offsets = 9;

/// Half a last place of what a program holds, and the rounding of the conversion.
constexpr double half_place_mm = 0.5e-4 + 1e-9;
constexpr double half_place_inch = 0.5e-5 * 25.4 + 1e-9;

int origin_parameter(int work_offset, int axis) {
  return first_origin_parameter + parameters_per_offset * (work_offset - 1) + axis;
}

/// An operator who reads the cautions and resets the program instead of starting it again.
class CautiousOperator : public test::RecordingMachine {
 public:
  int patience = 0;  ///< stops passed before the reset
  MachineAnswer operator_stop(const std::string& text, bool /*optional*/) override {
    messages.push_back(text);
    if (patience-- > 0) return std::nullopt;
    return Problem{ProblemNumber::program_stopped, "reset by the operator", {}, ""};
  }
};

/// A control that remembers its work offsets from program to program.
class Control {
 public:
  Control() {
    const auto read = read_control_sheet(std::string(PIVOTRACE_SOURCE_DIR) + "/routines/ngc.toml");
    REQUIRE(read.has_value());
    sheet = *read;
    variables.emplace(sheet.variables.readable);
    options.start.in_force[ModalGroup::distance] = Meaning::absolute;
    options.start.in_force[ModalGroup::feed_mode] = Meaning::feed_per_minute;
    for (int n = 1; n <= work_offsets; ++n) {
      for (int axis = 0; axis < 6; ++axis) {
        const double old = 1000.0 + 10.0 * n + axis;
        variables->set(origin_parameter(n, axis), old);
        before[origin_parameter(n, axis)] = old;
        options.start.work_origins[n - 1][axis] = old;
      }
    }
  }
  ProgramEnd run(const std::string& text, ControlledMachine& on) {
    const ProgramRun ran = run_program(text, "offsets.ngc", sheet, on, *variables, options);
    for (const Problem& problem : ran.problems) CAPTURE(describe(problem));
    return ran.end;
  }
  ProgramEnd run(const std::string& text) { return run(text, machine); }

  /// Parameters of work offsets that differ from before, with their values.
  std::map<int, double> changed() const {
    std::map<int, double> found;
    for (const auto& [number, old] : before) {
      if (variables->value(number) != old) found[number] = variables->value(number);
    }
    return found;
  }

  ControlSheet sheet;
  std::optional<Variables> variables;
  InterpreterOptions options;
  std::map<int, double> before;
  test::RecordingMachine machine;
};

std::string program_of(const std::vector<std::string>& words) {
  const Screen screen = run_verb(words);
  REQUIRE_MESSAGE(screen.code == 0, screen.err);
  return screen.out;
}

/// The same program with other lines at its end, before M2.
std::string followed_by(const std::string& program, const std::string& lines) {
  return replaced(program, "\nM2\n", "\n" + lines + "M2\n");
}

struct Origin {
  std::vector<std::string> words;  ///< after write RESULT
  std::map<char, double> mm;       ///< what the result says, by letter
};

std::map<char, double> centre_of(const AxisResult& axis) {
  std::map<char, double> mm;
  for (const NamedEstimate& coordinate : axis.centre) {
    mm["XYZ"[component(coordinate.name)]] = coordinate.estimate.value;
  }
  return mm;
}

std::vector<Origin> origins_of(const Demo& demo, const std::string& name) {
  const FitResult& result = demo.result;
  if (name != "trunnion") return {{{}, centre_of(result.axes[0])}};
  std::map<char, double> foot;
  for (int i = 0; i < 3; ++i) foot["XYZ"[i]] = result.axis_pairs[0].foot_on_second[i].value;
  return {{{"--axis", "A"}, centre_of(result.axes[0])},
          {{"--axis", "C"}, centre_of(result.axes[1])},
          {{"--axis", "C", "--foot", "A"}, foot}};
}

}  // namespace

TEST_CASE("write: after the program the offset holds the result, and no other has changed") {
  for (const std::string name : {"fourth-axis", "pin-in-chuck", "trunnion"}) {
    const Demo demo(name);
    for (const Origin& origin : origins_of(demo, name)) {
      for (int n = 1; n <= work_offsets; ++n) {
        for (const bool inch : {false, true}) {
          CAPTURE(name);
          CAPTURE(n);
          CAPTURE(inch);
          std::vector<std::string> words = write_words(demo, n, {"--units", inch ? "inch" : "mm"});
          words.insert(words.end(), origin.words.begin(), origin.words.end());
          Control control;
          REQUIRE(control.run(program_of(words)) == ProgramEnd::finished);
          CHECK(control.machine.moves.empty());
          const std::map<int, double> changed = control.changed();
          CHECK(changed.size() == origin.mm.size());
          for (const auto& [letter, mm] : origin.mm) {
            const int parameter = origin_parameter(n, letter - 'X');
            REQUIRE(changed.count(parameter) == 1);
            const double held = changed.at(parameter) * (inch ? 25.4 : 1.0);
            CHECK(std::abs(held - mm) <= (inch ? half_place_inch : half_place_mm));
          }
        }
      }
    }
  }
}

TEST_CASE("write: nothing is set before the operator starts the program again") {
  const Demo demo;
  Control control;
  CautiousOperator machine;
  // Once for a sheet no control has proven, once for the offset itself.
  for (const char* said : {"NOT PROVEN", "Start sets G54"}) {
    machine.patience = static_cast<int>(machine.messages.size());
    CHECK(control.run(program_of(write_words(demo, 1)), machine) != ProgramEnd::finished);
    CHECK(control.changed().empty());
    CHECK(says(machine.messages.back(), said));
  }
}

TEST_CASE("write: the next move meets the new origin when its offset is in force, as NIST says") {
  const Demo demo;
  const std::map<char, double> mm = centre_of(demo.result.axes[0]);
  for (const bool inch : {false, true}) {
    const std::string program = program_of(write_words(demo, 2, {"--units", inch ? "inch" : "mm"}));
    const double half_place = inch ? half_place_inch : half_place_mm;
    Control control;
    // Chosen first: in force at once. Not chosen: the old origin until it is called.
    REQUIRE(control.run("G55\n" + followed_by(program, "G0 Y0 Z0\nG54 G0 Y0 Z0\nG55 G0 Y0 Z0\n")) ==
            ProgramEnd::finished);
    REQUIRE(control.machine.moves.size() == 3);
    for (const std::size_t move : {0, 2}) {
      const AxisValues& target = control.machine.moves[move].target;
      CHECK(std::abs(target[1] - mm.at('Y')) <= half_place);
      CHECK(std::abs(target[2] - mm.at('Z')) <= half_place);
    }
    CHECK(control.machine.moves[1].target[1] != doctest::Approx(mm.at('Y')));
  }
}

TEST_CASE("write: a G92 shift in force adds to the new origin, as the program's remark says") {
  const Demo demo;
  const std::map<char, double> mm = centre_of(demo.result.axes[0]);
  const std::string program = program_of(write_words(demo, 1));
  REQUIRE(says(program, "(A shift of the program origin in force adds to the new origin."));
  Control control;
  // Standing where the program shows Y 7: the operator calls it 3, so all is shifted by 4.
  REQUIRE(control.run("G21 G90 G54\nG0 Y7\nG92 Y3\n" +
                      followed_by(program, "G0 Y0\nG92.2\nG0 Y0\n")) == ProgramEnd::finished);
  REQUIRE(control.machine.moves.size() == 3);
  CHECK(std::abs(control.machine.moves[1].target[1] - (mm.at('Y') + 4.0)) <= half_place_mm);
  CHECK(std::abs(control.machine.moves[2].target[1] - mm.at('Y')) <= half_place_mm);
}

TEST_CASE("reseat: the control stands at the taught feature at every index angle") {
  struct Job {
    std::string demo;
    std::string at;
    std::size_t positions;
    int first;
  };
  for (const Job& job :
       {Job{"fourth-axis", "A=0..270/90", 4, 1}, Job{"fourth-axis", "A=-120,0,120", 3, 7},
        Job{"trunnion", "A=-30,0,60 C=0,45,180", 9, 1}}) {
    const Demo demo(job.demo);
    for (const bool inch : {false, true}) {
      CAPTURE(job.at);
      CAPTURE(inch);
      const double unit = inch ? 25.4 : 1.0;
      const Eigen::Vector3d taught_mm = Eigen::Vector3d(-12.5, -7.75, -7.25) * 25.4;
      std::vector<std::string> words = {"reseat", demo.result_file, "--offset"};
      for (const double mm : taught_mm) words.push_back(std::to_string(mm / unit));
      words.insert(words.end(), {"--taught-at", "A=0", "--at", job.at, "--first-offset",
                                 std::to_string(job.first), "--units", inch ? "inch" : "mm",
                                 "--form", "program", "--control", ngc_sheet()});
      std::string moves;
      for (std::size_t i = 0; i < job.positions; ++i) {
        moves += work_offset_word(job.first + static_cast<int>(i)) + " G0 X0 Y0 Z0\n";
      }
      Control control;
      REQUIRE(control.run(followed_by(program_of(words), moves)) == ProgramEnd::finished);
      CHECK(control.changed().size() == 3 * job.positions);

      const auto angles = index_angles(demo.result, {job.at});
      REQUIRE(angles.has_value());
      REQUIRE(angles->size() == job.positions);
      REQUIRE(control.machine.moves.size() == job.positions);
      for (std::size_t i = 0; i < job.positions; ++i) {
        // The feature carried by the fitted axes, written out with transforms of their own.
        Eigen::Isometry3d machine_from_carried = Eigen::Isometry3d::Identity();
        for (std::size_t k = 0; k < demo.result.axes.size(); ++k) {
          const AxisResult& axis = demo.result.axes[k];
          const double sense = axis.turn == TurnSense::right_hand ? 1.0 : -1.0;
          machine_from_carried = machine_from_carried * Eigen::Translation3d(axis.line.point_mm) *
                                 Eigen::AngleAxisd(sense * (*angles)[i][k], axis.line.direction) *
                                 Eigen::Translation3d(-axis.line.point_mm);
        }
        const Eigen::Vector3d expected_mm = machine_from_carried * taught_mm;
        for (int k = 0; k < 3; ++k) {
          CHECK(std::abs(control.machine.moves[i].target[k] - expected_mm[k]) <=
                (inch ? half_place_inch : half_place_mm));
        }
      }
    }
  }
}
