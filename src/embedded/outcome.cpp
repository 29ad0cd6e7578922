#include "embedded/outcome.h"

#include "embedded/angles.h"
#include "embedded/quantiles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

constexpr real nm_per_m = real(1e-9);

int axis_columns(const Work& work) {
  return static_cast<int>(work.survey->setup->axes) * numbers_an_axis;
}

/// First row of the axes in the dense triangle.
int axis_row(const Work& work) { return work.layout.other + work.layout.axes_begin; }

/// Column of the block, in the dense triangle, times the unit vector `row`, solved forward.
void solve_unit(Work& work, int row) {
  const int width = work.layout.dense() + 1;
  real* block = work.block();
  __builtin_memset(block, 0, static_cast<size_t>(block_rows * width) * sizeof(real));
  block[block_rows * row] = real(1);
  solve_forward(work.dense() + row_begin(row, width), work.layout.dense() - row, width - row,
                block + block_rows * row);
}

real* felt_column(Work& work, int term) { return work.felt + term * axis_unknowns; }

/// A known diameter is a common term: covariance of the axes with it, over its uncertainty.
void feel_diameters(Work& work) {
  const pivotrace_setup& setup = *work.survey->setup;
  for (int a = 0; a < setup.artefacts; ++a) {
    real* felt = felt_column(work, linear_terms + a);
    for (int i = 0; i < axis_unknowns; ++i) felt[i] = real(0);
    const real u = real(0.5) * real(setup.artefact[a].diameter_u_nm) * counts_per_nm;
    if (setup.artefact[a].diameter_as >= 0 || !(u > real(0))) continue;
    solve_unit(work, work.layout.other + work.layout.diameter[a]);
    for (int i = 0; i < axis_columns(work); ++i) {
      felt[i] = work.block()[block_rows * (axis_row(work) + i)] / u;
    }
  }
}

/// R^-1 times a column that begins with the axes.
void solve_axes_back(Work& work, real* column) {
  const int from = axis_row(work);
  real* x = work.solution();
  for (int i = 0; i < axis_columns(work); ++i) x[from + i] = column[i];
  solve_back(work.dense(), from, work.layout.dense(), work.layout.dense() + 1, x);
  for (int i = 0; i < axis_columns(work); ++i) column[i] = x[from + i];
}

/// Standard uncertainty of a scale (0..2) or squareness (3..5), dimensionless.
real linear_u(const pivotrace_errors& errors, int term) {
  const int32_t stated =
      term < 3 ? errors.scale_u_nm_per_m[term] : errors.squareness_u_nm_per_m[term - 3];
  return real(stated) * nm_per_m;
}

void gains_from_felt(Work& work) {
  const pivotrace_errors& errors = work.survey->setup->errors;
  for (int term = 0; term < common_terms; ++term) {
    real* column = felt_column(work, term);
    solve_axes_back(work, column);
    if (term >= linear_terms) continue;
    for (int i = 0; i < axis_unknowns; ++i) column[i] *= linear_u(errors, term);
  }
}

/// Shift unknowns are counts inside and mm outside.
real outside(int unknown) { return unknown % numbers_an_axis < 2 ? mm_per_count : real(1); }

/// How the axes move for a stylus centre off by one in machine direction k: every line shifts by as
/// much the other way, and a leaning one pierces its quoted plane elsewhere. Exact: the offset is a
/// shift of all there is.
real moved_by_offset(const Work& work, int unknown, int k) {
  const int part = unknown % numbers_an_axis;
  if (part >= 2) return real(0);
  const Frame& frame = work.axis_frame[unknown / numbers_an_axis];
  const real tilt = work.unknowns[work.layout.axes_begin + unknown + 2];
  return tilt * frame.along[k] - (part == 0 ? frame.across[0][k] : frame.across[1][k]);
}

real by_offset(const Work& work, int i, int j) {
  real sum = real(0);
  for (int k = 0; k < 3; ++k) {
    const real u = real(work.survey->setup->errors.probe_offset_u_nm[k]) * counts_per_nm;
    sum += square(u) * moved_by_offset(work, i, k) * moved_by_offset(work, j, k);
  }
  return sum;
}

/// Part of the variance of an output, by its derivatives by the unknowns, from the probe offset.
real from_offset(const Work& work, const real* by_unknown) {
  real sum = real(0);
  for (int k = 0; k < 3; ++k) {
    real moved = real(0);
    for (int i = 0; i < axis_columns(work); ++i) {
      moved += by_unknown[i] * outside(i) * moved_by_offset(work, i, k);
    }
    sum += square(real(work.survey->setup->errors.probe_offset_u_nm[k]) * counts_per_nm * moved);
  }
  return sum;
}

