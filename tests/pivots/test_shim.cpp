#include <doctest/doctest.h>
#include <fmt/format.h>

#include <Eigen/Dense>
#include <cmath>
#include <nlohmann/json.hpp>
#include <random>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/shim.h"
#include "pivotrace/report/shim_text.h"
#include "pivots/sample_result.h"
#include "pivots/shim_stack.h"
#include "pivots/simulated_fit.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

Mounting four_feet() {
  Mounting mounting;
  mounting.feet = {{"left front", {-380, -280, -400}, false, {}},
                   {"left rear", {-380, -120, -400}, false, {}},
                   {"right front", {-220, -280, -400}, false, {}},
                   {"right rear", {-220, -120, -400}, false, {}}};
  return mounting;
}

ShimAdvice advice_for(const FitResult& result, const Mounting& mounting) {
  const auto advice = shim_advice(result, mounting);
  for (const Problem& problem : advice ? Problems() : advice.error()) MESSAGE(describe(problem));
  REQUIRE(advice.has_value());
  return *advice;
}

const FootAdvice& foot(const ShimAdvice& advice, const std::string& name) {
  for (const FootAdvice& one : advice.feet) {
    if (one.name == name) return one;
  }
  FAIL("no foot " << name);
  return advice.feet.front();
}

/// What shims and taps do to a unit, worked out by another road than the advice: the plane through
/// the raised feet says how the unit tips, the indicator's travel over its lever how it turns.
Eigen::Isometry3d moved_by(const Mounting& mounting, const ShimAdvice& advice) {
  const Eigen::Vector3d normal = mounting.table_normal.normalized();
  const Eigen::Quaterniond machine_from_table =
      Eigen::Quaterniond::FromTwoVectors(Eigen::Vector3d::UnitZ(), normal);
  const auto count = static_cast<Eigen::Index>(mounting.feet.size());
  Eigen::MatrixXd plane(count, 3);
  Eigen::VectorXd height(count);
  for (Eigen::Index i = 0; i < count; ++i) {
    const Eigen::Vector3d foot_on_table =
        machine_from_table.conjugate() * mounting.feet[static_cast<std::size_t>(i)].at_mm;
    plane.row(i) << 1.0, foot_on_table.x(), foot_on_table.y();
    height[i] = advice.feet[static_cast<std::size_t>(i)].shim_mm;
  }
  const Eigen::Vector3d z = plane.colPivHouseholderQr().solve(height);
  const Eigen::Vector3d up = machine_from_table * Eigen::Vector3d(-z[1], -z[2], 1.0).normalized();
  const Eigen::Quaterniond tipping = Eigen::Quaterniond::FromTwoVectors(normal, up);
  // The unit tips on its feet: about a point in their plane, not about the machine's origin.
  const Eigen::Vector3d sole = normal * normal.dot(mounting.feet[0].at_mm);
  Eigen::Isometry3d moved = Eigen::Isometry3d::Identity();
  moved = Eigen::Translation3d(sole + z[0] * normal) * tipping * Eigen::Translation3d(-sole);
  if (!advice.tap) return moved;
  Eigen::Vector3d watched = Eigen::Vector3d::Zero();
  for (const Foot& one : mounting.feet) {
    if (one.name == advice.tap->at) watched = one.at_mm;
  }
  // The indicator lies along `towards`; a turn of 1 rad about the normal would move it by so much.
  const double per_rad = normal.cross(watched - advice.tap->pivot_mm).dot(advice.tap->towards);
  return Eigen::Translation3d(advice.tap->pivot_mm) *
         Eigen::AngleAxisd(advice.tap->amount_mm / per_rad, normal) *
         Eigen::Translation3d(-advice.tap->pivot_mm) * moved;
}

Line after_the_advice(const Line& line, const Mounting& mounting, const ShimAdvice& advice) {
  const Eigen::Isometry3d moved = moved_by(mounting, advice);
  return {moved * line.point_mm, moved.rotation() * line.direction};
}

double lean_of(const Line& line, const Eigen::Vector3d& nominal) {
  return std::atan2(line.direction.cross(nominal).norm(), line.direction.dot(nominal));
}

}  // namespace

