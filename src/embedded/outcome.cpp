// The axes stand last in the triangle, the known diameters before them. With U = R^-1 of these last rows
// the covariance of the axes is U U', a sum of columns g g'. All else that makes up the two covariances is
// such a column too: what a diameter does, a scale, a squareness, an offset of the probe, per standard
// uncertainty.
#include "embedded/outcome.h"

#include "embedded/angles.h"
#include "embedded/quantiles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

constexpr real nm_per_m = real(1e-9);

int axis_columns(const Work& work) { return axes_of(*work.setup) * numbers_an_axis; }

/// Shift unknowns are counts inside and mm outside.
real outside(int unknown) { return (unknown & 2) == 0 ? mm_per_count : real(1); }

/// Adds g g' to both covariances, by these factors.
void add_column(const Work& work, const real* column, real repeatable, real absolute,
                pivotrace_result& result) {
  int at = 0;
  for (int i = 0; i < axis_columns(work); ++i) {
    const real outward = column[i] * outside(i);
    for (int j = 0; j <= i; ++j, ++at) {
      const real part = outward * (column[j] * outside(j));
      result.repeatable[at] += repeatable * part;
      result.absolute[at] += absolute * part;
    }
  }
}

/// R^-1 times what stands in the solution from row `from` on.
void solve_last_rows(Work& work, int from) {
  solve_back(work.dense, from, work.layout.dense(), work.layout.dense() + 1, work.solution);
}

/// From the touches; and what a known diameter does, over its uncertainty: its covariance with the axes.
/// It is a common term: not repeatable.
void add_touches(Work& work, pivotrace_result& result) {
  const real factor = pooled_factor(work, work.between, station_redundancy(work));
  const pivotrace_setup& setup = *work.setup;
  const int from = work.layout.other() + work.layout.radii_begin;
  real* radii = work.solution + from;
  real* axes = work.solution + work.layout.other() + work.layout.axes_begin;
  clear(work.felt, axis_unknowns * most_artefacts);
  for (int c = from; c < work.layout.dense(); ++c) {
    clear(radii, work.layout.dense() - from);
    work.solution[c] = real(1);
    solve_last_rows(work, from);
    add_column(work, axes, factor, factor, result);
    for (int a = 0; a < setup.artefacts; ++a) {
      const real u = radius_u(setup.artefact[a]);
      if (!(u > real(0))) continue;
      const real share = radii[work.layout.radius[a] - work.layout.radii_begin] / u;
      real* felt = work.felt + a * axis_unknowns;
      for (int i = 0; i < axis_columns(work); ++i) felt[i] += share * axes[i];
    }
  }
  for (int a = 0; a < setup.artefacts; ++a) {
    add_column(work, work.felt + a * axis_unknowns, -factor, real(1) - factor, result);
  }
}

/// Scales and squarenesses.
void add_linear(Work& work, pivotrace_result& result) {
  const pivotrace_errors& errors = work.setup->errors;
  const int from = work.layout.other() + work.layout.axes_begin;
  real* axes = work.solution + from;
  for (int term = 0; term < linear_terms; ++term) {
    const int32_t stated =
        term < 3 ? errors.scale_u_nm_per_m[term] : errors.squareness_u_nm_per_m[term - 3];
    const real u = real(stated) * nm_per_m;
    const real* felt = work.felt + (most_artefacts + term) * axis_unknowns;
    for (int i = 0; i < axis_columns(work); ++i) axes[i] = u * felt[i];
    solve_last_rows(work, from);
    add_column(work, axes, real(0), real(1), result);
  }
}

/// How the axes move for a stylus centre off by its standard uncertainty in machine direction k: every
/// line shifts by as much the other way, and a leaning one pierces its quoted plane elsewhere. Exact: the
/// offset is a shift of all there is.
void move_by_offset(const Work& work, int k, real* column) {
  const real u = real(work.setup->errors.probe_offset_u_nm[k]) * counts_per_nm;
  const real* tilt = work.unknowns + work.layout.axes_begin + 2;
  for (int i = 0; i < axis_columns(work); i += numbers_an_axis) {
    const Frame& frame = work.axis_frame[i / numbers_an_axis];
    for (int part = 0; part < 2; ++part) {
      column[i + part] = u * (tilt[i + part] * frame.along[k] - frame.across[part][k]);
      column[i + part + 2] = real(0);
    }
  }
}

