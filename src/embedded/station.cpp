// A work-side turn R takes a point p, seen from the line of its axis, to R p. Where the axis itself is
// displaced by a small rigid motion T(x) = e + w x x (x: cross product), it turns as T R T^-1, and the
// point comes out displaced by
//   T(R p) - R T(p)
// For a shift e that is d = e - R e. A tilt of its unit direction u towards e is w = u x e; as R w = u x
// R e, the point comes out displaced by (u x d) x R p = (u . R p) d - (d . R p) u. An angle error
// displaces by u x R p. What stands further in is carried along by R. A tool-side turn does the same to
// the arm from the position shown to the stylus; the position shown is displaced the other way.
// (Derived here.)
//
// contact/derivatives.h pulls one gradient back through the chain. Three of them a station would do, at
// the price of 1.0 kB on a Cortex-M4 where pass_axis takes 0.4, and of the spokes kept.
#include "embedded/station.h"

#include "pivotrace/contact/gap.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

using Axis = contact::Axis<real>;

/// Second point of a pin [counts]: 10 mm from the first.
constexpr real pin_base = real(1000000);

bool carries_tool(const Axis& axis) { return with_tool_axes && axis.tool_side; }

/// Rows of the block in which a displacement stands on its way out.
real* displacement(Work& work, int column) { return work.block() + block_rows * column + 1; }

void put(Work& work, int column, real factor, const Vector& by) {
  real* rows = displacement(work, column);
  for (int i = 0; i < 3; ++i) rows[i] = factor * by[i];
}

/// Carries displacements from inside the turn of an axis to outside.
void carry(Work& work, const Axis& axis, int column, int count) {
  for (; count > 0; --count, ++column) {
    const real* rows = displacement(work, column);
    put(work, column, real(1), turned(axis.body_turn, {{rows[0], rows[1], rows[2]}}));
  }
}

/// Takes a point through the turn of axis k and writes how it is displaced with it.
Vector pass_axis(Work& work, const pivotrace_station& stay, int k, const Vector& point) {
  const Axis& axis = work.chain.axes[k];
  const Frame& frame = work.axis_frame[k];
  const pivotrace_axis& stated = work.survey->setup->axis[k];
  const real sign = carries_tool(axis) ? real(-1) : real(1);
  const Vector before = minus(point, axis.point);
  const Vector after = turned_finely(axis, work.fine[k], before);
  const real shortened = sign * dot(axis.direction, frame.along);
  const real along = dot(axis.direction, after);
  int column = work.layout.column(work.layout.axis(k));
  for (const Vector& aside : frame.across) {
    const Vector apart = minus(aside, turned(axis.body_turn, aside));
    put(work, column, sign, apart);
    put(work, column + 2, shortened,
        plus(scaled(along, apart), -dot(apart, after), axis.direction));
    ++column;
  }
  column = work.layout.index_column(stay, k);
  put(work, column, sign * axis.sense * (real(stated.index_sigma_mas) * rad_per_mas),
      cross(axis.direction, after));
  for (int i = 1; i < work.layout.each(); ++i) {
    clear(displacement(work, column + i), 3);
    displacement(work, column + i)[i - 1] = sign * real(stated.motion_sigma_nm) * counts_per_nm;
  }
  return plus(axis.point, real(1), after);
}

/// Takes a point out through the axes of one side, `last` innermost.
Vector pass_axes(Work& work, const pivotrace_station& stay, int last, bool tool_side,
                 Vector point) {
  const Layout& layout = work.layout;
  for (int k = last; k >= 0; --k) {
    const Axis& axis = work.chain.axes[k];
    if (carries_tool(axis) != tool_side) continue;
    if (!tool_side) {
      const int artefact = stay.artefact;
      carry(work, axis, layout.column(layout.place[artefact]), work.visit.coefficients() - 1);
      if (work.visit.is_pin()) work.visit.pin.along = turned(axis.body_turn, work.visit.pin.along);
    }
    if (most_axes == 2 && k < last && carries_tool(work.chain.axes[last]) == tool_side) {
      carry(work, axis, layout.column(layout.axis(last)), numbers_an_axis);
      carry(work, axis, layout.index_column(stay, last), layout.each());
    }
    point = pass_axis(work, stay, k, point);
  }
  return point;
}

/// Where a pin stands: writes how its point `along` its axis is displaced with it.
Vector place_pin(Work& work, const pivotrace_artefact& artefact, const real* x, int column,
                 real along, Vector point) {
  const Frame frame = frame_of(vector_of(artefact.direction));
  const Vector lean = moved(frame.along, frame, x + 2);
  const real cosine = real(1) / contact::square_root(dot(lean, lean));
  for (int i = 0; i < 2; ++i) {
    point = plus(point, x[i], frame.across[i]);
    put(work, column + i, real(1), frame.across[i]);
    // What it loses in length lies along the pin and is not felt.
    put(work, column + 2 + i, along * cosine, frame.across[i]);
  }
  work.visit.pin.along = scaled(cosine, lean);
  return plus(point, along, work.visit.pin.along);
}