TEST_CASE("an axis that falls along +X gets shims under its +X feet") {
  // dz/dx = -0.0005: the feet 160 mm further along +X must rise by 0.08 mm. Exact geometry.
  SampleAxis axis = sample_a_axis();
  axis.line.direction = Eigen::Vector3d(1.0, 0.0, -0.0005).normalized();
  const ShimAdvice advice = advice_for(sample_result({axis}), four_feet());
  CHECK(foot(advice, "right front").exact_mm == doctest::Approx(0.08).epsilon(1e-4));
  CHECK(foot(advice, "right rear").exact_mm == doctest::Approx(0.08).epsilon(1e-4));
  CHECK(std::abs(foot(advice, "left front").exact_mm) < 1e-6);
  CHECK(foot(advice, "right front").shim_mm - foot(advice, "left front").shim_mm ==
        doctest::Approx(0.08));
  CHECK(!advice.tap.has_value());
  CHECK(advice.lean_expected_rad < 1e-6);
}

TEST_CASE("an axis that runs towards +Y is tapped towards -Y at its far end") {
  // dy/dx = 0.0004 over the 160 mm between the feet: 0.064 mm on the indicator.
  SampleAxis axis = sample_a_axis();
  axis.line.direction = Eigen::Vector3d(1.0, 0.0004, 0.0).normalized();
  const ShimAdvice advice = advice_for(sample_result({axis}), four_feet());
  REQUIRE(advice.tap.has_value());
  CHECK(advice.tap->amount_mm == doctest::Approx(0.064).epsilon(1e-4));
  CHECK(advice.tap->at.starts_with("right"));
  CHECK(advice.tap->towards.isApprox(-Eigen::Vector3d::UnitY(), 1e-12));
  for (const FootAdvice& one : advice.feet) CHECK(std::abs(one.exact_mm) < 1e-6);
}

TEST_CASE("the advice applied to the true line takes the lean out: refitted within U95") {
  struct Trial {
    Machine machine;
    Eigen::Vector3d direction;
    std::vector<double> shims;
  };
  const std::vector<double> fine = {0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5};
  for (const Trial& trial : {Trial{fourth_axis_machine(), {1.0, 0.0006, -0.0009}, fine},
                             Trial{fourth_axis_machine(), {1.0, -0.0008, 0.0004}, fine},
                             Trial{fourth_axis_machine(), {1.0, 0.0011, 0.0007}, {}},
                             Trial{axis_along_y_machine(), {0.0006, 1.0, -0.0009}, fine},
                             Trial{axis_along_y_machine(), {-0.0004, 1.0, 0.0007}, {}},
                             Trial{trunnion_machine(), {1.0, -0.0006, -0.0008}, fine},
                             Trial{round_table_machine(), {0.0007, -0.0004, 1.0}, fine},
                             Trial{round_table_machine(), {-0.0005, 0.0009, 1.0}, {}}}) {
    MachineState truth = nominal_state(trial.machine);
    truth.axis_lines[0].point_mm += Eigen::Vector3d(0.0, 0.03, -0.02);
    truth.axis_lines[0].direction = trial.direction.normalized();
    const FitResult before = simulated_fit(trial.machine, truth, 11);
    Mounting mounting = four_feet();
    mounting.shims_mm = trial.shims;
    mounting.most_shims = 4;
    const ShimAdvice advice = advice_for(before, mounting);
    CHECK(!advice.nothing_to_gain);

    MachineState aligned = truth;
    // What rides on the unit moves with it.
    for (Line& line : aligned.axis_lines) line = after_the_advice(line, mounting, advice);
    const Eigen::Vector3d& nominal = trial.machine.rotary[0].direction;
    const double left = lean_of(aligned.axis_lines[0], nominal);
    CHECK(left < 0.1 * lean_of(truth.axis_lines[0], nominal));
    // What is left is what the advice expected, but for what the fit could not know.
    CHECK(std::abs(left - advice.lean_expected_rad) < before.axes[0].lean.U95_absolute);
    const Eigen::Vector3d centre =
        pierce_plane(aligned.axis_lines[0], nominal, nominal.dot(before.axes[0].line.point_mm));
    CHECK((centre - before.axes[0].line.point_mm - advice.centre_shift_mm).norm() < 0.005);

    const FitResult after = simulated_fit(trial.machine, aligned, 12);
    // The second fit may find what the first could not know and what it cannot know itself:
    // 3.29 sigma of both, once in a thousand by chance.
    for (std::size_t k = 0; k < 2; ++k) {
      const double u = std::hypot(before.axes[0].orientation[k].estimate.u_absolute,
                                  after.axes[0].orientation[k].estimate.u_absolute);
      CHECK(std::abs(after.axes[0].orientation[k].estimate.value) <=
            3.29 * u + advice.lean_expected_rad);
    }
    CHECK(after.axes[0].lean.value < 0.2 * before.axes[0].lean.value);
  }
}

