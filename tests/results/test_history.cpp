// Histories with a stated truth: steady, jumping, creeping, both; and what takes no part.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>
#include <ctime>

#include "base/iso_time.h"
#include "pivotrace/results/history.h"
#include "results/made_result.h"
#include "results/series.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

const ValueName A_y = axis_value('A', ValueKind::centre, LinearAxis::Y);
const ValueName A_z = axis_value('A', ValueKind::centre, LinearAxis::Z);

std::string monthly(int month) {
  const int year = 2025 + month / 12;
  const int in_year = month % 12 + 1;
  return std::to_string(year) + (in_year < 10 ? "-0" : "-") + std::to_string(in_year) +
         "-02T08:00:00Z";
}

FitResult month_result(int month, std::mt19937_64& engine) {
  FitResult result = made_result(made_trunnion());
  result.started = monthly(month);
  result.inputs[1].sha256 = "t" + std::to_string(month);
  disturb(result, engine);
  return result;
}

HistoryOptions without_shift() {
  HistoryOptions options;
  options.between_surveys_mm = 0.0;
  return options;
}

History history_of(const std::vector<FitResult>& results, const HistoryOptions& options) {
  std::vector<Epoch> epochs;
  std::vector<LeftOutOfHistory> left_out;
  for (const FitResult& result : results) {
    if (auto epoch = epoch_of(result, result.started, left_out)) epochs.push_back(*epoch);
  }
  return make_history("made up", epochs, left_out, options);
}

const ValueHistory& of(const History& history, const ValueName& name) {
  return *std::ranges::find(history.values, name, &ValueHistory::name);
}

}  // namespace

TEST_CASE("a year with one jump and one creep shows both, and a date") {
  std::mt19937_64 engine(8);
  std::vector<FitResult> results;
  for (int month = 0; month < 12; ++month) {
    FitResult result = month_result(month, engine);
    if (month >= 5) value_of(result, A_y).value += 0.025;
    value_of(result, A_z).value += 0.002 * month;
    results.push_back(result);
  }
  HistoryOptions options = without_shift();
  options.within_mm = 0.030;
  const History history = history_of(results, options);
  CHECK(history.alarmed());
  const ValueHistory& jumping = of(history, A_y);
  REQUIRE(jumping.jumps.size() == 1);
  CHECK(jumping.jumps[0].before == 4);
  CHECK(std::abs(jumping.jumps[0].size - 0.025) <= 1.5 * jumping.jumps[0].U95);
  CHECK_FALSE(jumping.trend.creeps);
  const ValueHistory& creeping = of(history, A_z);
  CHECK(creeping.jumps.empty());
  CHECK(creeping.trend.creeps);
  CHECK(std::abs(creeping.trend.per_month - 0.002) <= 1.5 * creeping.trend.U95);
  REQUIRE(creeping.next.kind == NextCheck::Kind::by_date);
  // 0.030 at 0.002 a month is 15 months from the first result; U95 takes some of it away.
  const double months = (creeping.next.time_s - history.epochs.front().time_s) / seconds_per_month;
  CHECK(months > 11.0);
  CHECK(months < 15.0);
}

TEST_CASE("a steady machine makes a chart cry as seldom as it was designed for") {
  std::mt19937_64 engine(21);
  HistoryOptions options = without_shift();
  options.run_length = 100.0;
  // With 60 results from the first on: 1 - exp(-59 / 100) of the histories cry at least once; a little
  // less, because the first results of a chart that starts at 0 cannot.
  int cried = 0;
  int histories = 0;
  for (int run = 0; run < 40; ++run) {
    std::vector<FitResult> results;
    for (int month = 0; month < 60; ++month) results.push_back(month_result(month, engine));
    for (const ValueHistory& value : history_of(results, options).values) {
      ++histories;
      if (std::ranges::any_of(value.points, &HistoryPoint::alarm)) ++cried;
    }
  }
  const double share = static_cast<double>(cried) / histories;
  // 320 charts, correlated by 0.2: standard error about 4 %.
  CHECK(share > 0.30);
  CHECK(share < 0.56);
}

