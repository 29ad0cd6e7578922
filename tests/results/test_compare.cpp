// Comparisons of results with a stated truth: false alarms, changes just visible, causes, refusals.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "pivotrace/results/compare.h"
#include "results/change_errors.h"
#include "results/line_motion.h"
#include "results/made_result.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

CompareOptions without_bias() {
  CompareOptions options;
  options.between_surveys_mm = 0.0;
  options.between_surveys_stated = true;
  options.smallest_seen = false;
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
    const auto of = [&](const SurveyComparison& comparison) {
      return *std::ranges::find(comparison.values, name, &ValueChange::name);
    };
    CompareOptions with_sizes = without_bias();
    with_sizes.smallest_seen = true;
    const FitResult before = made_result(made_trunnion());
    const double smallest = of(*compare(before, later(before), with_sizes)).smallest_seen;
    int seen = 0;
    constexpr int pairs = 2500;
    for (int k = 0; k < pairs; ++k) {
      Pair pair = drawn_pair(made_trunnion(), made_trunnion(), engine);
      value_of(pair.after, name).value += smallest;
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

namespace {

/// The same with a zero of this axis that an artefact told.
FitResult with_zero(FitResult result, char letter, double zero_rad, double u_rad) {
  const auto axis = std::ranges::find(result.axes, letter, &AxisResult::letter);
  Estimate zero;
  zero.value = zero_rad;
  zero.u = zero.u_absolute = u_rad;
  zero.dof = std::numeric_limits<double>::infinity();
  axis->zero = zero;
  const Eigen::Index n = result.covariance.repeatable.rows();
  for (Eigen::MatrixXd* matrix : {&result.covariance.repeatable, &result.covariance.absolute}) {
    matrix->conservativeResizeLike(Eigen::MatrixXd::Zero(n + 1, n + 1));
    (*matrix)(n, n) = u_rad * u_rad;
  }
  result.covariance.names.push_back(axis_value(letter, ValueKind::zero));
  return result;
}

}  // namespace

TEST_CASE("a zero that moved is named, though no line moved") {
  const FitResult before = with_zero(made_result(made_trunnion()), 'C', 0.0001, 20e-6);
  const FitResult after = later(with_zero(made_result(made_trunnion()), 'C', 0.0009, 20e-6));
  const auto comparison = compare(before, after, without_bias());
  REQUIRE(comparison.has_value());
  CHECK(comparison->moved == std::optional(true));
  CHECK(names(comparison->explanations.front(), Cause::axis_zero, 'C'));
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
  const auto first_number = [](const Expected<SurveyComparison>& comparison) {
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

// --- what two surveys share -----------------------------------------------------------------------

namespace {

/// The same probe, calibrated once; an error of its offset along X as large as everything else together.
SharedTerm offset_term(const FitResult& result, double gain) {
  SharedTerm term;
  term.effect = {EffectKind::stylus_offset, 0};
  term.u = 0.01;
  term.gains = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(result.covariance.names.size()));
  for (std::size_t k = 0; k < result.covariance.names.size(); ++k) {
    const ValueName& name = result.covariance.names[k];
    if (!is_angle(name)) term.gains[static_cast<Eigen::Index>(k)] = gain;
  }
  return term;
}

void add_term(FitResult& result, const SharedTerm& term) {
  result.gains.terms.push_back(term);
  result.covariance.absolute += term.u * term.u * term.gains * term.gains.transpose();
}

void shift_by(FitResult& result, const Eigen::VectorXd& shift) {
  for (std::size_t k = 0; k < result.covariance.names.size(); ++k) {
    value_of(result, result.covariance.names[k]).value += shift[static_cast<Eigen::Index>(k)];
  }
}

void state_probe(FitResult& result, const std::string& probe, const std::string& date) {
  result.conditions.probe = probe;
  result.conditions.probe_calibrated = date;
}

/// Two surveys of one probe whose offset acts by `old_gain` in one and `new_gain` in the other.
Pair pair_with_probe(double old_gain, double new_gain, std::mt19937_64& engine) {
  Pair pair = drawn_pair(made_trunnion(), made_trunnion(), engine);
  std::normal_distribution<double> normal;
  const double offset = 0.01 * normal(engine);
  for (const auto& [result, gain] :
       {std::pair<FitResult*, double>(&pair.before, old_gain), {&pair.after, new_gain}}) {
    const SharedTerm term = offset_term(*result, gain);
    add_term(*result, term);
    shift_by(*result, offset * term.gains);
    state_probe(*result, "P1", "2026-01-15");
  }
  return pair;
}

double U95_of_first(const SurveyComparison& comparison) { return comparison.values.front().U95; }

bool notes_it(const SurveyComparison& comparison, CompareNote::Kind kind) {
  return std::ranges::count(comparison.notes, kind, &CompareNote::kind) > 0;
}

}  // namespace

TEST_CASE("an error both surveys share enters by the difference of its gains") {
  std::mt19937_64 engine(7);
  for (const double new_gain : {1.0, 0.4}) {
    CAPTURE(new_gain);
    int alarms = 0;
    constexpr int pairs = 2000;
    for (int k = 0; k < pairs; ++k) {
      const Pair pair = pair_with_probe(1.0, new_gain, engine);
      const auto comparison = compare(pair.before, pair.after, without_bias());
      REQUIRE(comparison.has_value());
      if (comparison->moved.value_or(false)) ++alarms;
      CHECK_FALSE(notes_it(*comparison, CompareNote::Kind::probe_not_stated));
    }
    // Binomial with mean 20 and deviation 4.5: outside once in ten thousand.
    CHECK(alarms >= 5);
    CHECK(alarms <= 38);
  }
}

TEST_CASE("only the same probe, calibrated once, lets its offset cancel") {
  std::mt19937_64 engine(8);
  const Pair pair = pair_with_probe(1.0, 1.0, engine);
  const auto same = compare(pair.before, pair.after, without_bias());
  const double alone = std::hypot(0.002, 0.002) * 1.96;
  CHECK(U95_of_first(*same) == doctest::Approx(alone).epsilon(1e-3));
  FitResult after = pair.after;
  after.conditions.probe_calibrated = "2026-03-20";
  const auto calibrated = compare(pair.before, after, without_bias());
  CHECK(notes_it(*calibrated, CompareNote::Kind::other_calibration));
  CHECK(U95_of_first(*calibrated) ==
        doctest::Approx(1.96 * std::sqrt(2.0 * (0.002 * 0.002 + 0.01 * 0.01))).epsilon(1e-3));
  after.conditions.probe = "P2";
  const auto other = compare(pair.before, after, without_bias());
  CHECK(notes_it(*other, CompareNote::Kind::other_probe));
  CHECK(U95_of_first(*other) == doctest::Approx(U95_of_first(*calibrated)));
  after.conditions = {};
  const auto unsaid = compare(pair.before, after, without_bias());
  CHECK(notes_it(*unsaid, CompareNote::Kind::probe_not_stated));
  CHECK(U95_of_first(*unsaid) == doctest::Approx(U95_of_first(*calibrated)));
}

TEST_CASE("a result of an earlier version counts with all it may be off by") {
  std::mt19937_64 engine(9);
  Pair pair = pair_with_probe(1.0, 1.0, engine);
  pair.before.gains = {};
  pair.before.bounds = {{BoundKind::lobing,
                         '\0',
                         0.002,
                         BoundSource::assumed,
                         {{pair.before.covariance.names.front(), 0.005}}}};
  const auto comparison = compare(pair.before, pair.after, without_bias());
  REQUIRE(comparison.has_value());
  CHECK(notes_it(*comparison, CompareNote::Kind::gains_missing));
  CHECK(comparison->values.front().B == doctest::Approx(0.005));
  CHECK(comparison->values.front().u ==
        doctest::Approx(std::sqrt(2.0 * (0.002 * 0.002 + 0.01 * 0.01))));
}

TEST_CASE("what is bounded cancels like what is drawn, and B adds effects in squares") {
  FitResult before = made_result(made_trunnion());
  FitResult after = later(before);
  const auto bounded = [&](EffectKind kind, int index, double gain) {
    SharedTerm term = offset_term(before, gain);
    term.effect = {kind, index};
    term.u = 0.0;
    term.half_width = 0.004;
    return term;
  };
  before.gains.terms = {bounded(EffectKind::scale, 0, 1.0), bounded(EffectKind::creep, 0, 0.5)};
  after.gains.terms = {bounded(EffectKind::scale, 0, 0.7), bounded(EffectKind::creep, 0, 0.5)};
  const auto comparison = compare(before, after, without_bias());
  REQUIRE(comparison.has_value());
  // Scale is the same slide: 0.3 of 4 um. Creep is each survey's own: twice half of 4 um.
  const double B = std::sqrt(std::pow(0.3 * 0.004, 2) + 2.0 * std::pow(0.5 * 0.004, 2));
  CHECK(comparison->values.front().B == doctest::Approx(B));
  const auto in_all = before.covariance.names;
  CHECK(change_errors(before, after, in_all).bias.effects.size() == 3);
}

TEST_CASE("index errors cancel at the angles both surveys used, and only there") {
  FitResult before = made_result(made_trunnion());
  FitResult after = later(before);
  const auto at = [&](double angle_deg) {
    SharedTerm term = offset_term(before, 1.0);
    term.kind = SharedTerm::Kind::index_error;
    term.axis = 'A';
    term.angle_rad = angle_deg / 57.29577951308232;
    term.u = 0.001;  // part of the 2 um every value has
    return term;
  };
  const auto u_of = [&](double old_deg, double new_deg) {
    before.gains.terms = {at(old_deg)};
    after.gains.terms = {at(new_deg)};
    return compare(before, after, without_bias())->values.front().u;
  };
  CHECK(u_of(90, 90.5) == doctest::Approx(std::sqrt(2.0 * (0.002 * 0.002 - 0.001 * 0.001))));
  CHECK(u_of(0.2, 359.8) == doctest::Approx(std::sqrt(2.0 * (0.002 * 0.002 - 0.001 * 0.001))));
  CHECK(u_of(90, 120) == doctest::Approx(std::sqrt(2.0) * 0.002));
  after.conditions.clamped = true;
  before.conditions.clamped = false;
  CHECK(u_of(90, 90) == doctest::Approx(std::sqrt(2.0) * 0.002));
  CHECK(notes_it(*compare(before, after, without_bias()), CompareNote::Kind::other_clamping));
}

TEST_CASE("other conditions are named, widened or refused") {
  const FitResult before = made_result(made_trunnion());
  FitResult after = later(before);
  FitResult old_result = before;
  SUBCASE("tables switched: another quantity") {
    old_result.conditions.tables_on = true;
    after.conditions.tables_on = false;
    const auto comparison = compare(old_result, after);
    REQUIRE_FALSE(comparison.has_value());
    CHECK(comparison.error().front().number == ProblemNumber::bad_argument);
  }
  SUBCASE("another load") {
    old_result.conditions.load_kg = 20.0;
    after.conditions.load_kg = 180.0;
    const auto comparison = compare(old_result, after);
    CHECK(notes_it(*comparison, CompareNote::Kind::other_load));
    CHECK(comparison->between_surveys_mm == doctest::Approx(0.006));
  }
  SUBCASE("a cold machine") {
    old_result.conditions.warm_minutes = 90.0;
    after.conditions.warm_minutes = 5.0;
    const auto comparison = compare(old_result, after);
    CHECK(notes_it(*comparison, CompareNote::Kind::other_warmth));
    CHECK(comparison->between_surveys_mm == doctest::Approx(0.006));
  }
  SUBCASE("tables written anew in between: another quantity, unless they were off") {
    old_result.conditions.tables_written = "2026-01-10";
    after.conditions.tables_written = "2026-03-20";
    const auto comparison = compare(old_result, after);
    REQUIRE_FALSE(comparison.has_value());
    CHECK(comparison.error().front().number == ProblemNumber::bad_argument);
    old_result.conditions.tables_on = after.conditions.tables_on = false;
    CHECK(compare(old_result, after).has_value());
  }
  SUBCASE("another way past a turn") {
    old_result.conditions.rollover = "by sign";
    after.conditions.rollover = "shortest way";
    CHECK(notes_it(*compare(old_result, after), CompareNote::Kind::other_rollover));
  }
  SUBCASE("a coupling of another pitch") {
    old_result.conditions.index_step_rad = {{'A', 0.1}, {'C', 0.05}};
    after.conditions.index_step_rad = {{'A', 0.1}, {'C', 0.1}};
    const auto comparison = compare(old_result, after);
    REQUIRE(notes_it(*comparison, CompareNote::Kind::other_coupling));
    const auto note =
        std::ranges::find(comparison->notes, CompareNote::Kind::other_coupling, &CompareNote::kind);
    CHECK(note->axis == 'C');
  }
  SUBCASE("nearly the same load, both warm") {
    old_result.conditions.load_kg = 20.0;
    after.conditions.load_kg = 26.0;
    old_result.conditions.warm_minutes = 45.0;
    after.conditions.warm_minutes = 200.0;
    CHECK(compare(old_result, after)->between_surveys_mm == doctest::Approx(0.003));
  }
  SUBCASE("a rehearsal beside a machine") {
    after.simulated = true;
    CHECK(notes_it(*compare(old_result, after), CompareNote::Kind::simulated_beside_measured));
  }
  SUBCASE("what the results state of temperature and clamping is used") {
    old_result.bounds = {{BoundKind::between_surveys, '\0', 0.002, BoundSource::stated, {}}};
    after.bounds = {{BoundKind::between_surveys, '\0', 0.004, BoundSource::stated, {}}};
    const auto comparison = compare(old_result, after);
    CHECK(comparison->between_surveys_mm == doctest::Approx(0.004));
    CHECK_FALSE(notes_it(*comparison, CompareNote::Kind::between_assumed));
  }
  SUBCASE("that nothing shifts between surveys is a statement too") {
    old_result.bounds = {{BoundKind::between_surveys, '\0', 0.0, BoundSource::stated, {}}};
    after.bounds = old_result.bounds;
    const auto comparison = compare(old_result, after);
    CHECK(comparison->between_surveys_mm == 0.0);
    CHECK_FALSE(notes_it(*comparison, CompareNote::Kind::between_assumed));
  }
}
