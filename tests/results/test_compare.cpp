// Comparisons of results with a stated truth: false alarms, changes just visible, causes, refusals.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "pivotrace/results/compare.h"
#include "results/line_motion.h"
#include "results/made_result.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

CompareOptions without_bias() {
  CompareOptions options;
  options.between_surveys_mm = 0.0;
  options.between_surveys_stated = true;
  return options;
}

/// Old and new survey, each with errors of its own.
struct Pair {
  FitResult before;
  FitResult after;
};
Pair drawn_pair(const std::vector<MadeAxis>& before, const std::vector<MadeAxis>& after,
                std::mt19937_64& engine) {
  Pair pair{made_result(before), later(made_result(after))};
  disturb(pair.before, engine);
  disturb(pair.after, engine);
  return pair;
}

void move_all(std::vector<MadeAxis>& axes, const Eigen::Vector3d& shift,
              const Eigen::Vector3d& turn) {
  const Eigen::Vector3d about(100.0, 200.0, -100.0);
  for (MadeAxis& axis : axes) axis.line = moved_line(axis.line, shift, turn, about);
}

bool names(const Explanation& line, Cause cause, char axis = '\0') {
  return std::ranges::any_of(line.what, [&](const CauseName& name) {
    return name.cause == cause && (axis == '\0' || name.axis == axis);
  });
}

struct Score {
  int right = 0;
  int surely_wrong = 0;
  int seen = 0;
};

/// How often the first line names the true cause.
Score score(const std::vector<MadeAxis>& after, Cause cause, char axis, int pairs) {
  std::mt19937_64 engine(5);
  Score counted;
  for (int k = 0; k < pairs; ++k) {
    const Pair pair = drawn_pair(made_trunnion(), after, engine);
    const auto comparison = compare(pair.before, pair.after, without_bias());
    REQUIRE(comparison.has_value());
    if (comparison->explanations.empty()) continue;
    ++counted.seen;
    const Explanation& line = comparison->explanations.front();
    if (names(line, cause, axis)) {
      ++counted.right;
    } else if (line.probability > 0.95) {
      ++counted.surely_wrong;
    }
  }
  return counted;
}

}  // namespace

TEST_CASE("derivatives by a motion are those of the moved lines themselves") {
  const Eigen::Vector3d about(12.0, -30.0, 44.0);
  std::vector<MadeAxis> axes = made_trunnion();
  axes[1].line.direction = Eigen::Vector3d(0.01, -0.02, 1.0).normalized();
  const FitResult still = made_result(axes);
  const Eigen::MatrixXd gains = motion_gains(still, still.covariance.names, {'A', 'C'}, about);
  for (int k = 0; k < 6; ++k) {
    const double step = k < 3 ? 1e-4 : 1e-7;
    Eigen::Vector3d shift = Eigen::Vector3d::Zero();
    Eigen::Vector3d turn = Eigen::Vector3d::Zero();
    (k < 3 ? shift : turn)[k % 3] = step;
    std::vector<MadeAxis> forth = axes;
    std::vector<MadeAxis> back = axes;
    for (std::size_t a = 0; a < axes.size(); ++a) {
      forth[a].line = moved_line(axes[a].line, shift, turn, about);
      back[a].line = moved_line(axes[a].line, -shift, -turn, about);
    }
    FitResult plus = made_result(forth);
    FitResult minus = made_result(back);
    for (std::size_t i = 0; i < still.covariance.names.size(); ++i) {
      const ValueName& name = still.covariance.names[i];
      CAPTURE(text_of(name));
      const double slope =
          (value_of(plus, name).value - value_of(minus, name).value) / (2.0 * step);
      CHECK(gains(static_cast<Eigen::Index>(i), k) ==
            doctest::Approx(slope).epsilon(1e-5).scale(1.0));
    }
  }
}

TEST_CASE("nothing moved: the whole survey cries in 1 of 100") {
  std::mt19937_64 engine(1);
  int alarms = 0;
  constexpr int pairs = 3000;
  for (int k = 0; k < pairs; ++k) {
    const Pair pair = drawn_pair(made_trunnion(), made_trunnion(), engine);
    const auto comparison = compare(pair.before, pair.after, without_bias());
    REQUIRE(comparison.has_value());
    if (comparison->moved.value_or(false)) ++alarms;
  }
  // Binomial with mean 30 and deviation 5.4: beyond 10..52 once in ten thousand.
  CHECK(alarms >= 10);
  CHECK(alarms <= 52);
}

TEST_CASE("a shift of all axes within what lies between surveys is no movement") {
  std::mt19937_64 engine(2);
  std::vector<MadeAxis> warm = made_trunnion();
  move_all(warm, {0.006, -0.006, 0.006}, Eigen::Vector3d::Zero());
  CompareOptions options = without_bias();
  options.between_surveys_mm = 0.006;
  int alarms = 0;
  constexpr int pairs = 1000;
  for (int k = 0; k < pairs; ++k) {
    const Pair pair = drawn_pair(made_trunnion(), warm, engine);
    if (compare(pair.before, pair.after, options)->moved.value_or(false)) ++alarms;
  }
  CHECK(alarms <= 22);
}