TEST_CASE("residuals against the mean of all before have unit variance and no memory") {
  std::mt19937_64 engine(22);
  std::vector<FitResult> results;
  for (int month = 0; month < 400; ++month) results.push_back(month_result(month, engine));
  HistoryOptions options = without_shift();
  options.run_length = 1e6;  // no restart
  const History history = history_of(results, options);
  const ValueHistory& value = of(history, A_y);
  CHECK(std::isnan(value.points[0].residual));
  double squares = 0.0;
  double products = 0.0;
  for (std::size_t k = 1; k < value.points.size(); ++k) {
    squares += value.points[k].residual * value.points[k].residual / 399.0;
    if (k > 1) products += value.points[k].residual * value.points[k - 1].residual / 398.0;
  }
  CHECK(squares > 0.75);  // standard error 0.07
  CHECK(squares < 1.25);
  CHECK(std::abs(products) < 0.2);  // standard error 0.05
}

namespace {

/// All centres read off by the probe's error, which nobody knows better than 0.02 mm.
constexpr double probe_u_mm = 0.02;

/// Every centre is read off by `error_mm` of a probe P1, by an effect whose size the term has.
SharedTerm read_off(FitResult& result, const EffectName& effect, double error_mm,
                    const std::string& calibrated) {
  SharedTerm term;
  term.effect = effect;
  term.gains = Eigen::VectorXd::Zero(static_cast<Eigen::Index>(result.covariance.names.size()));
  for (Eigen::Index i = 0; i < term.gains.size(); ++i) {
    const ValueName& name = result.covariance.names[static_cast<std::size_t>(i)];
    if (name.kind != ValueKind::centre) continue;
    term.gains[i] = 1.0;
    value_of(result, name).value += error_mm;
  }
  result.conditions.probe = "P1";
  result.conditions.probe_calibrated = calibrated;
  return term;
}

void probe_with(FitResult& result, const std::string& calibrated, double error_mm) {
  SharedTerm term = read_off(result, {EffectKind::stylus_offset, 1, '\0'}, error_mm, calibrated);
  term.u = probe_u_mm;
  result.covariance.absolute += probe_u_mm * probe_u_mm * term.gains * term.gains.transpose();
  result.gains.terms.push_back(term);
}

}  // namespace

TEST_CASE("an error all results share does not hide a jump") {
  std::mt19937_64 engine(31);
  std::vector<FitResult> results;
  for (int month = 0; month < 12; ++month) {
    FitResult result = month_result(month, engine);
    probe_with(result, "2025-01-01", 0.03);
    if (month >= 6) value_of(result, A_y).value += 0.015;
    results.push_back(result);
  }
  const ValueHistory jumping = of(history_of(results, without_shift()), A_y);
  REQUIRE(jumping.jumps.size() == 1);
  CHECK(jumping.jumps[0].before == 5);
  // u 0.002 of each: two means of six.
  CHECK(jumping.jumps[0].U95 == doctest::Approx(1.96 * 0.002 * std::sqrt(2.0 / 6.0)).epsilon(0.02));
  // Nobody states which probe: it may have been another one each time.
  for (FitResult& result : results) result.conditions = {};
  CHECK(of(history_of(results, without_shift()), A_y).jumps.empty());
}

