// What a row a, of a touch or of a station's reduced touches, leaves of its gap, and how far that
// scatters, by one way forward through all triangles R of the solved fit (touch sigma 1): the row is
// solved forward through the station's own rows, then its coefficients n and the block D of the station
// through the rest. With k the columns of D R^-1,
//   left = gap - a x,    variance = 1 - a (R'R)^-1 a' = 1 - |own|^2 - factor |n k|^2
// where `own` is what the station's own rows took off, and `factor` that of the stated variances of
// everything between stations. A touch is tested so, against its station and all others. The reduced
// touches are free of what the station did, as far as the stated sigma goes: without their first rows,
// one a direction, the shift of the station would be free. So these rows together test the station
// (Baarda's test of several at once). (Derived here.)
#include "embedded/suspects.h"

#include "embedded/quantiles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

/// What nothing else checks cannot be tested.
constexpr real least_variance = real(1e-3);

/// Solves the block forward through the triangles behind the station's own. Its right-hand side becomes
/// what the solution says of the coefficients, with the sign turned: unknowns have moved to where they
/// are, index errors count from 0.
void solve_block_forward(Work& work, const pivotrace_station& stay) {
  const Layout& layout = work.layout;
  real* block = work.block();
  real* expected = block + block_rows * (layout.width() - 1);
  const real* column = block + block_rows * layout.column(0);
  for (int j = layout.other(); j < layout.dense(); ++j, column += block_rows) {
    const real move = work.solution[j];
    for (int i = 0; i < block_rows; ++i) expected[i] += move * column[i];
  }
  solve_forward(work.position_of(stay), layout.each(), layout.width(), block);
  solve_forward(work.dense, layout.dense(), layout.dense() + 1, block + block_rows * layout.each());
}

/// Rows to be tested together, one a direction of the shift of a station.
struct Rows {
  int count;
  real left[most_shifts];
  real variance[most_shifts][most_shifts];  ///< lower triangle
};

/// The station's own rows, out of the block, which they overwrite.
void weigh_rows(Work& work, real factor, Rows& rows) {
  const int width = work.layout.width();
  weigh_block(work, 0, width);
  const real* const last = work.block() + block_rows * (width - 1);
  for (int i = 0; i < rows.count; ++i) {
    rows.left[i] = reduced_gap(work.visit, i) + last[i];
    for (int j = 0; j <= i; ++j) {
      real sum = real(0);
      for (const real* column = work.block(); column != last; column += block_rows) {
        sum += column[i] * column[j];
      }
      rows.variance[i][j] = (i == j ? real(1) : real(0)) - factor * sum;
    }
  }
}

/// left' variance^-1 left over the rows that others check; their number in `dimensions`.
real statistic(Rows& rows, int& dimensions) {
  real sum = real(0);
  dimensions = 0;
  for (int k = 0; k < rows.count; ++k) {
    const real pivot = rows.variance[k][k];
    if (!(pivot > least_variance)) continue;
    ++dimensions;
    sum += square(rows.left[k]) / pivot;
    for (int i = k + 1; i < rows.count; ++i) {
      const real factor = rows.variance[i][k] / pivot;
      rows.left[i] -= factor * rows.left[k];
      for (int j = k + 1; j <= i; ++j) rows.variance[i][j] -= factor * rows.variance[j][k];
    }
  }
  return sum;
}

/// A square over a pooled variance that holds it itself becomes F over the variance left without it
/// (Pope): `square` / d (dof - d) / (dof - square). dof = 0: the variance is known.
real without_itself(real square, real d, real dof) {
  const real F = square / d;
  if (!(dof > d)) return F;
  return F * (dof - d) / larger(dof - square, real(1e-3) * dof);
}

/// Degrees of freedom behind a pooled variance; 0: it is known.
real pooled_dof(const Work& work, int32_t redundancy) {
  const int32_t stated = work.setup->errors.dof;
  return stated == 0 ? real(0) : real(stated + redundancy);
}

/// Kept as F, beside the limit of its own number of dimensions: the one furthest beyond counts.
[[gnu::noinline]] void test_whole(Work& work, real factor, pivotrace_result& result) {
  const Visit& visit = work.visit;
  const pivotrace_station& stay = work.survey->station[work.station];
  Rows rows;
  rows.count = stay.touches < visit.shifts() ? int{stay.touches} : visit.shifts();
  weigh_rows(work, factor, rows);
  int dimensions = 0;
  const real square = statistic(rows, dimensions);
  if (dimensions == 0 || station_redundancy(work) <= dimensions) return;
  const real d = real(dimensions);
  const real dof = pooled_dof(work, station_redundancy(work));
  const real F = without_itself(square, d, dof);
  // Four times as many tests as there are: the scatter of the stations is pooled from parts that are
  // not all theirs, and F is a little too large for it.
  const real limit =
      fisher_f(deviate_of_any(4 * work.survey->stations), d, dof > d ? dof - d : real(0));
  // The first one is, whatever it is: before it both numbers kept are 0.
  const bool worse = F * result.worst_station_limit >= result.worst_station_F * limit;
  if (!worse) return;
  result.worst_station = work.station;
  result.worst_station_F = F;
  result.worst_station_limit = limit;
}