/// Where the control shows a point of the artefact, `along` its axis for a pin, and how that is
/// displaced with every unknown.
Vector show_point(Work& work, const pivotrace_station& stay, real along) {
  const int number = stay.artefact;
  const pivotrace_artefact& artefact = work.survey->setup->artefact[number];
  const real* x = work.unknowns + work.layout.place[number];
  const int column = work.layout.column(work.layout.place[number]);
  Vector point = difference(artefact.at, work.origin);
  if (!work.visit.is_pin()) {
    for (int i = 0; i < 3; ++i) {
      point[i] += x[i];
      displacement(work, column + i)[i] = real(1);
    }
  } else {
    point = place_pin(work, artefact, x, column, along, point);
  }
  point = pass_axes(work, stay, static_cast<int>(artefact.carried_by), false, point);
  if constexpr (!with_tool_axes) return point;
  return minus(point, pass_axes(work, stay, work.chain.count - 1, true, Vector{}));
}

/// Of the displacements of a pin those are felt that are square to it. Those of the second point are
/// put aside into the rows the first does not need.
void feel_pin(Work& work, bool second) {
  const Frame& pin = work.visit.pin;
  real* column = work.block();
  for (int c = work.layout.width() - 1; c > 0; --c, column += block_rows) {
    const Vector by = {{column[1], column[2], column[3]}};
    const real felt[2] = {dot(by, pin.across[0]), dot(by, pin.across[1])};
    if (second) {
      column[0] = felt[0];
      column[4] = felt[1];
    } else {
      column[3] = column[0];
      column[0] = real(0);
      column[1] = felt[0];
      column[2] = felt[1];
    }
  }
}

[[gnu::noinline]] void show_pin(Work& work, const pivotrace_station& stay) {
  show_point(work, stay, pin_base);
  work.visit.pin = frame_of(work.visit.pin.along);
  feel_pin(work, true);
  work.visit.shown = show_point(work, stay, real(0));
  feel_pin(work, false);
}

}  // namespace

void set_chain(Work& work) {
  const pivotrace_setup& setup = *work.survey->setup;
  work.chain.count = 0;
  for (int k = 0; k < most_axes && k < setup.axes; ++k) {
    const pivotrace_axis& axis = setup.axis[k];
    const bool tool_side = with_tool_axes && axis.side == PIVOTRACE_TOOL_SIDE;
    const Frame& frame = work.axis_frame[k];
    const real* x = work.unknowns + work.layout.axis(k);
    const Vector nominal =
        tool_side ? vector_of(axis.centre) : difference(axis.centre, work.origin);
    const bool flipped = ((work.flipped >> k) & 1) != 0;
    work.chain.add(tool_side, moved(nominal, frame, x), unit(moved(frame.along, frame, x + 2)),
                   real(flipped ? -axis.turn : axis.turn));
  }
}

void turn_to(Work& work, const pivotrace_station& stay) {
  const pivotrace_setup& setup = *work.survey->setup;
  const int number = stay.artefact;
  const pivotrace_artefact& artefact = setup.artefact[number];
  Visit& visit = work.visit;
  for (int k = 0; k < most_axes && k < work.chain.count; ++k) {
    // The stations of a pass come in order: an axis that did not move stands as it stood.
    const bool moved = work.station == 0 || (&stay)[-1].angle[k] != stay.angle[k];
    if (moved) stand_at(work.chain.axes[k], work.fine[k], stay.angle[k]);
  }
  visit.on_pin = artefact.kind == PIVOTRACE_PIN;
  const int diameter = int{work.layout.diameter[number]};
  const bool shared = artefact.diameter_as >= 0;
  visit.radius =
      real(0.5) * real(setup.artefact[shared ? 0 : number].diameter) + work.unknowns[diameter];
  clear(work.block(), block_rows * work.layout.width());
  if (visit.is_pin()) {
    show_pin(work, stay);
  } else {
    visit.shown = show_point(work, stay, real(0));
  }
  work.block()[block_rows * work.layout.column(diameter)] = real(1);
}

void look_at(const Work& work, const pivotrace_touch& touch, Gap gap, int stride, real* row) {
  const Visit& visit = work.visit;
  const Vector off = minus(difference(touch.at, work.origin), visit.shown);
  const bool pin = visit.is_pin();
  const Vector felt =
      pin ? Vector{{dot(off, visit.pin.across[0]), dot(off, visit.pin.across[1])}} : off;
  const real squares = dot(felt, felt);
  real scale = real(1) / visit.radius;
  real left = real(0.5) * (squares * scale - visit.radius);
  if (gap == Gap::exact) {
    const real distance = contact::square_root(squares);
    scale = contact::inverse_or_zero(distance);
    left = contact::gap_at(ArtefactKind::ball, distance, visit.radius, real(0));
  }
  const real far = pin ? dot(off, visit.pin.along) * (real(1) / pin_base) : real(0);
  const real near = scale * (real(1) - far);
  row[0] = real(1);
  row[stride] = near * felt[0];
  row[2 * stride] = near * felt[1];
  row[3 * stride] = scale * (pin ? far * felt[0] : felt[2]);
  if constexpr (with_pins) row[4 * stride] = scale * far * felt[1];
  row[block_rows * stride] = left;
}