TEST_CASE("a probe that was calibrated in between enters once, not with every result") {
  std::mt19937_64 engine(32);
  std::normal_distribution<double> normal(0.0, probe_u_mm);
  constexpr int histories = 300;
  double squares = 0.0;
  int cried = 0;
  for (int run = 0; run < histories; ++run) {
    const double first = normal(engine);
    const double second = normal(engine);
    std::vector<FitResult> results;
    for (int month = 0; month < 12; ++month) {
      FitResult result = month_result(month, engine);
      probe_with(result, month < 6 ? "2025-01-01" : "2025-07-01", month < 6 ? first : second);
      results.push_back(result);
    }
    const ValueHistory value = of(history_of(results, without_shift()), A_y);
    squares += value.points[6].residual * value.points[6].residual / histories;
    cried += std::ranges::any_of(value.points, &HistoryPoint::alarm);
  }
  CHECK(std::abs(squares - 1.0) < 0.35);  // standard error 0.08
  // One alarm in 500 results: 11 of them in 1.8 % of the histories or less; 15 once in a thousand seeds.
  CHECK(cried <= 15);
}

namespace {

/// All centres shifted by the lobing of the probe, of which only a bound is known.
void lobed(FitResult& result, const std::string& calibrated, double error_mm) {
  SharedTerm term = read_off(result, {EffectKind::lobing, 0, '\0'}, error_mm, calibrated);
  term.half_width = 2.0 * probe_u_mm;
  result.gains.terms.push_back(term);
}

/// A year with a jump of 0.015 mm in June.
std::vector<FitResult> lobed_year(const std::string& calibrated_in_june, double lobing_in_june_mm) {
  std::mt19937_64 engine(36);
  std::vector<FitResult> results;
  for (int month = 0; month < 12; ++month) {
    FitResult result = month_result(month, engine);
    lobed(result, month < 6 ? "2025-01-01" : calibrated_in_june,
          month < 6 ? 0.01 : lobing_in_june_mm);
    results.push_back(result);
  }
  return results;
}

}  // namespace

TEST_CASE(
    "what is only bounded hides no jump while it is the same, and is granted where it is not") {
  std::vector<FitResult> same = lobed_year("2025-01-01", 0.01);
  for (std::size_t month = 6; month < 12; ++month) value_of(same[month], A_y).value += 0.015;
  CHECK(of(history_of(same, without_shift()), A_y).jumps.size() == 1);
  // The probe was calibrated anew and lobes otherwise: as large a step is nothing to cry at.
  const History calibrated = history_of(lobed_year("2025-06-20", -0.005), without_shift());
  CHECK(of(calibrated, A_y).jumps.empty());
  CHECK_FALSE(calibrated.alarmed());
  REQUIRE(calibrated.conditions.size() == 1);
  CHECK(calibrated.conditions[0].what.kind == CompareNote::Kind::other_calibration);
  CHECK(calibrated.conditions[0].epochs == std::vector<std::size_t>{0, 1, 2, 3, 4, 5});
}

TEST_CASE("drift within a survey is every survey's own") {
  std::mt19937_64 engine(37);
  const double widest_mm = 0.02;
  // Its length is bounded: along one direction it is a coordinate of a point anywhere in a ball.
  std::uniform_real_distribution<double> coordinate(-1.0, 1.0);
  const auto drawn_mm = [&] {
    Eigen::Vector3d point;
    do {
      for (double& part : point) part = coordinate(engine);
    } while (point.norm() > 1.0);
    return widest_mm * point.x();
  };
  int cried = 0;
  for (int run = 0; run < 40; ++run) {
    std::vector<FitResult> results;
    for (int month = 0; month < 12; ++month) {
      FitResult result = month_result(month, engine);
      lobed(result, "2025-01-01", drawn_mm());
      result.gains.terms.back().effect.kind = EffectKind::creep;
      result.gains.terms.back().half_width = widest_mm;
      results.push_back(result);
    }
    cried += history_of(results, without_shift()).alarmed();
  }
  // 8 charts and 2 axes over 12 results, one alarm of a chart in 500 results: at most 24 % of the
  // histories, 9.6 of 40; twice as many come once in a thousand seeds.
  CHECK(cried <= 19);
}

