// With N the coefficients of a station's touches (rows n'), E those of a shift of the whole station,
// touch sigma 1 and station sigma kappa, the covariance of the touches is I + kappa^2 E E'. Let
// M = I + kappa^2 E'E and K the covariance of what the coefficients multiply. Then (Woodbury, and
// E = N T with T picking the shifts):
//   E'C^-1 N = M^-1 E'N            E'C^-1 v = M^-1 E'v
//   row i of C^-1 N: n - kappa^2 (E'C^-1 N)' e      C^-1 v: v - kappa^2 e . E'C^-1 v
// and a shift d along some columns S has information S'C^-1 S - S'C^-1 N K N'C^-1 S (Baarda).
#include "embedded/suspects.h"

#include "embedded/quantiles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

constexpr int most_shifts = 3;

/// A touch nothing else checks cannot be tested.
constexpr real least_information = real(1e-3);
/// Directions of a shift seen with less than this share of the information of the best are left out.
constexpr real seen_share = real(0.01);

/// All rows five wide, what is not used 0.
struct StationTest {
  int coefficients;
  int shifts;
  real kappa_square;
  real touch;                             ///< 1 / touch sigma
  real factor;                            ///< pooled variance of the stations, stated = 1
  real spread[block_rows][block_rows];    ///< K in units of the touch variance
  real weighed[most_shifts][block_rows];  ///< E'C^-1 N
  real inverse[most_shifts][block_rows];  ///< M^-1
  real score[block_rows];                 ///< E'C^-1 v, touch sigma 1
  real explained[block_rows];             ///< what index errors add to every gap, per coefficient
};

/// v T: the shifts out of the coefficients, two of them together for a pin.
void pick(const StationTest& test, const real* by_coefficient, real* by_shift) {
  const bool pin = test.coefficients == block_rows;
  by_shift[0] = by_coefficient[1] + (pin ? by_coefficient[3] : real(0));
  by_shift[1] = by_coefficient[2] + (pin ? by_coefficient[4] : real(0));
  by_shift[2] = pin ? real(0) : by_coefficient[3];
  by_shift[3] = by_shift[4] = real(0);
}

/// Gauss-Jordan of a positive definite matrix, in place.
void invert(real m[most_shifts][block_rows], int size) {
  for (int k = 0; k < size; ++k) {
    const real pivot = real(1) / m[k][k];
    m[k][k] = real(1);
    for (int j = 0; j < size; ++j) m[k][j] *= pivot;
    for (int i = 0; i < size; ++i) {
      if (i == k) continue;
      const real factor = m[i][k];
      m[i][k] = real(0);
      subtract(factor, m[k], m[i]);
    }
  }
}

/// Index errors of this station by the last solution, as the coefficients feel them.
void explain_by_index(Work& work, const pivotrace_station& stay, StationTest& test) {
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
  for (real& sum : test.explained) sum = real(0);
  const real* column = work.block();
  for (int c = 0; c < layout.each; ++c, column += block_rows) {
    subtract(-own[c], column, test.explained);
  }
  for (int c = 0; c < layout.other; ++c, column += block_rows) {
    subtract(-work.solution()[c], column, test.explained);
  }
}

/// K: the block solved forward through all triangles, times itself.
void spread_of(Work& work, const pivotrace_station& stay, StationTest& test) {
  const Layout& layout = work.layout;
  real* block = work.block();
  solve_forward(work.position(stay.position[int{layout.thin_axis}]), layout.each, layout.width(),
                block);
  solve_forward(work.dense(), layout.dense(), layout.dense() + 1, block + block_rows * layout.each);
  const real unit = test.touch * test.touch * test.factor;
  for (auto& row : test.spread) {
    for (real& number : row) number = real(0);
  }
  for (int c = 1; c < layout.width(); ++c, block += block_rows) {
    for (int i = 0; i < test.coefficients; ++i) {
      if (block[i] != real(0)) subtract(-unit * block[i], block, test.spread[i]);
    }
  }
}

/// N'N, N'v and with them the weighed quantities of the head of this file.
void weigh_station(const Work& work, StationTest& test) {
  real normal[most_shifts][block_rows] = {};
  real right[most_shifts] = {};
  const real* next = work.visit.triangle;
  for (int r = 0; r < test.coefficients; ++r) {
    real row[block_rows] = {};
    for (int c = r; c < block_rows; ++c, ++next) row[c] = *next;
    const real left = (*next++ - product(row, test.explained)) * test.touch;
    real shift[block_rows];
    pick(test, row, shift);
    for (int i = 0; i < test.shifts; ++i) {
      right[i] += shift[i] * left;
      subtract(-shift[i], row, normal[i]);
    }
  }
  for (int i = 0; i < test.shifts; ++i) {
    pick(test, normal[i], test.inverse[i]);
    for (int j = 0; j < test.shifts; ++j) test.inverse[i][j] *= test.kappa_square;
    test.inverse[i][i] += real(1);
  }
  invert(test.inverse, test.shifts);
  for (int i = 0; i < most_shifts; ++i) {
    test.score[i] = real(0);
    for (real& number : test.weighed[i]) number = real(0);
    if (i >= test.shifts) continue;
    for (int k = 0; k < test.shifts; ++k) {
      test.score[i] += test.inverse[i][k] * right[k];
      subtract(-test.inverse[i][k], normal[k], test.weighed[i]);
    }
  }
  test.score[3] = test.score[4] = real(0);
}

