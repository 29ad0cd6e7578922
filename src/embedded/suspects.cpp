// The coefficients b of a station are D dx + T s: what the unknowns do, and the shift s of the whole
// station. Touches are n . b + error, touch sigma 1. Let x be the best estimate of b and P its
// covariance, both after all touches of the survey. Then (Baarda)
//   a touch's error is gap - n . x, of variance 1 - n' P n
//   a further shift T d of the station has the score T'N'(gap - N x) and the information
//   T'(G - G P G) T with G = N'N
// x and P come from D dx and its covariance K by taking s in as an unknown of the station, row by row
// of the reduced touches (the square root of its covariance is kept: Potter). The same rows turn each
// column of the root of K into its part of P.
#include "embedded/suspects.h"

#include "embedded/quantiles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

constexpr int most_shifts = 3;

/// A touch nothing else checks cannot be tested.
constexpr real least_information = real(1e-3);
/// Directions of a shift seen with less than this share of the information of the best are left out.
constexpr real seen_share = real(0.01);

/// In the tests the columns of the visit hold these, in units of the touch sigma.
real* covariance_of(Work& work) { return work.visit.columns; }
real* expected_of(Work& work) { return work.visit.columns + block_rows * block_rows; }

/// Row r of the reduced touches, filled up; returns what is right of it.
real reduced_row(const Visit& visit, int r, real* row) {
  const real* next = visit.triangle + row_begin(r, block_rows + 1);
  for (int c = 0; c < block_rows; ++c) row[c] = c < r ? real(0) : next[c - r];
  return next[block_rows - r];
}

/// What index errors of this station, by the last solution, add to the coefficients.
void expect_by_index(Work& work, const pivotrace_station& stay, real touch) {
  const Layout& layout = work.layout;
  const real* row = work.position(stay.position[int{layout.thin_axis}]);
  const int width = layout.width();
  real own[numbers_an_axis];
  for (int r = 0; r < layout.each; ++r) {
    const real* begin = row + row_begin(r, width);
    real sum = begin[width - 1 - r];
    for (int c = 0; c < layout.dense(); ++c) sum -= begin[layout.each - r + c] * work.solution()[c];
    own[r] = sum;
  }
  solve_back(row, 0, layout.each, width, own);
  real* expected = expected_of(work);
  clear(expected, block_rows);
  const real* column = work.block();
  for (int c = 0; c < layout.each + layout.other; ++c, column += block_rows) {
    const real error = c < layout.each ? own[c] : work.solution()[c - layout.each];
    subtract(-error * touch, column, expected);
  }
}

/// Solves the block forward through all triangles: its columns become the root of K.
void root_of_covariance(Work& work, const pivotrace_station& stay) {
  const Layout& layout = work.layout;
  real* block = work.block();
  solve_forward(work.position(stay.position[int{layout.thin_axis}]), layout.each, layout.width(),
                block);
  solve_forward(work.dense(), layout.dense(), layout.dense() + 1, block + block_rows * layout.each);
}

/// Takes the shift of the station in, `sigma` touch sigmas a direction.
[[gnu::noinline]] void take_in_shift(Work& work, real sigma, real touch) {
  const Visit& visit = work.visit;
  real root[most_shifts * block_rows] = {};
  for (int i = 0; i < most_shifts && i < visit.shifts; ++i)
    add_shift(visit, i, sigma, root + block_rows * i);
  for (int r = 0; r < visit.coefficients; ++r) {
    real row[block_rows];
    real gain[block_rows] = {};
    real* expected = expected_of(work);
    const real left = touch * reduced_row(visit, r, row) - product(row, expected);
    real variance = real(1);
    for (int i = 0; i < most_shifts && i < visit.shifts; ++i) {
      const real by = product(root + block_rows * i, row);
      variance += by * by;
      subtract(-by, root + block_rows * i, gain);
    }
    subtract(-left / variance, gain, expected);
    const real share = real(1) / (variance + contact::square_root(variance));
    for (int i = 0; i < most_shifts && i < visit.shifts; ++i) {
      real* one = root + block_rows * i;
      subtract(share * product(one, row), gain, one);
    }
    const real inverse = real(1) / variance;
    real* column = work.block();
    for (int c = 1; c < work.layout.width(); ++c, column += block_rows) {
      subtract(inverse * product(row, column), gain, column);
    }
  }
  for (int i = 0; i < most_shifts && i < visit.shifts; ++i) {
    for (int j = 0; j < block_rows; ++j) {
      subtract(-root[block_rows * i + j], root + block_rows * i,
               covariance_of(work) + block_rows * j);
    }
  }
}

/// Adds K, turned by the shift.
void add_covariance(Work& work, real unit) {
  const real* column = work.block();
  for (int c = 1; c < work.layout.width(); ++c, column += block_rows) {
    for (int i = 0; i < work.visit.coefficients; ++i) {
      const real factor = unit * column[i];
      if (factor != real(0)) subtract(-factor, column, covariance_of(work) + block_rows * i);
    }
  }
}

/// P b.
void covariance_times(Work& work, const real* b, real* result) {
  const real* row = covariance_of(work);
  for (int i = 0; i < block_rows; ++i, row += block_rows) result[i] = product(row, b);
}

/// Score and information of a shift of the station.
struct Shift {
  real information[most_shifts][block_rows];
  real score[most_shifts];
};