namespace {

/// A unit on a table of any slope, on three to six feet, with or without a fixed one and a key.
struct Layout {
  SampleAxis axis;
  Eigen::Vector3d nominal;
  Mounting mounting;
};

Layout random_layout(std::mt19937& random, char letter, double rise_rad) {
  std::uniform_real_distribution<double> any(-1.0, 1.0);
  const auto direction = [&] { return Eigen::Vector3d(any(random), any(random), any(random)); };
  Layout layout;
  layout.nominal = Eigen::Vector3d::Unit(letter - 'A');
  layout.axis.letter = letter;
  layout.axis.along = static_cast<LinearAxis>(letter - 'A');
  layout.axis.line.point_mm = {-300.0, -200.0, -250.0};
  layout.axis.quoted_at_mm = layout.axis.line.point_mm[letter - 'A'];
  layout.axis.line.direction = (layout.nominal + 0.001 * direction()).normalized();
  // The table rises towards the axis by `rise_rad`: 0 for an axis that lies along the table.
  const Eigen::Vector3d across = layout.nominal.cross(direction()).normalized();
  const Eigen::Vector3d square = layout.nominal.cross(across);
  const Eigen::Vector3d normal = std::cos(rise_rad) * square + std::sin(rise_rad) * layout.nominal;
  const Eigen::Vector3d ahead = across.cross(normal);
  Mounting& mounting = layout.mounting;
  mounting.table_normal = 2.0 * normal;
  const Eigen::Vector3d middle = layout.axis.line.point_mm - 120.0 * normal;
  const int count = std::uniform_int_distribution<int>(3, 6)(random);
  const double start = 3.0 * any(random);
  for (int i = 0; i < count; ++i) {
    const double around = start + 2.0 * std::acos(-1.0) * i / count;
    const double reach = 100.0 + 40.0 * any(random);
    mounting.feet.push_back(
        {"foot " + std::to_string(i),
         middle + reach * (std::cos(around) * ahead + std::sin(around) * across),
         false,
         {}});
  }
  if (any(random) > 0.0) mounting.keys = {{"key", middle + 20.0 * any(random) * ahead, 0.02}};
  mounting.tailstock_mm = layout.axis.line.point_mm + 200.0 * layout.nominal + direction();
  mounting.shims_mm = {0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5};
  mounting.most_shims = 4;
  return layout;
}

}  // namespace

TEST_CASE("any table, any axis, any feet: the advice takes the lean out, and foresees the rest") {
  const auto seed = std::random_device{}();
  INFO("seed " << seed);
  std::mt19937 random(seed);
  for (int round = 0; round < 40; ++round) {
    for (const char letter : {'A', 'B', 'C'}) {
      // Along the table, on a wedge, and standing on it like a round table.
      for (const double rise_deg : {0.0, 20.0, -45.0, 70.0, 90.0}) {
        CAPTURE(round);
        CAPTURE(letter);
        CAPTURE(rise_deg);
        const Layout layout = random_layout(random, letter, rad_from_deg(rise_deg));
        const ShimAdvice advice = advice_for(sample_result({layout.axis}), layout.mounting);
        const Line aligned = after_the_advice(layout.axis.line, layout.mounting, advice);
        const double left = lean_of(aligned, layout.nominal);
        // Turns of up to 1.7 mrad one after the other instead of at once: the square of that.
        constexpr double second_order_rad = 3e-6;
        CHECK(std::abs(left - advice.lean_expected_rad) < second_order_rad);
        // Were there shims of any thickness, nothing would be left.
        ShimAdvice exact = advice;
        for (FootAdvice& foot : exact.feet) foot.shim_mm = foot.exact_mm;
        CHECK(lean_of(after_the_advice(layout.axis.line, layout.mounting, exact), layout.nominal) <
              second_order_rad);
        const Eigen::Vector3d& n = layout.nominal;
        const Eigen::Vector3d centre = pierce_plane(aligned, n, n.dot(layout.axis.line.point_mm));
        constexpr double second_order_mm = 0.002;
        CHECK((centre - layout.axis.line.point_mm - advice.centre_shift_mm).norm() <
              second_order_mm);
        REQUIRE(advice.tailstock_shift_mm.has_value());
        const Eigen::Vector3d tailstock =
            *layout.mounting.tailstock_mm + *advice.tailstock_shift_mm;
        const Eigen::Vector3d on_line = pierce_plane(aligned, n, n.dot(tailstock));
        CHECK((tailstock - on_line).norm() < second_order_mm);
      }
    }
  }
}