TEST_CASE("results made under other conditions are named, widened or left out") {
  std::mt19937_64 engine(38);
  std::vector<FitResult> results;
  for (int month = 0; month < 6; ++month) results.push_back(month_result(month, engine));
  SUBCASE("tables switched, or written anew: another quantity") {
    for (FitResult& result : results) result.conditions.tables_on = true;
    results[0].conditions.tables_on = false;
    results[1].conditions.tables_written = "2025-01-20";
    for (std::size_t month = 2; month < 6; ++month) {
      results[month].conditions.tables_written = "2025-02-20";
    }
    const History history = history_of(results, without_shift());
    CHECK(history.epochs.size() == 4);
    REQUIRE(history.left_out.size() == 2);
    for (const LeftOutOfHistory& file : history.left_out) {
      CHECK(file.why == LeftOutOfHistory::Why::other_tables);
    }
  }
  SUBCASE("a cold machine may have shifted twice as far") {
    for (FitResult& result : results) result.conditions.warm_minutes = 60.0;
    HistoryOptions options;
    options.between_surveys_mm = 0.003;
    const double warm = of(history_of(results, options), A_y).points[3].residual;
    results[3].conditions.warm_minutes = 5.0;
    const History history = history_of(results, options);
    CHECK(std::abs(of(history, A_y).points[3].residual) < std::abs(warm));
    REQUIRE(history.conditions.size() == 2);
    CHECK(history.conditions[0].what.kind == CompareNote::Kind::probe_not_stated);
    CHECK(history.conditions[1].what.kind == CompareNote::Kind::other_warmth);
    CHECK(history.conditions[1].epochs == std::vector<std::size_t>{3});
  }
  SUBCASE("clamped, other way round, other coupling") {
    for (FitResult& result : results) {
      result.conditions.clamped = true;
      result.conditions.rollover = "by sign";
      result.conditions.index_step_rad = {{'C', 0.1}};
    }
    results[2].conditions.clamped = false;
    results[2].conditions.rollover = "counted on";
    results[2].conditions.index_step_rad = {{'C', 0.05}};
    std::vector<CompareNote::Kind> kinds;
    for (const OtherConditions& other : history_of(results, without_shift()).conditions) {
      kinds.push_back(other.what.kind);
    }
    using Kind = CompareNote::Kind;
    CHECK(kinds == std::vector<Kind>{Kind::probe_not_stated, Kind::other_clamping,
                                     Kind::other_rollover, Kind::other_coupling});
  }
}

TEST_CASE("two results make a jump or nothing") {
  std::mt19937_64 engine(33);
  std::vector<FitResult> results = {month_result(0, engine), month_result(1, engine)};
  CHECK(of(history_of(results, without_shift()), A_y).jumps.empty());
  value_of(results[1], A_y).value += 0.08;
  const ValueHistory jumped = of(history_of(results, without_shift()), A_y);
  REQUIRE(jumped.jumps.size() == 1);
  CHECK(std::abs(jumped.jumps[0].size - 0.08) <= 1.5 * jumped.jumps[0].U95);
  CHECK(jumped.scatter == 1.0);
}

TEST_CASE("the next check is due when the limits of the value itself are reached") {
  std::mt19937_64 engine(34);
  std::vector<FitResult> results;
  for (int month = 0; month < 12; ++month) {
    FitResult result = month_result(month, engine);
    value_of(result, A_z).value += 0.002 * month;
    results.push_back(result);
  }
  const double start = value_of(results[0], A_z).value;
  HistoryOptions options = without_shift();
  // 0.030 above where it was: 15 months at 0.002 a month, less what U95 takes. Downwards no limit.
  options.rooms = {{A_z, false, {-1e9, start + 0.030}}};
  const ValueHistory creeping = of(history_of(results, options), A_z);
  REQUIRE(creeping.next.kind == NextCheck::Kind::by_date);
  const double first = *seconds_from_iso(results[0].started);
  const double months = (creeping.next.time_s - first) / seconds_per_month;
  CHECK(months > 11.0);
  CHECK(months < 15.5);
  CHECK(creeping.limits->high == doctest::Approx(start + 0.030));
  CHECK(of(history_of(results, options), A_y).next.kind == NextCheck::Kind::no_limit);
}