/// The shifts out of the coefficients, two of them together for a pin.
real shift_of(const Visit& visit, int i, const real* by_coefficient) {
  return by_coefficient[1 + i] + (visit.shifts == 2 ? by_coefficient[3 + i] : real(0));
}

void weigh_shift(Work& work, real touch, Shift& shift) {
  const Visit& visit = work.visit;
  real felt[most_shifts][block_rows] = {};
  for (real& score : shift.score) score = real(0);
  for (int r = 0; r < visit.coefficients; ++r) {
    real row[block_rows];
    const real left = touch * reduced_row(visit, r, row) - product(row, expected_of(work));
    for (int i = 0; i < most_shifts && i < visit.shifts; ++i) {
      const real by = shift_of(visit, i, row);
      shift.score[i] += by * left;
      subtract(-by, row, felt[i]);
    }
  }
  for (int i = 0; i < most_shifts && i < visit.shifts; ++i) {
    real known[block_rows];
    covariance_times(work, felt[i], known);
    for (int j = 0; j < block_rows; ++j) shift.information[i][j] = real(0);
    for (int j = 0; j < most_shifts && j < visit.shifts; ++j) {
      shift.information[i][j] = shift_of(visit, j, felt[i]) - product(known, felt[j]);
    }
  }
}

/// score' information^-1 score over the directions that are seen; their number in `dimensions`.
real shift_statistic(Shift& shift, int shifts, int& dimensions) {
  real statistic = real(0);
  real best = real(0);
  for (dimensions = 0; dimensions < shifts; ++dimensions) {
    int k = 0;
    for (int i = 1; i < shifts; ++i) {
      if (shift.information[i][i] > shift.information[k][k]) k = i;
    }
    const real pivot = shift.information[k][k];
    best = larger(best, pivot);
    if (!(pivot > seen_share * best) || !(pivot > least_information)) break;
    statistic += shift.score[k] * shift.score[k] / pivot;
    for (int i = 0; i < shifts; ++i) {
      if (i == k) continue;
      const real factor = shift.information[i][k] / pivot;
      shift.score[i] -= factor * shift.score[k];
      subtract(factor, shift.information[k], shift.information[i]);
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

/// What a scale or squareness does to a touch: outward[axis moved] times where it is along the other.
void feel_linear(Work& work, real weight, const real* row, const int32_t* at) {
  const Visit& visit = work.visit;
  Vector outward{};
  for (int i = 0; i < most_shifts && i < visit.shifts; ++i) {
    const real by = weight * shift_of(visit, i, row);
    if (visit.shifts == 3) {
      outward[i] = by;
    } else {
      outward = plus(outward, by, visit.pin.across[i]);
    }
  }
  const Vector from = difference(at, work.survey->setup->errors.linear_origin);
  const real common[linear_terms] = {outward[0] * from[0], outward[1] * from[1],
                                     outward[2] * from[2], outward[0] * from[1],
                                     outward[1] * from[2], outward[0] * from[2]};
  const real* axes = work.block() + block_rows * work.layout.column(work.layout.axes_begin);
  for (int i = 0; i < work.layout.unknowns - work.layout.axes_begin; ++i, axes += block_rows) {
    const real felt = product(axes, row);
    for (int term = 0; term < linear_terms; ++term) {
      work.felt[term * axis_unknowns + i] += felt * common[term];
    }
  }
}

/// Error of one touch over the standard deviation of that, 0 when nothing checks it; and what the axes
/// feel of scales and squarenesses through this touch.
real test_touch(Work& work, real touch, const pivotrace_touch& at) {
  real row[block_rows + 1];
  real known[block_rows];
  look_at(work, at, Gap::exact, 1, row);
  feel_linear(work, touch * touch, row, at.at);
  covariance_times(work, row, known);
  const real information = real(1) - product(row, known);
  const real left = row[block_rows] * touch - product(row, expected_of(work));
  return information > least_information ? left / contact::square_root(information) : real(0);
}

void test_touches(Work& work, const pivotrace_station& stay, real touch, pivotrace_result& result) {
  for (int i = 0; i < stay.touches; ++i) {
    const int number = static_cast<int>(stay.first) + i;
    const real t = test_touch(work, touch, work.survey->touch[number]);
    if (magnitude(t) > magnitude(result.worst_touch_t)) {
      result.worst_touch_t = t;
      result.worst_touch = number;
    }
  }
}

/// Kept as F, beside the limit of its own number of dimensions: the one furthest beyond counts.
[[gnu::noinline]] void test_whole(Work& work, real touch, pivotrace_result& result) {
  Shift shift;
  int dimensions = 0;
  weigh_shift(work, touch, shift);
  const real statistic = shift_statistic(shift, work.visit.shifts, dimensions);
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

/// Kept apart from the reduction, so that the stack holds one of the two at a time.
[[gnu::noinline]] void test_reduced(Work& work, const pivotrace_station& stay,
                                    pivotrace_result& result) {
  const real touch = touch_weight(work);
  const real factor = pooled_station_factor(work);
  clear(work.visit.columns, block_rows * block_rows);
  expect_by_index(work, stay, touch);
  root_of_covariance(work, stay);
  take_in_shift(work, contact::square_root(factor) * station_sigma(work) * touch, touch);
  add_covariance(work, factor * touch * touch);
  test_touches(work, stay, touch, result);
  test_whole(work, touch, result);
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