/// Sums up what scales and squarenesses do to the axes through this touch: outward[axis moved] times
/// where it is along the other.
void feel_linear(Work& work, const real* outward_row, const real* number,
                 const pivotrace_touch& touch) {
  const Visit& visit = work.visit;
  Vector outward = {{outward_row[0], outward_row[1], outward_row[2]}};
  if (visit.is_pin()) {
    outward = scaled(outward_row[0], visit.pin.across[0]);
    outward = plus(outward, outward_row[1], visit.pin.across[1]);
  }
  const Vector from = difference(touch.at, work.setup->errors.linear_origin);
  const real* column = work.block() + block_rows * work.layout.column(work.layout.axes_begin);
  for (int i = 0; i < numbers_an_axis * axes_of(*work.setup); ++i, column += block_rows) {
    const real by = product(column, number);
    for (int term = 0; term < linear_terms; ++term) {
      const int moved = term < 3 ? term : (term == 4 ? 1 : 0);
      const int along = term < 3 ? term : (term == 3 ? 1 : 2);
      work.felt[(most_artefacts + term) * axis_unknowns + i] += by * outward[moved] * from[along];
    }
  }
}

/// Error of one touch over the standard deviation of that, 0 when nothing checks it.
[[gnu::noinline]] real test_touch(Work& work, real factor, const pivotrace_touch& touch) {
  Visit& visit = work.visit;
  look_at(work, touch, 1, visit.columns);
  // The first row of the triangle has nothing to do with exact gaps.
  real* row = visit.columns + 1;
  real outward[most_shifts];
  for (int i = 0; with_linear_terms && i < most_shifts; ++i) outward[i] = row[visit.shifts() + i];
  solve_forward_row(visit.triangle + station_width, visit.shifts(), station_width - 1, row);
  Row tested;
  tested.variance = real(1);
  for (int i = 0; i < visit.shifts(); ++i) tested.variance -= square(*row++);
  // Behind the coefficients of a ball there may be room for one more: of that the block holds 0.
  for (int i = 0; i < block_rows; ++i) tested.coefficient[i] = row[i];
  tested.left = row[visit.coefficients()];
  weigh_row(work, factor, tested);
  if constexpr (with_linear_terms) feel_linear(work, outward, tested.coefficient, touch);
  const bool checked = tested.variance > least_variance;
  return checked ? tested.left / contact::square_root(tested.variance) : real(0);
}

}  // namespace

void begin_tests(Work& work, pivotrace_result& result) {
  clear_result(result);
  clear(work.felt, static_cast<int>(sizeof(work.felt) / sizeof(real)));
  work.phase = Phase::test;
  work.station = 0;
  set_chain(work);
}

void test_station(Work& work, pivotrace_result& result) {
  const pivotrace_station& stay = work.survey->station[work.station];
  const real factor = pooled_factor(work, work.between, station_redundancy(work));
  turn_to(work, stay);
  work.visit.shift_sigma = stated_shift_sigma(work) * contact::square_root(factor);
  reduce_touches(work, stay);
  solve_block_forward(work, stay);
  for (int32_t number = stay.first; number < stay.first + stay.touches; ++number) {
    const real t = test_touch(work, factor, work.survey->touch[number]);
    if (magnitude(t) > magnitude(result.worst_touch_t)) {
      result.worst_touch_t = t;
      result.worst_touch = number;
    }
  }
  // Last, as it overwrites the block.
  test_whole(work, factor, result);
  ++work.station;
}

namespace {

[[gnu::noinline]] bool beyond_chance(const Work& work, real squares, int32_t redundancy) {
  if (redundancy <= 0) return false;
  const real d = real(redundancy);
  return squares > d * fisher_f(normal_999, d, real(work.setup->errors.dof));
}

bool worst_touch_is_there(const pivotrace_survey& survey, const pivotrace_result& result) {
  const pivotrace_station& stay = survey.station[result.worst_station];
  const int32_t within = result.worst_touch - stay.first;
  return within >= 0 && within < stay.touches;
}

}  // namespace

void judge(Work& work, pivotrace_result& result) {
  const int32_t redundancy = touch_redundancy(work);
  const real dof = pooled_dof(work, redundancy);
  const real limit = fisher_f(deviate_of_any(work.survey->touches), real(1), dof);
  const real by_touch = square(result.worst_touch_t) / limit;
  // No number, and beyond nothing, when no station can be tested.
  const real by_station = result.worst_station_F / result.worst_station_limit;
  result.worst_touch_limit = contact::square_root(limit);
  int32_t findings = 0;
  if (by_touch > real(1)) findings |= PIVOTRACE_FOUND_TOUCH;
  if (by_station > real(1)) findings |= PIVOTRACE_FOUND_STATION;
  // A slipped station makes its touches stand out, and a bad touch its station: the story that is
  // further beyond its limit is told.
  const int32_t both = PIVOTRACE_FOUND_TOUCH | PIVOTRACE_FOUND_STATION;
  if (findings == both && worst_touch_is_there(*work.survey, result)) {
    findings = by_touch > by_station ? PIVOTRACE_FOUND_TOUCH : PIVOTRACE_FOUND_STATION;
  }
  if (beyond_chance(work, work.within, redundancy)) findings |= PIVOTRACE_FOUND_TOUCHES;
  if (beyond_chance(work, work.between, station_redundancy(work))) {
    findings |= PIVOTRACE_FOUND_STATIONS;
  }
  result.findings = findings;
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