/// Part of the variance of an output, by its derivatives by the unknowns, from the probe offset.
real from_offset(Work& work, const real* by_unknown) {
  real sum = real(0);
  for (int k = 0; k < 3; ++k) {
    real* column = work.solution;
    move_by_offset(work, k, column);
    real moved = real(0);
    for (int i = 0; i < axis_columns(work); ++i) moved += by_unknown[i] * outside(i) * column[i];
    sum += square(moved);
  }
  return sum;
}

real variance(const real* covariance, const real* by_unknown) {
  real sum = real(0);
  const real* next = covariance;
  for (int i = 0; i < axis_unknowns; ++i) {
    real row = real(0);
    for (int j = 0; j < i; ++j) row += *next++ * by_unknown[j];
    sum += by_unknown[i] * (real(2) * row + *next++ * by_unknown[i]);
  }
  return sum;
}

/// As the program on the PC: the squares of the half-widths add. Common terms have no spread of their own,
/// so theirs is the normal one.
void state(real random, real all, int32_t dof, pivotrace_value& value) {
  random = larger(random, real(0));
  const real common = larger(all - random, real(0));
  value.u = contact::square_root(random);
  value.u_absolute = contact::square_root(random + common);
  value.U95 = value.u * student_975(dof);
  value.U95_absolute = contact::square_root(square(value.U95) + square(normal_975) * common);
}

/// Of a + b, the derivatives by axis unknown i and the next.
real variance_of_two(const real* covariance, int i, real a, real b) {
  const real* row = covariance + i * (i + 1) / 2 + i;
  const real* next = row + i + 1;
  return a * (a * row[0] + real(2) * b * next[0]) + b * b * next[1];
}

void state_two(const pivotrace_result& result, int i, real a, real b, pivotrace_value& value) {
  state(variance_of_two(result.repeatable, i, a, b), variance_of_two(result.absolute, i, a, b),
        result.dof, value);
}

bool along_machine_axis(const pivotrace_axis& axis) {
  return (axis.direction[0] != 0) + (axis.direction[1] != 0) + (axis.direction[2] != 0) == 1;
}

/// r = n x (t1 e1 + t2 e2) = t1 e2 - t2 e1. Along a machine axis the angles of ISO 230-1 are
/// atan(r), else the components of n x u: r cos(lean).
void state_orientation(const pivotrace_axis& axis, const Frame& frame, const real* tilt,
                       real cosine, int k, int c, pivotrace_result& result) {
  pivotrace_value& value = result.axis[k].orientation[c];
  const real e1 = frame.across[0][c];
  const real e2 = frame.across[1][c];
  const real r = tilt[0] * e2 - tilt[1] * e1;
  real slope = cosine;
  real bend = r * cosine * cosine * cosine;
  value.value = r * cosine;
  if (along_machine_axis(axis)) {
    slope = real(1) / (real(1) + r * r);
    bend = real(0);
    value.value = arc_tangent(r);
  }
  state_two(result, numbers_an_axis * k + 2, slope * e2 - bend * tilt[0],
            -slope * e1 - bend * tilt[1], value);
}

// Distance of the line from the position shown: a = P (point), P square to the line; da = a . dpoint
// / |a| - (u . point) a . du / |a|, and a . du = cos(lean) a . (e dt). The output ends where the stylus
// really is, so that its offset moves both ends alike and cancels.
void state_arm(Work& work, int k, const Vector& shift, const Vector& direction, real cosine,
               pivotrace_result& result) {
  const int32_t zero[3] = {0, 0, 0};
  const Frame& frame = work.axis_frame[k];
  const Vector point = difference(work.setup->axis[k].centre, zero) + shift;
  const Vector off = contact::square_to(point, direction);
  const real length = contact::length(off);
  const Vector away = contact::inverse_or_zero(length) * off;
  const real tilting = -dot(direction, point) * cosine * mm_per_count;
  real by_unknown[axis_unknowns] = {};
  real* mine = by_unknown + numbers_an_axis * k;
  for (int i = 0; i < 2; ++i) {
    mine[i] = dot(away, frame.across[i]);
    mine[2 + i] = tilting * mine[i];
  }
  pivotrace_value& arm = result.axis[k].arm;
  arm.value = length * mm_per_count;
  state_uncertainty(result, by_unknown, from_offset(work, by_unknown), arm);
}

