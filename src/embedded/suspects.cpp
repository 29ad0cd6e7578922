// The coefficients b of a station are D dx + T s: what the unknowns do, and the shift s of the whole
// station, of variance v. Touches are n . b + error, touch sigma 1. Reduced and whitened they are rows W
// with right sides w (whiten); K is the covariance of D dx after all touches, e what index errors add to
// b. With S = T'W'W the shift has after all touches
//   the score     g = T'W'(w - W e),                     the estimate s = v g,
//   information   S T - S K S'  about a further shift of the whole station (Baarda)
// and b has the estimate x = e + T s and, with F = I - v T S, the covariance
//   P = F K F' + v T (I - v S T) T'
// so a touch's error is gap - n . x, of variance 1 - n' P n. K = sum of columns k k' solved forward
// through the triangles; F k of an axis is also how that feels a change of b. (Derived here; S and g
// are those of the touches themselves by Henderson's equations.)
#include "embedded/suspects.h"

#include "embedded/quantiles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

constexpr int most_shifts = 3;

/// A touch nothing else checks cannot be tested.
constexpr real least_information = real(1e-3);
/// Directions of a shift seen with less than this share of the information of the best are left out.
constexpr real seen_share = real(0.01);

/// In the tests the columns of the visit hold the rows of S, each followed by its right side, which ends
/// as the score; and behind them e, then x.
constexpr int row_of_S = block_rows + 1;
real* row_S(Work& work, int i) { return work.visit.columns + row_of_S * i; }
real* expected_of(Work& work) { return work.visit.columns + row_of_S * most_shifts; }
static_assert(row_of_S * most_shifts + block_rows <= sizeof(Visit::columns) / sizeof(real));

/// What index errors of this station, by the last solution, add to the coefficients.
void expect_by_index(Work& work, const pivotrace_station& stay) {
  const Layout& layout = work.layout;
  const real* row = work.position(stay.position[int{layout.thin_axis}]);
  const int width = layout.width();
  real own[numbers_an_axis];
  for (int r = 0; r < layout.each(); ++r) {
    const real* begin = row + row_begin(r, width);
    real sum = begin[width - 1 - r];
    for (int c = 0; c < layout.dense(); ++c)
      sum -= begin[layout.each() - r + c] * work.solution()[c];
    own[r] = sum;
  }
  solve_back(row, 0, layout.each(), width, own);
  real* expected = expected_of(work);
  clear(expected, block_rows);
  const real* column = work.block();
  for (int c = 0; c < layout.each() + layout.other; ++c, column += block_rows) {
    const real error = c < layout.each() ? own[c] : work.solution()[c - layout.each()];
    subtract(-error, column, expected);
  }
}

/// Solves the block forward through all triangles: its columns become the root of K.
void root_of_covariance(Work& work, const pivotrace_station& stay) {
  const Layout& layout = work.layout;
  real* block = work.block();
  solve_forward(work.position(stay.position[int{layout.thin_axis}]), layout.each(), layout.width(),
                block);
  solve_forward(work.dense(), layout.dense(), layout.dense() + 1,
                block + block_rows * layout.each());
}

/// b += T by.
void add_shift(const Visit& visit, int i, real by, real* coefficients) {
  coefficients[1 + i] += by;
  if (visit.is_pin()) coefficients[3 + i] += by;
}

/// S and the score from the whitened rows.
void weigh_shifts(Work& work) {
  const Visit& visit = work.visit;
  const real* expected = expected_of(work);
  for (int i = 0; i < most_shifts && i < visit.shifts(); ++i) {
    real* S = row_S(work, i);
    clear(S, row_of_S);
    const real* next = visit.triangle;
    for (int r = 0; r < visit.coefficients(); ++r) {
      const real by = shift_of_row(visit, r, i);
      for (int c = r; c < row_of_S; ++c) S[c] += by * *next++;
    }
    S[block_rows] -= product(S, expected);
  }
}

/// Score and information of a shift of the station.
struct Shift {
  real information[most_shifts][most_shifts];
  real score[most_shifts];
};

/// Turns e into x and the columns k into F k; `factor` is that of K.
void take_in_shift(Work& work, real factor, real variance, Shift& shift) {
  const Visit& visit = work.visit;
  for (int i = 0; i < most_shifts && i < visit.shifts(); ++i) {
    shift.score[i] = row_S(work, i)[block_rows];
    for (int j = 0; j < most_shifts && j < visit.shifts(); ++j) {
      shift.information[i][j] = shift_of(visit, j, row_S(work, i));
    }
    add_shift(visit, i, variance * shift.score[i], expected_of(work));
  }
  real* column = work.block();
  for (int c = 1; c < work.layout.width(); ++c, column += block_rows) {
    real felt[most_shifts];
    for (int i = 0; i < most_shifts && i < visit.shifts(); ++i) {
      felt[i] = product(row_S(work, i), column);
      for (int j = 0; j <= i; ++j) shift.information[i][j] -= factor * felt[i] * felt[j];
    }
    for (int i = 0; i < most_shifts && i < visit.shifts(); ++i) {
      add_shift(visit, i, -variance * felt[i], column);
    }
  }
}

