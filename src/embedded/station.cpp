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

#include "embedded/angles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

bool carries_tool(const Axis& axis) { return with_tool_axes && axis.tool_side; }

/// Rows of the block in which a displacement stands on its way out.
real* displacement(Work& work, int column) { return work.block() + block_rows * column; }

PIVOTRACE_ONE_COPY inline void put(Work& work, int column, real factor, const Vector& by) {
  real* rows = displacement(work, column);
  for (int i = 0; i < 3; ++i) rows[i] = factor * by[i];
}

/// Carries displacements from inside the turn of an axis to outside.
[[maybe_unused]] void carry(Work& work, const Axis& axis, int column, int count) {
  for (; count > 0; --count, ++column) {
    put(work, column, real(1), turned(axis, displacement(work, column)));
  }
}

/// Takes a point through the turn of axis k and writes how it is displaced with it.
void pass_axis(Work& work, const pivotrace_station& stay, int k, Vector& point) {
  const Axis& axis = work.axis[k];
  const Frame& frame = work.axis_frame[k];
  const pivotrace_axis& stated = work.setup->axis[k];
  const real sign = carries_tool(axis) ? real(-1) : real(1);
  const Vector after = turned(axis, minus(point, axis.point).at);
  const real shortened = sign * dot(axis.direction, frame.along);
  const real along = dot(axis.direction, after);
  int column = work.layout.column(work.layout.axis(k));
  for (const Vector& aside : frame.across) {
    const Vector apart = minus(aside, turned(axis, aside.at));
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
  for (int i = 0; i < 3; ++i) point[i] = axis.point[i] + after[i];
}

/// Takes a point out through the axes of one side, `last` innermost.
void pass_axes(Work& work, const pivotrace_station& stay, int last, bool tool_side, Vector& point) {
  const Layout& layout = work.layout;
  for (int left = last; left >= 0; --left) {
    const int k = most_axes == 1 ? 0 : left;
    const Axis& axis = work.axis[k];
    if (carries_tool(axis) != tool_side) continue;
    if constexpr (most_axes == 1 && !with_pins && !with_tool_axes) {
      // Nothing else has moved the ball: its displacements are the columns of the turn.
      real* columns = displacement(work, layout.column(layout.place[stay.artefact]));
      for (int j = 0; j < 3; ++j, columns += block_rows) {
        for (int i = 0; i < 3; ++i) columns[i] = axis.turn[i][j];
      }
    } else if (!tool_side) {
      const int artefact = stay.artefact;
      carry(work, axis, layout.column(layout.place[artefact]), work.visit.coefficients() - 1);
      if (work.visit.is_pin()) work.visit.pin.along = turned(axis, work.visit.pin.along.at);
    }
    if (most_axes == 2 && k < last && carries_tool(work.axis[last]) == tool_side) {
      carry(work, axis, layout.column(layout.axis(last)), numbers_an_axis);
      carry(work, axis, layout.index_column(stay, last), layout.each());
    }
    pass_axis(work, stay, k, point);
  }
}

/// Where a pin stands: writes how its point `along` its axis is displaced with it.
void place_pin(Work& work, const pivotrace_artefact& artefact, const real* x, int column,
               real along, Vector& point) {
  Frame frame;
  set_frame(frame, vector_of(artefact.direction));
  const Vector lean = moved(frame.along, frame, x + 2);
  const real cosine = real(1) / contact::square_root(dot(lean, lean));
  for (int i = 0; i < 2; ++i) {
    point = plus(point, x[i], frame.across[i]);
    put(work, column + i, real(1), frame.across[i]);
    // What it loses in length lies along the pin and is not felt.
    put(work, column + 2 + i, along * cosine, frame.across[i]);
  }
  work.visit.pin.along = scaled(cosine, lean);
  point = plus(point, along, work.visit.pin.along);
}

/// `visit.shown`: where the control shows a point of the artefact, `along` its axis for a pin; and how that is
/// displaced with every unknown.
void show_point(Work& work, const pivotrace_station& stay, real along) {
  const int number = stay.artefact;
  const pivotrace_artefact& artefact = work.setup->artefact[number];
  const real* x = work.unknowns + work.layout.place[number];
  const int column = work.layout.column(work.layout.place[number]);
  Vector& point = work.visit.shown;
  point = difference(artefact.at, work.origin);
  if (!work.visit.is_pin()) {
    for (int i = 0; i < 3; ++i) {
      point[i] += x[i];
      displacement(work, column + i)[i] = real(1);
    }
  } else {
    place_pin(work, artefact, x, column, along, point);
  }
  pass_axes(work, stay, static_cast<int>(artefact.carried_by), false, point);
  if constexpr (with_tool_axes) {
    Vector arm = {};
    pass_axes(work, stay, axes_of(*work.setup) - 1, true, arm);
    point = minus(point, arm);
  }
}

/// Of the displacements of a pin those are felt that are square to it: rows 0 and 1 get that of the
/// first point, rows 2 and 3 by how much that of the second is more. `second`: rows 3 and 4 keep it
/// meanwhile.
void feel_pin(Work& work, bool second) {
  const Frame& pin = work.visit.pin;
  real* column = work.block();
  for (int c = work.layout.width() - 1; c > 0; --c, column += block_rows) {
    const Vector by = {{column[0], column[1], column[2]}};
    const real felt[2] = {dot(by, pin.across[0]), dot(by, pin.across[1])};
    if (second) {
      column[3] = felt[0];
      column[4] = felt[1];
    } else {
      column[0] = felt[0];
      column[1] = felt[1];
      column[2] = column[3] - felt[0];
      column[3] = column[4] - felt[1];
      column[4] = real(0);
    }
  }
}

[[gnu::noinline]] void show_pin(Work& work, const pivotrace_station& stay) {
  show_point(work, stay, pin_base);
  set_frame(work.visit.pin, Vector(work.visit.pin.along));
  feel_pin(work, true);
  show_point(work, stay, real(0));
  feel_pin(work, false);
}

}  // namespace