TEST_CASE("a lean within its U95 is left alone") {
  SampleAxis axis = sample_a_axis();
  axis.line.direction = Eigen::Vector3d(1.0, 1e-5, 0.0).normalized();
  const FitResult result = sample_result({axis});
  const ShimAdvice advice = advice_for(result, four_feet());
  CHECK(advice.nothing_to_gain);
  CHECK(shim_text(result, advice, LengthUnit::mm).find("nothing to gain") != std::string::npos);
}

TEST_CASE("it says when an offset is enough and when it cannot replace alignment") {
  SampleAxis axis = sample_a_axis();
  axis.line.direction = Eigen::Vector3d(1.0, 0.0, 0.0003).normalized();
  const FitResult result = sample_result({axis});
  Mounting mounting = four_feet();
  mounting.part_reach_mm = 100.0;
  mounting.mismatch_mm = 0.05;
  const ShimAdvice advice = advice_for(result, mounting);
  CHECK(advice.left_by_offset_mm == doctest::Approx(0.06).epsilon(1e-3));  // 2 * 0.0003 * 100
  CHECK(!advice.offset_is_enough);
  CHECK(shim_text(result, advice, LengthUnit::mm).find("cannot replace alignment") !=
        std::string::npos);
  mounting.mismatch_mm = 0.07;
  CHECK(advice_for(result, mounting).offset_is_enough);
}

TEST_CASE("on a machine in inches the advice is in inches, the JSON stays in mm") {
  SampleAxis axis = sample_a_axis();
  axis.line.direction = Eigen::Vector3d(1.0, 0.0, -0.0005).normalized();
  const FitResult result = sample_result({axis});
  const ShimAdvice advice = advice_for(result, four_feet());
  const std::string text = shim_text(result, advice, LengthUnit::inch);
  CHECK(text.find(" mm") == std::string::npos);
  // A slope is a length over a length: 0.0005 is 0.006 over 12, in whatever unit.
  CHECK(text.find("lean 0.00600 inch over 12 inch") != std::string::npos);
  for (const FootAdvice& foot : advice.feet) {
    const std::string exact = fmt::format("exact {:.5f} inch", foot.exact_mm / 25.4);
    CHECK_MESSAGE(text.find(exact) != std::string::npos, exact << " in\n" << text);
  }
  CHECK(nlohmann::json::parse(shim_json(result, advice))["lean_mm_per_300"].get<double>() ==
        doctest::Approx(0.15));
}

TEST_CASE("a fixed foot stays bare, one that would have to sink is told") {
  SampleAxis axis = sample_a_axis();
  axis.line.direction = Eigen::Vector3d(1.0, 0.0, -0.0005).normalized();
  Mounting mounting = four_feet();
  mounting.feet[0].fixed = true;  // left front: the low end may stay
  ShimAdvice advice = advice_for(sample_result({axis}), mounting);
  CHECK(foot(advice, "left front").shim_mm == 0.0);
  CHECK(foot(advice, "right rear").shim_mm == doctest::Approx(0.08));
  CHECK(advice.notes.empty());
  mounting.feet[0].fixed = false;
  mounting.feet[3].fixed = true;  // right rear: the left end would have to sink
  advice = advice_for(sample_result({axis}), mounting);
  REQUIRE(!advice.notes.empty());
  CHECK(advice.notes[0].kind == ShimNote::Kind::foot_too_high);
  CHECK(shim_text(sample_result({axis}), advice, LengthUnit::mm).find("come down") !=
        std::string::npos);
  CHECK(advice.lean_expected_rad > 0.0004);
}

TEST_CASE("two fixed feet leave only the turn about the line through them") {
  SampleAxis axis = sample_a_axis();
  axis.line.direction = Eigen::Vector3d(1.0, 0.0, -0.0005).normalized();
  Mounting mounting = four_feet();
  mounting.feet[0].fixed = mounting.feet[2].fixed = true;  // the front pair, along X
  const ShimAdvice advice = advice_for(sample_result({axis}), mounting);
  CHECK(advice.lean_expected_rad == doctest::Approx(0.0005).epsilon(1e-3));
  REQUIRE(!advice.notes.empty());
}