/// score' information^-1 score over the directions that are seen, with more than the `least`; their
/// number in `dimensions`.
real shift_statistic(Shift& shift, int shifts, real least, int& dimensions) {
  real statistic = real(0);
  real best = real(0);
  for (int i = 0; i < shifts; ++i) {
    for (int j = 0; j < i; ++j) shift.information[j][i] = shift.information[i][j];
  }
  for (dimensions = 0; dimensions < shifts; ++dimensions) {
    int k = 0;
    for (int i = 1; i < shifts; ++i) {
      if (shift.information[i][i] > shift.information[k][k]) k = i;
    }
    const real pivot = shift.information[k][k];
    best = larger(best, pivot);
    if (!(pivot > seen_share * best) || !(pivot > least)) break;
    statistic += shift.score[k] * shift.score[k] / pivot;
    for (int i = 0; i < shifts; ++i) {
      if (i == k) continue;
      const real factor = shift.information[i][k] / pivot;
      shift.score[i] -= factor * shift.score[k];
      for (int j = 0; j < shifts; ++j) shift.information[i][j] -= factor * shift.information[k][j];
    }
    shift.information[k][k] = real(0);
  }
  return statistic;
}

/// A square over a pooled variance that holds it itself becomes F over the variance left without it
/// (Pope): `square` / d (dof - d) / (dof - square). dof = 0: the variance is known.
real without_itself(real square, real d, real dof) {
  if (!(dof > d)) return square / d;
  return square / d * (dof - d) / larger(dof - square, real(1e-3) * dof);
}

real touch_dof(const Work& work) {
  const int32_t stated = work.survey->setup->errors.dof;
  return stated == 0 ? real(0) : real(stated + touch_redundancy(work));
}

/// What scales and squarenesses do to a touch: outward[axis moved] times where it is along the other.
void feel_linear(const Work& work, real weight, const real* row, const int32_t* at, real* common) {
  const Visit& visit = work.visit;
  Vector outward = scaled(weight, {{row[1], row[2], row[3]}});
  if (visit.is_pin()) {
    outward = scaled(weight * shift_of(visit, 0, row), visit.pin.across[0]);
    outward = plus(outward, weight * shift_of(visit, 1, row), visit.pin.across[1]);
  }
  const Vector from = difference(at, work.survey->setup->errors.linear_origin);
  for (int i = 0; i < 3; ++i) common[i] = outward[i] * from[i];
  common[3] = outward[0] * from[1];
  common[4] = outward[1] * from[2];
  common[5] = outward[0] * from[2];
}

/// n' P n for n = `row`; and what the axes feel of scales and squarenesses through this touch.
real known_of(Work& work, const real* row, const real* common, real variance, real factor) {
  const Visit& visit = work.visit;
  real known = real(0);
  for (int i = 0; i < most_shifts && i < visit.shifts(); ++i) {
    real by = shift_of(visit, i, row);
    const real shift = variance * by;
    for (int j = 0; j < most_shifts && j < visit.shifts(); ++j) {
      by -= variance * shift_of(visit, j, row_S(work, i)) * shift_of(visit, j, row);
    }
    known += shift * by;
  }
  const real* column = work.block();
  const int axes_begin = work.layout.column(work.layout.axes_begin);
  real squares = real(0);
  for (int c = 1 - axes_begin; c < work.layout.width() - axes_begin; ++c, column += block_rows) {
    const real felt = product(column, row);
    squares += felt * felt;
    if (c <= 0) continue;
    for (int term = 0; term < linear_terms; ++term) {
      work.felt[term * axis_unknowns + c - 1] += felt * common[term];
    }
  }
  return known + factor * squares;
}

/// Error of one touch over the standard deviation of that, 0 when nothing checks it.
real test_touch(Work& work, real variance, real factor, const pivotrace_touch& at) {
  const real weight = real(1) / work.touch_variance;
  real row[block_rows + 1];
  real common[6];
  look_at(work, at, Gap::exact, 1, row);
  if constexpr (with_linear_terms) feel_linear(work, weight, row, at.at, common);
  const real information = real(1) - weight * known_of(work, row, common, variance, factor);
  const real left = row[block_rows] - product(row, expected_of(work));
  return information > least_information ? left * contact::square_root(weight / information)
                                         : real(0);
}