int32_t nearest_whole(real x) {
#if PIVOTRACE_DOUBLE
  return static_cast<int32_t>(x + __builtin_copysign(0.5, x));
#else
  return static_cast<int32_t>(x + __builtin_copysignf(0.5F, x));
#endif
}

void state_axis(Work& work, int k, pivotrace_result& result) {
  const pivotrace_axis& axis = work.setup->axis[k];
  const pivotrace_errors& errors = work.setup->errors;
  const Frame& frame = work.axis_frame[k];
  const real* x = work.unknowns + work.layout.axis(k);
  pivotrace_axis_result& found = result.axis[k];
  const Vector lean = moved(frame.along, frame, x + 2);
  const real cosine = real(1) / contact::square_root(dot(lean, lean));
  const Vector shift = moved(Vector{}, frame, x);
  const real location = real(errors.location_limit_nm) * real(1e-6);
  const real orientation = real(errors.orientation_limit_mas) * rad_per_mas;
  for (int c = 0; c < 3; ++c) {
    found.direction[c] = cosine * lean[c];
    found.centre[c] = axis.centre[c] + nearest_whole(shift[c]);
    found.location[c].value = shift[c] * mm_per_count;
    state_two(result, numbers_an_axis * k, frame.across[0][c], frame.across[1][c],
              found.location[c]);
    state_orientation(axis, frame, x + 2, cosine, k, c, result);
    // Written so that what is not a number is open.
    int32_t open = 0;
    if (!(found.location[c].U95_absolute <= location)) open |= PIVOTRACE_OPEN_CENTRE;
    if (!(found.orientation[c].U95_absolute <= orientation)) open |= PIVOTRACE_OPEN_LEAN;
    result.undetermined |= open << (2 * k);
  }
  if (with_tool_axes && axis.side == PIVOTRACE_TOOL_SIDE) {
    state_arm(work, k, shift, scaled(cosine, lean), cosine, result);
  }
}

void write_summary(const Work& work, pivotrace_result& result) {
  const pivotrace_errors& errors = work.setup->errors;
  const int32_t stations = station_redundancy(work);
  result.touches = work.touches;
  result.stations = work.survey->stations;
  result.passes = work.pass;
  result.touch_redundancy = touch_redundancy(work);
  result.station_redundancy = stations > 0 ? stations : 0;
  result.dof = errors.dof == 0 ? 0 : errors.dof + result.station_redundancy;
  result.touch_chi2 = work.within;
  result.station_chi2 = work.between;
  result.touch_sigma =
      real(errors.touch_sigma_nm) * real(1e-6) *
      contact::square_root(pooled_factor(work, work.within, result.touch_redundancy));
}

}  // namespace

void clear_result(pivotrace_result& result) {
  __builtin_memset(&result, 0, sizeof(result));
  result.worst_touch = -1;
  result.worst_station = -1;
}

void state_uncertainty(const pivotrace_result& result, const real* by_unknown, real cancels,
                       pivotrace_value& value) {
  state(variance(result.repeatable, by_unknown), variance(result.absolute, by_unknown) - cancels,
        result.dof, value);
}

void conclude(Work& work, pivotrace_result& result) {
  write_summary(work, result);
  add_touches(work, result);
  add_linear(work, result);
  for (int k = 0; k < 3; ++k) {
    move_by_offset(work, k, work.solution);
    add_column(work, work.solution, real(0), real(1), result);
  }
  for (int k = 0; k < axes_of(*work.setup); ++k) state_axis(work, k, result);
}

void name_artefacts_open(Work& work, pivotrace_result& result) {
  const real location = real(work.setup->errors.location_limit_nm) * real(1e-6);
  const Layout& layout = work.layout;
  const int width = layout.dense() + 1;
  real* row = work.solution;
  for (int j = 0; j < layout.axes_begin; ++j) {
    const int from = layout.other() + j;
    clear(row, width);
    row[from] = real(1);
    solve_forward_row(work.dense + row_begin(from, width), layout.dense() - from, width - from,
                      row + from);
    real sum = real(0);
    for (int c = from; c < layout.dense(); ++c) sum += square(row[c]);
    // Two standard deviations, lengths and tilts alike judged as lengths: a tilt counts 1 m.
    if (!(real(2) * contact::square_root(sum) * mm_per_count <= location)) {
      result.undetermined |= open_bit(work, j);
    }
  }
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