real reduce_touches(Work& work, const pivotrace_station& stay, Gap gap) {
  Visit& visit = work.visit;
  clear(visit.triangle, row_begin(block_rows, block_rows + 1));
  real left = real(0);
  const pivotrace_touch* touch = work.survey->touch + stay.first;
  for (int t = 0; t < stay.touches; t += touch_rows) {
    const int rows = stay.touches - t < touch_rows ? stay.touches - t : touch_rows;
    if (rows < touch_rows) clear(visit.columns, touch_rows * (block_rows + 1));
    for (int r = 0; r < rows; ++r, ++touch)
      look_at(work, *touch, gap, touch_rows, visit.columns + r);
    absorb_touches(visit.triangle, visit.coefficients(), block_rows + 1, visit.columns);
    const real* rest = visit.columns + touch_rows * block_rows;
    for (int r = 0; r < touch_rows; ++r) left += square(rest[r]);
  }
  return left;
}

real touch_weight(const Work& work) { return real(1) / contact::square_root(work.touch_variance); }

real station_variance(const Work& work) {
  return square(real(work.survey->setup->errors.station_sigma_nm) * counts_per_nm);
}

// Columns from the diagonal on are there.
real shift_of_row(const Visit& visit, int r, int i) {
  const real* row = visit.triangle + row_begin(r, block_rows + 1) - r;
  const real first = r <= 1 + i ? row[1 + i] : real(0);
  return visit.is_pin() && r <= 3 + i ? first + row[3 + i] : first;
}

namespace {

/// Covariance of the rows of the reduced touches, lower triangle row by row (five numbers each).
void covariance_of_rows(const Visit& visit, real variance, real* covariance) {
  for (int r = 0; r < visit.coefficients(); ++r) {
    for (int c = 0; c < r; ++c) covariance[block_rows * r + c] = real(0);
    covariance[(block_rows + 1) * r] = real(1);
  }
  for (int i = 0; i < visit.shifts(); ++i) {
    real felt[block_rows];
    for (int r = 0; r < visit.coefficients(); ++r) {
      felt[r] = shift_of_row(visit, r, i);
      const real factor = variance * felt[r];
      for (int c = 0; c <= r; ++c) covariance[block_rows * r + c] += factor * felt[c];
    }
  }
}

/// U^-1 times the triangle; `variance` of the station over that of a touch.
void take_out_shift(Visit& visit, real variance) {
  real covariance[block_rows * block_rows];
  covariance_of_rows(visit, variance, covariance);
  for (int j = visit.coefficients() - 1; j >= 0; --j) {
    real* pivot = covariance + block_rows * j;
    real* from = visit.triangle + row_begin(j, block_rows + 1);
    const real inverse = real(1) / contact::square_root(pivot[j]);
    for (int c = 0; c < j; ++c) pivot[c] *= inverse;
    for (int c = 0; c <= block_rows - j; ++c) from[c] *= inverse;
    for (int i = 0; i < j; ++i) {
      const real factor = pivot[i];
      real* other = covariance + block_rows * i;
      for (int c = 0; c <= i; ++c) other[c] -= factor * pivot[c];
      real* to = visit.triangle + row_begin(i, block_rows + 1) + j - i;
      for (int c = 0; c <= block_rows - j; ++c) to[c] -= factor * from[c];
    }
  }
}

}  // namespace

void whiten(Work& work, real variance, bool without_first) {
  Visit& visit = work.visit;
  const real touch = touch_weight(work);
  if (variance > real(0)) take_out_shift(visit, variance * touch * touch);
  for (real& number : visit.triangle) number *= touch;
  if (without_first) clear(visit.triangle, block_rows + 1);
}

void weigh_block(Work& work, int from) {
  const Visit& visit = work.visit;
  // A copy is not taken for something the columns might be.
  real weights[row_begin(block_rows, block_rows + 1)];
  for (int i = 0; i < row_begin(block_rows, block_rows + 1); ++i) weights[i] = visit.triangle[i];
  real* column = work.block() + block_rows * from;
  for (int c = from + 1; c < work.layout.width(); ++c, column += block_rows) {
    const real* weight = weights;
    for (int r = 0; r < block_rows; ++r, ++weight) {
      real sum = real(0);
      for (int j = r; j < block_rows; ++j) sum += *weight++ * column[j];
      column[r] = sum;
    }
  }
  for (int r = 0; r < block_rows; ++r) {
    column[r] = visit.triangle[row_begin(r, block_rows + 1) + block_rows - r];
  }
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