void test_touches(Work& work, const pivotrace_station& stay, real variance, real factor,
                  pivotrace_result& result) {
  for (int i = 0; i < stay.touches; ++i) {
    const int number = static_cast<int>(stay.first) + i;
    const real t = test_touch(work, variance, factor, work.survey->touch[number]);
    if (magnitude(t) > magnitude(result.worst_touch_t)) {
      result.worst_touch_t = t;
      result.worst_touch = number;
    }
  }
}

/// Kept as F, beside the limit of its own number of dimensions: the one furthest beyond counts.
[[gnu::noinline]] void test_whole(Work& work, Shift& shift, pivotrace_result& result) {
  int dimensions = 0;
  const real least = least_information / work.touch_variance;
  const real statistic = shift_statistic(shift, work.visit.shifts(), least, dimensions);
  if (dimensions == 0 || station_redundancy(work) <= dimensions) return;
  const real d = real(dimensions);
  const int32_t stated = work.survey->setup->errors.dof;
  const real dof = stated == 0 ? real(0) : real(stated + station_redundancy(work));
  const real F = without_itself(statistic, d, dof);
  // Four times as many tests as there are: the scatter of the stations is pooled from parts that are
  // not all theirs, and F is a little too large for it.
  const real z = deviate_of_any(4 * work.survey->stations);
  const real limit = fisher_f(z, d, dof > d ? dof - d : real(0));
  const bool worse =
      result.worst_station < 0 || F * result.worst_station_limit > result.worst_station_F * limit;
  if (!worse) return;
  result.worst_station = work.station;
  result.worst_station_F = F;
  result.worst_station_limit = limit;
}

bool worst_touch_is_there(const pivotrace_survey& survey, const pivotrace_result& result) {
  const pivotrace_station& stay = survey.station[result.worst_station];
  return result.worst_touch >= stay.first && result.worst_touch < stay.first + stay.touches;
}

/// The shift of the whole station. Kept apart, so that the stack holds one test at a time.
[[gnu::noinline]] void test_shift(Work& work, real variance, real factor,
                                  pivotrace_result& result) {
  Shift shift;
  take_in_shift(work, factor, variance, shift);
  test_whole(work, shift, result);
}

/// Kept apart from the reduction likewise.
[[gnu::noinline]] void test_reduced(Work& work, const pivotrace_station& stay,
                                    pivotrace_result& result) {
  const real factor = pooled_station_factor(work);
  const real variance = factor * station_variance(work);
  whiten(work, variance, false);
  expect_by_index(work, stay);
  weigh_shifts(work);
  root_of_covariance(work, stay);
  test_shift(work, variance, factor, result);
  test_touches(work, stay, variance, factor, result);
}

}  // namespace

void begin_tests(Work& work, pivotrace_result& result) {
  clear_result(result);
  __builtin_memset(work.felt, 0, sizeof(work.felt));
  work.station = 0;
  set_chain(work);
}

void test_station(Work& work, pivotrace_result& result) {
  const pivotrace_station& stay = work.survey->station[work.station];
  turn_to(work, stay);
  reduce_touches(work, stay, Gap::exact);
  test_reduced(work, stay, result);
}

void judge(Work& work, pivotrace_result& result) {
  const real dof = touch_dof(work);
  const real stated = real(work.survey->setup->errors.dof);
  const real z = deviate_of_any(2 * work.survey->touches);
  result.worst_touch_limit = student_t(z, dof);
  const auto beyond = [stated](real chi2, int32_t redundancy) {
    if (redundancy <= 0) return false;
    return chi2 > real(redundancy) * fisher_f(normal_999, real(redundancy), stated);
  };
  const real by_touch = square(result.worst_touch_t / result.worst_touch_limit);
  const real by_station =
      result.worst_station < 0 ? real(0) : result.worst_station_F / result.worst_station_limit;
  if (by_touch > real(1)) result.findings |= PIVOTRACE_FOUND_TOUCH;
  if (by_station > real(1)) result.findings |= PIVOTRACE_FOUND_STATION;
  // A slipped station makes its touches stand out, and a bad touch its station: the story that is
  // further beyond its limit is told.
  const int32_t both = PIVOTRACE_FOUND_TOUCH | PIVOTRACE_FOUND_STATION;
  if ((result.findings & both) == both && worst_touch_is_there(*work.survey, result)) {
    result.findings &= by_touch > by_station ? ~PIVOTRACE_FOUND_STATION : ~PIVOTRACE_FOUND_TOUCH;
  }
  if (beyond(work.within, touch_redundancy(work))) result.findings |= PIVOTRACE_FOUND_TOUCHES;
  if (beyond(work.between, station_redundancy(work))) result.findings |= PIVOTRACE_FOUND_STATIONS;
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