void set_chain(Work& work) {
  const pivotrace_setup& setup = *work.setup;
  for (int k = 0; k < axes_of(setup); ++k) {
    const pivotrace_axis& stated = setup.axis[k];
    const Frame& frame = work.axis_frame[k];
    const real* x = work.unknowns + work.layout.axis(k);
    Axis& axis = work.axis[k];
    axis.tool_side = with_tool_axes && stated.side == PIVOTRACE_TOOL_SIDE;
    axis.point =
        moved(axis.tool_side ? vector_of(stated.centre) : difference(stated.centre, work.origin),
              frame, x);
    axis.direction = unit(moved(frame.along, frame, x + 2));
    const bool flipped = ((work.flipped >> k) & 1) != 0;
    axis.sense = real(flipped ? -stated.turn : stated.turn);
  }
}

void turn_to(Work& work, const pivotrace_station& stay) {
  const int number = stay.artefact;
  const pivotrace_artefact& artefact = work.setup->artefact[number];
  Visit& visit = work.visit;
  for (int k = 0; k < axes_of(*work.setup); ++k) {
    // The stations of a pass come in order: an axis that did not move stands as it stood.
    if (most_axes == 2 && work.station > 0 && (&stay)[-1].angle[k] == stay.angle[k]) continue;
    stand_at(work.axis[k], stay.angle[k]);
  }
  visit.on_pin = artefact.kind == PIVOTRACE_PIN;
  const int radius = int{work.layout.radius[number]};
  const bool shared = artefact.diameter_as >= 0;
  visit.radius =
      real(0.5) * real(work.setup->artefact[shared ? 0 : number].diameter) + work.unknowns[radius];
  clear(work.block(), block_rows * work.layout.width());
  if (visit.is_pin()) {
    show_pin(work, stay);
  } else {
    show_point(work, stay, real(0));
  }
  displacement(work, work.layout.column(radius))[visit.coefficients() - 1] = real(1);
}

real stated_shift_sigma(const Work& work) {
  return real(work.setup->errors.station_sigma_nm) * counts_per_nm;
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