TEST_CASE("the smallest change that would show is seen in 8 of 10") {
  std::mt19937_64 engine(3);
  for (const ValueName& name : {axis_value('A', ValueKind::centre, LinearAxis::Y),
                                axis_value('C', ValueKind::orientation, LinearAxis::X)}) {
    CAPTURE(text_of(name));
    int seen = 0;
    constexpr int pairs = 2500;
    for (int k = 0; k < pairs; ++k) {
      Pair pair = drawn_pair(made_trunnion(), made_trunnion(), engine);
      const auto still = compare(pair.before, pair.after, without_bias());
      const auto of = [&](const Comparison& comparison) {
        return *std::ranges::find(comparison.values, name, &ValueChange::name);
      };
      value_of(pair.after, name).value += of(*still).smallest_seen;
      if (of(*compare(pair.before, pair.after, without_bias())).moved) ++seen;
    }
    // Standard error 0.8 %.
    CHECK(seen > 0.77 * pairs);
    CHECK(seen < 0.83 * pairs);
  }
}

TEST_CASE("what moved is named") {
  constexpr int pairs = 150;
  const auto judged = [&](const Score& score) {
    CHECK(score.seen == pairs);
    CHECK(score.right >= 0.95 * pairs);
    CHECK(score.surely_wrong <= 0.02 * pairs);
  };
  SUBCASE("the unit, turned and shifted") {
    std::vector<MadeAxis> after = made_trunnion();
    move_all(after, {0.02, -0.03, 0.01}, {1e-4, 8e-5, -1.5e-4});
    judged(score(after, Cause::unit, 'A', pairs));
  }
  SUBCASE("a pure shift: the unit, the probe and the machine zero share a line") {
    std::vector<MadeAxis> after = made_trunnion();
    move_all(after, {0.02, -0.03, 0.02}, Eigen::Vector3d::Zero());
    judged(score(after, Cause::unit, 'A', pairs));
    judged(score(after, Cause::probe, '\0', pairs));
    judged(score(after, Cause::machine_zero, '\0', pairs));
    judged(score(after, Cause::axis_bearing, 'A', pairs));
  }
  SUBCASE("the inner axis in its bearing") {
    std::vector<MadeAxis> after = made_trunnion();
    after[1].line =
        moved_line(after[1].line, {0.03, 0.02, 0.0}, {1e-4, 0.0, 0.0}, after[1].line.point_mm);
    judged(score(after, Cause::axis_bearing, 'C', pairs));
  }
  SUBCASE("the zero of the axis that carries") {
    std::vector<MadeAxis> after = made_trunnion();
    after[1].line = moved_line(after[1].line, Eigen::Vector3d::Zero(), {1.5e-4, 0.0, 0.0},
                               after[0].line.point_mm);
    judged(score(after, Cause::axis_zero, 'A', pairs));
  }
}

TEST_CASE("the size of a movement comes out") {
  std::vector<MadeAxis> after = made_trunnion();
  move_all(after, {0.05, -0.03, 0.02}, Eigen::Vector3d::Zero());
  const auto comparison =
      compare(made_result(made_trunnion()), later(made_result(after)), without_bias());
  REQUIRE(comparison.has_value());
  REQUIRE(!comparison->explanations.empty());
  const Explanation& line = comparison->explanations.front();
  CHECK((line.size.shift_mm - Eigen::Vector3d(0.05, -0.03, 0.02)).norm() < 1e-9);
  CHECK_FALSE(line.turned);
  CHECK(line.told_apart_by.size() == 3);
}

TEST_CASE("a head that shifted is not told from its probe") {
  std::vector<MadeAxis> after = made_head();
  after[0].line.point_mm += Eigen::Vector3d(0.046, 0.0, -0.007);
  const auto comparison = compare(made_result(made_head()), later(made_result(after)));
  REQUIRE(comparison.has_value());
  CHECK(comparison->moved == std::optional(true));
  const Explanation& line = comparison->explanations.front();
  CHECK(names(line, Cause::unit, 'B'));
  CHECK(names(line, Cause::axis_bearing, 'B'));
  CHECK(names(line, Cause::probe));
  CHECK_FALSE(names(line, Cause::machine_zero));
}

TEST_CASE("small changes are proven small where a tolerance leaves room") {
  CompareOptions options = without_bias();
  options.within_mm = 0.02;
  const auto proven =
      compare(made_result(made_trunnion()), later(made_result(made_trunnion())), options);
  CHECK(proven->moved == std::optional(false));
  options.within_mm = 0.004;
  const auto open =
      compare(made_result(made_trunnion()), later(made_result(made_trunnion())), options);
  CHECK_FALSE(open->moved.has_value());
}

TEST_CASE("what must not be compared is refused and says why") {
  const FitResult before = made_result(made_trunnion());
  const FitResult after = later(before);
  const auto first_number = [](const Expected<Comparison>& comparison) {
    REQUIRE_FALSE(comparison.has_value());
    return comparison.error().front().number;
  };
  CHECK(first_number(compare(after, before)) == ProblemNumber::bad_argument);
  CHECK(first_number(compare(before, before)) == ProblemNumber::bad_argument);
  FitResult other = after;
  other.machine_name = "another";
  CHECK(first_number(compare(before, other)) == ProblemNumber::other_machine);
  FitResult unusable = after;
  unusable.usable = false;
  CHECK(first_number(compare(before, unusable)) == ProblemNumber::not_usable);
  FitResult elsewhere = after;
  for (AxisResult& axis : elsewhere.axes) axis.quoted_at_mm += 10.0;
  const auto comparison = compare(before, elsewhere);
  REQUIRE(comparison.has_value());
  CHECK(comparison->values.size() == 4);  // leans only
  CHECK(std::ranges::count(comparison->notes, CompareNote::Kind::other_plane, &CompareNote::kind) ==
        2);
}