TEST_CASE("pieces are cut at steps only") {
  Series series;
  std::mt19937_64 engine(4);
  std::normal_distribution<double> normal;
  for (int k = 0; k < 40; ++k) {
    series.time_s.push_back(86400.0 * k);
    series.x.push_back(0.1 * k + normal(engine) * 0.3 + (k >= 13 ? 5.0 : 0.0) -
                       (k >= 29 ? 4.0 : 0.0));
    series.u.push_back(0.3);
  }
  CHECK(pieces_of(series) == std::vector<std::size_t>{0, 13, 29});
  for (int k = 0; k < 40; ++k)
    series.x[static_cast<std::size_t>(k)] = 0.1 * k + normal(engine) * 0.3;
  CHECK(pieces_of(series) == std::vector<std::size_t>{0});
}

TEST_CASE("a weighted line is the textbook one") {
  // Equal weights, t 0 1 2 3, x 1 3 2 5: slope 1.1, mean 2.75, residual sum 2.7 (by hand).
  const Series series = {{0, 1, 2, 3}, {1, 3, 2, 5}, {1, 1, 1, 1}};
  const LineThrough line = line_through(series, 0, 4, true);
  CHECK(line.slope == doctest::Approx(1.1));
  CHECK(line.level == doctest::Approx(2.75));
  CHECK(line.chi2 == doctest::Approx(2.7));
  CHECK(line.slope_u == doctest::Approx(1.0 / std::sqrt(5.0)));
  CHECK(line.u_at(1.5) == doctest::Approx(0.5));
}

TEST_CASE("what takes no part is named, never guessed") {
  std::mt19937_64 engine(1);
  std::vector<FitResult> results;
  for (int month = 0; month < 4; ++month) results.push_back(month_result(month, engine));
  results[1].usable = false;
  results[2].started = "some day";
  FitResult again = results[0];
  again.started = monthly(9);
  results.push_back(again);
  const History history = history_of(results, without_shift());
  CHECK(history.epochs.size() == 2);
  REQUIRE(history.left_out.size() == 3);
  CHECK(history.left_out[0].why == LeftOutOfHistory::Why::not_usable);
  CHECK(history.left_out[1].why == LeftOutOfHistory::Why::no_date);
  CHECK(history.left_out[2].why == LeftOutOfHistory::Why::duplicate);
  CHECK(history.left_out[2].detail == monthly(0));
}

TEST_CASE("too few results give no date, no limit gives none either") {
  std::mt19937_64 engine(1);
  HistoryOptions options = without_shift();
  std::vector<FitResult> results = {month_result(0, engine), month_result(1, engine)};
  CHECK(of(history_of(results, options), A_y).next.kind == NextCheck::Kind::no_limit);
  options.within_mm = 0.05;
  CHECK(of(history_of(results, options), A_y).next.kind == NextCheck::Kind::not_enough_results);
}

TEST_CASE("five thousand results are followed within a second or so") {
  std::mt19937_64 engine(2);
  std::vector<Epoch> epochs;
  std::vector<LeftOutOfHistory> left_out;
  for (int k = 0; k < 5000; ++k) {
    FitResult result = month_result(k % 900, engine);
    result.inputs[1].sha256 = std::to_string(k);
    Epoch epoch = *epoch_of(result, "x", left_out);
    epoch.time_s += 3600.0 * k;
    if (k > 2500) epoch.values[0] += 0.02;
    epochs.push_back(std::move(epoch));
  }
  const auto before = std::clock();
  const History history = make_history("made up", std::move(epochs), {}, without_shift());
  const double seconds = static_cast<double>(std::clock() - before) / CLOCKS_PER_SEC;
  MESSAGE("5000 results in ", seconds, " s of processor time");
  CHECK(history.epochs.size() == 5000);
  CHECK(seconds < 3.0);  // unoptimised builds and sanitizers included
}