/// Row i of both covariances.
void covariance_row(Work& work, int i, real factor, pivotrace_result& result) {
  solve_unit(work, axis_row(work) + i);
  real column[axis_unknowns] = {};
  for (int k = 0; k < axis_columns(work); ++k) {
    column[k] = work.block()[block_rows * (axis_row(work) + k)];
  }
  solve_axes_back(work, column);
  for (int j = 0; j <= i; ++j) {
    real by_linear = real(0);
    real by_diameter = real(0);
    for (int term = 0; term < common_terms; ++term) {
      const real* felt = felt_column(work, term);
      (term < linear_terms ? by_linear : by_diameter) += felt[i] * felt[j];
    }
    const real scale = outside(i) * outside(j);
    const real repeatable = factor * (column[j] - by_diameter);
    const int at = i * (i + 1) / 2 + j;
    result.repeatable[at] = scale * repeatable;
    result.absolute[at] = scale * (repeatable + by_diameter + by_linear + by_offset(work, i, j));
  }
}

real variance(const real* covariance, const real* by_unknown) {
  real sum = real(0);
  const real* next = covariance;
  for (int i = 0; i < axis_unknowns; ++i) {
    real row = real(0);
    for (int j = 0; j < i; ++j) row += *next++ * by_unknown[j];
    sum += by_unknown[i] * (real(2) * row + *next++ * by_unknown[i]);
  }
  return larger(sum, real(0));
}

int32_t rounded(real counts) {
  return static_cast<int32_t>(counts < real(0) ? counts - real(0.5) : counts + real(0.5));
}

/// One axis of the result, component by component.
class AxisStatement {
 public:
  AxisStatement(Work& work, int k, pivotrace_result& result)
      : work_(work),
        axis_(work.survey->setup->axis[k]),
        frame_(work.axis_frame[k]),
        x_(work.unknowns + work.layout.axis(k)),
        k_(k),
        all_(result),
        result_(result.axis[k]) {}

  void write() {
    const Vector lean = moved(frame_.along, frame_, x_ + 2);
    cosine_ = real(1) / contact::length(lean);
    shift_ = x_[0] * frame_.across[0] + x_[1] * frame_.across[1];
    for (int c = 0; c < 3; ++c) {
      result_.direction[c] = cosine_ * lean[c];
      result_.centre[c] = axis_.centre[c] + rounded(shift_[c]);
      location(c);
      orientation(c);
    }
    if (with_tool_axes && axis_.side == PIVOTRACE_TOOL_SIDE) arm(cosine_ * lean);
  }

 private:
  bool along_machine_axis() const {
    return (axis_.direction[0] != 0) + (axis_.direction[1] != 0) + (axis_.direction[2] != 0) == 1;
  }

  /// `to_stylus`: the output ends where the stylus really is, so that its offset moves both ends alike
  /// and cancels.
  void state(real a, real b, real c, real d, pivotrace_value& value, bool to_stylus = false) const {
    real by_unknown[axis_unknowns] = {};
    real* mine = by_unknown + numbers_an_axis * k_;
    mine[0] = a;
    mine[1] = b;
    mine[2] = c;
    mine[3] = d;
    state_uncertainty(all_, by_unknown, to_stylus ? from_offset(work_, by_unknown) : real(0),
                      value);
  }

  void location(int c) {
    result_.location[c].value = shift_[c] * mm_per_count;
    state(frame_.across[0][c], frame_.across[1][c], real(0), real(0), result_.location[c]);
  }

  // r = n x (t1 e1 + t2 e2) = t1 e2 - t2 e1. Along a machine axis the angles of ISO 230-1 are
  // atan(r); else the components of n x u are r cos(lean).
  void orientation(int c) {
    const real r = x_[2] * frame_.across[1][c] - x_[3] * frame_.across[0][c];
    pivotrace_value& value = result_.orientation[c];
    if (along_machine_axis()) {
      const real slope = real(1) / (real(1) + r * r);
      value.value = arc_tangent(r);
      state(real(0), real(0), slope * frame_.across[1][c], -slope * frame_.across[0][c], value);
      return;
    }
    const real bend = r * cosine_ * cosine_ * cosine_;
    value.value = r * cosine_;
    state(real(0), real(0), cosine_ * frame_.across[1][c] - bend * x_[2],
          -cosine_ * frame_.across[0][c] - bend * x_[3], value);
  }