/// K b.
void spread_times(const StationTest& test, const real* b, real* result) {
  for (int i = 0; i < block_rows; ++i) result[i] = product(test.spread[i], b);
}

/// score' information^-1 score over the directions that are seen; their number in `dimensions`.
real shift_statistic(const StationTest& test, int& dimensions) {
  real information[most_shifts][block_rows];
  real score[most_shifts];
  for (int i = 0; i < test.shifts; ++i) {
    real spread[block_rows];
    score[i] = test.score[i];
    pick(test, test.weighed[i], information[i]);
    spread_times(test, test.weighed[i], spread);
    for (int j = 0; j < test.shifts; ++j) information[i][j] -= product(spread, test.weighed[j]);
  }
  real statistic = real(0);
  real best = real(0);
  for (dimensions = 0; dimensions < test.shifts; ++dimensions) {
    int k = 0;
    for (int i = 1; i < test.shifts; ++i) {
      if (information[i][i] > information[k][k]) k = i;
    }
    const real pivot = information[k][k];
    best = larger(best, pivot);
    if (!(pivot > seen_share * best) || !(pivot > least_information)) break;
    statistic += score[k] * score[k] / pivot;
    for (int i = 0; i < test.shifts; ++i) {
      if (i == k) continue;
      const real factor = information[i][k] / pivot;
      score[i] -= factor * score[k];
      subtract(factor, information[k], information[i]);
    }
    information[k][k] = real(0);
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
void feel_linear(Work& work, const StationTest& test, const real* shift, const int32_t* at,
                 const real* weighed) {
  Vector outward{};
  for (int i = 0; i < test.shifts; ++i) {
    if (test.shifts == 3) {
      outward[i] = shift[i];
    } else {
      outward = plus(outward, shift[i], work.visit.pin.across[i]);
    }
  }
  const Vector from = difference(at, work.survey->setup->errors.linear_origin);
  const real common[linear_terms] = {outward[0] * from[0], outward[1] * from[1],
                                     outward[2] * from[2], outward[0] * from[1],
                                     outward[1] * from[2], outward[0] * from[2]};
  const real* axes = work.block() + block_rows * work.layout.column(work.layout.axes_begin);
  for (int i = 0; i < work.layout.unknowns - work.layout.axes_begin; ++i, axes += block_rows) {
    const real felt = test.touch * test.touch * product(axes, weighed);
    for (int term = 0; term < linear_terms; ++term) {
      work.felt[term * axis_unknowns + i] += felt * common[term];
    }
  }
}

/// Error of one touch over the standard deviation of that, 0 when nothing checks it; and what the axes
/// feel of scales and squarenesses through this touch: of R^-T D'C^-1 G the rows of the axes, D the
/// block (already solved forward).
real test_touch(Work& work, const StationTest& test, const pivotrace_touch& touch) {
  real row[block_rows + 1];
  real shift[block_rows];
  real weighed[block_rows];
  look_at(work, touch, Gap::exact, 1, row);
  for (int j = 0; j < block_rows; ++j) weighed[j] = row[j];
  real left = (row[block_rows] - product(row, test.explained)) * test.touch;
  real information = real(1);
  pick(test, row, shift);
  left -= test.kappa_square * product(shift, test.score);
  for (int i = 0; i < test.shifts; ++i) {
    information -= test.kappa_square * shift[i] * product(test.inverse[i], shift);
    subtract(test.kappa_square * shift[i], test.weighed[i], weighed);
  }
  feel_linear(work, test, shift, touch.at, weighed);
  spread_times(test, weighed, row);
  information -= product(row, weighed);
  return information > least_information ? left / contact::square_root(information) : real(0);
}

void test_touches(Work& work, const pivotrace_station& stay, const StationTest& test,
                  pivotrace_result& result) {
  for (int i = 0; i < stay.touches; ++i) {
    const int number = static_cast<int>(stay.first) + i;
    const real t = test_touch(work, test, work.survey->touch[number]);
    if (magnitude(t) > magnitude(result.worst_touch_t)) {
      result.worst_touch_t = t;
      result.worst_touch = number;
    }
  }
}

/// Kept as F, beside the limit of its own number of dimensions: the one furthest beyond counts.
void test_whole(Work& work, const StationTest& test, pivotrace_result& result) {
  int dimensions = 0;
  const real statistic = shift_statistic(test, dimensions);
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
  StationTest test;
  test.coefficients = work.visit.coefficients;
  test.shifts = work.visit.shifts;
  test.factor = pooled_station_factor(work);
  test.kappa_square = test.factor *
                      square(real(work.survey->setup->errors.station_sigma_nm) * counts_per_nm) /
                      work.touch_variance;
  test.touch = contact::square_root(real(1) / work.touch_variance);
  explain_by_index(work, stay, test);
  spread_of(work, stay, test);
  weigh_station(work, test);
  test_touches(work, stay, test, result);
  test_whole(work, test, result);
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