TEST_CASE("keys: one is the pivot, two hold the unit") {
  SampleAxis axis = sample_a_axis();
  axis.line.direction = Eigen::Vector3d(1.0, 0.0004, 0.0).normalized();
  Mounting mounting = four_feet();
  mounting.keys = {{"key 1", {-350, -200, -400}, 0.0}};
  const ShimAdvice one = advice_for(sample_result({axis}), mounting);
  REQUIRE(one.tap.has_value());
  CHECK(one.tap->about == "key \"key 1\"");
  CHECK(one.tap->amount_mm == doctest::Approx(0.0004 * 130).epsilon(1e-3));
  CHECK(one.notes.empty());
  mounting.keys.push_back({"key 2", {-250, -200, -400}, 0.02});
  CHECK(!advice_for(sample_result({axis}), mounting).notes.empty());
  mounting.keys[1].clearance_mm = 0.05;  // 0.05 over 100 mm is more than 0.0004
  CHECK(advice_for(sample_result({axis}), mounting).notes.empty());
}

TEST_CASE("the tailstock is told how to reach the aligned axis line") {
  SampleAxis axis = sample_a_axis();
  axis.line = {{-300.0, -200.0, -250.0}, Eigen::Vector3d(1.0, 0.0, -0.0005).normalized()};
  Mounting mounting = four_feet();
  mounting.tailstock_mm = Eigen::Vector3d(-50.0, -200.0, -250.0);
  const ShimAdvice advice = advice_for(sample_result({axis}), mounting);
  REQUIRE(advice.tailstock_shift_mm.has_value());
  // Aligned, the axis runs level at the height of its centre: the shift of the centre is the
  // tailstock's too.
  CHECK(advice.tailstock_shift_mm->z() ==
        doctest::Approx(advice.centre_shift_mm.z()).epsilon(1e-3));
  CHECK(std::abs(advice.tailstock_shift_mm->y()) < 1e-6);
}

TEST_CASE("stacks: every thickness with the fewest pieces, the sums are right") {
  const auto stacks = possible_stacks({0.01, 0.02, 0.05}, 2);
  for (const ShimStack& stack : stacks) {
    double sum = 0.0;
    for (const double piece : stack.pieces_mm) sum += piece;
    CHECK(sum == doctest::Approx(stack.thickness_mm));
    CHECK(stack.pieces_mm.size() <= 2);
    if (std::abs(stack.thickness_mm - 0.02) < 1e-9) CHECK(stack.pieces_mm.size() == 1);
  }
  CHECK(stacks.size() == 9);  // 0, 1, 2, 3, 4, 5, 6, 7, 10 hundredths
}

TEST_CASE("what cannot be advised is refused") {
  const auto number = [](const FitResult& result, const Mounting& mounting,
                         std::optional<char> axis = std::nullopt) {
    const auto advice = shim_advice(result, mounting, axis);
    REQUIRE(!advice.has_value());
    return advice.error()[0].number;
  };
  FitResult result = one_axis_result();
  Mounting mounting = four_feet();
  CHECK(number(result, mounting, 'C') == ProblemNumber::no_such_value);
  CHECK(number(sample_result({sample_head_axis()}), mounting) == ProblemNumber::no_such_value);
  mounting.machine = "another";
  CHECK(number(result, mounting) == ProblemNumber::other_machine);
  CHECK(number(result, Mounting{}) == ProblemNumber::out_of_range);
  mounting = four_feet();
  mounting.feet[1].name = mounting.feet[0].name;
  CHECK(number(result, mounting) == ProblemNumber::duplicate_name);
  mounting = four_feet();
  mounting.shims_mm = {0.0};
  CHECK(number(result, mounting) == ProblemNumber::out_of_range);
  result.usable = false;
  CHECK(number(result, four_feet()) == ProblemNumber::not_usable);
}

TEST_CASE("the JSON holds what the screen says") {
  const FitResult result = one_axis_result();
  const ShimAdvice advice = advice_for(result, four_feet());
  const auto json = nlohmann::json::parse(shim_json(result, advice));
  CHECK(json["feet"].size() == 4);
  CHECK(json["tap"]["towards"][1].get<double>() == doctest::Approx(-1.0));
}