  // Distance of the line from the position shown: a = P (point), P square to the line; da = a . dpoint
  // / |a| - (u . point) a . du / |a|, and a . du = cos(lean) a . (e dt).
  void arm(const Vector& direction) {
    const int32_t zero[3] = {0, 0, 0};
    const Vector point = difference(axis_.centre, zero) + shift_;
    const Vector off = contact::square_to(point, direction);
    const real length = contact::length(off);
    const Vector away = contact::inverse_or_zero(length) * off;
    const real tilting = -dot(direction, point) * cosine_ * mm_per_count;
    const real first = dot(away, frame_.across[0]);
    const real second = dot(away, frame_.across[1]);
    result_.arm.value = length * mm_per_count;
    state(first, second, tilting * first, tilting * second, result_.arm, true);
  }

  const Work& work_;
  const pivotrace_axis& axis_;
  const Frame& frame_;
  const real* x_;
  int k_;
  pivotrace_result& all_;
  pivotrace_axis_result& result_;
  Vector shift_{};
  real cosine_ = real(1);
};

void write_summary(Work& work, pivotrace_result& result) {
  const pivotrace_errors& errors = work.survey->setup->errors;
  const int32_t stations = station_redundancy(work);
  result.touches = work.survey->touches;
  result.stations = work.survey->stations;
  result.passes = work.pass;
  result.touch_redundancy = touch_redundancy(work);
  result.station_redundancy = stations > 0 ? stations : 0;
  result.dof = errors.dof == 0 ? 0 : errors.dof + result.station_redundancy;
  result.touch_chi2 = work.within;
  result.station_chi2 = work.between;
  result.touch_sigma =
      real(errors.touch_sigma_nm) * real(1e-6) * contact::square_root(pooled_touch_factor(work));
}

}  // namespace

void clear_result(pivotrace_result& result) {
  __builtin_memset(&result, 0, sizeof(result));
  result.worst_touch = -1;
  result.worst_station = -1;
}

real pooled_station_factor(const Work& work) {
  const int32_t dof = work.survey->setup->errors.dof;
  const int32_t redundancy = station_redundancy(work);
  if (dof == 0 || redundancy <= 0) return real(1);
  return (real(dof) + work.between) / real(dof + redundancy);
}

void state_uncertainty(const pivotrace_result& result, const real* by_unknown, real cancels,
                       pivotrace_value& value) {
  const real random = variance(result.repeatable, by_unknown);
  const real all = larger(variance(result.absolute, by_unknown) - cancels, random);
  const real dof = real(result.dof);
  value.u = contact::square_root(random);
  value.u_absolute = contact::square_root(all);
  value.U95 = value.u * student_t(normal_975, dof);
  // Welch-Satterthwaite: common terms have no spread of their own.
  const real share = random > real(0) ? all / random : real(1);
  value.U95_absolute = value.u_absolute * student_t(normal_975, dof * share * share);
}

void conclude(Work& work, pivotrace_result& result) {
  write_summary(work, result);
  feel_diameters(work);
  gains_from_felt(work);
  const real factor = pooled_station_factor(work);
  for (int i = 0; i < axis_columns(work); ++i) covariance_row(work, i, factor, result);
  for (int k = 0; k < work.survey->setup->axes; ++k) AxisStatement(work, k, result).write();
}

void name_open(Work& work, pivotrace_result& result) {
  const pivotrace_errors& errors = work.survey->setup->errors;
  const real location = real(errors.location_limit_nm) * real(1e-6);
  const real orientation = real(errors.orientation_limit_mas) * rad_per_mas;
  for (int k = 0; k < work.survey->setup->axes; ++k) {
    for (int c = 0; c < 3; ++c) {
      const pivotrace_axis_result& axis = result.axis[k];
      // Written so that what is not a number is open.
      if (!(axis.location[c].U95_absolute <= location)) {
        result.undetermined |= PIVOTRACE_OPEN_CENTRE << (2 * k);
      }
      if (!(axis.orientation[c].U95_absolute <= orientation)) {
        result.undetermined |= PIVOTRACE_OPEN_LEAN << (2 * k);
      }
    }
  }
}

void name_artefacts_open(Work& work, pivotrace_result& result) {
  const real location = real(work.survey->setup->errors.location_limit_nm) * real(1e-6);
  const int width = work.layout.dense() + 1;
  for (int j = 0; j < work.layout.axes_begin; ++j) {
    solve_unit(work, work.layout.other + j);
    real sum = real(0);
    for (int c = 0; c < width - 1; ++c) sum += square(work.block()[block_rows * c]);
    // Two standard deviations, lengths and tilts alike judged as lengths: a tilt counts 1 m.
    if (!(real(2) * contact::square_root(sum) * mm_per_count <= location)) {
      result.undetermined |= open_bit(work, j);
    }
  }
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
