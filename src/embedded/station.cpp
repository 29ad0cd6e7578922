#include "embedded/station.h"

#include "embedded/angles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

/// Second point of a pin [counts]: 10 mm from the first.
constexpr real pin_base = real(1000000);

Vector axis_lean(const Work& work, int axis) {
  return leaning(work.axis_frame[axis], work.unknowns + work.layout.axis(axis) + 2);
}

/// How a unit vector made by shortening `vector` to length 1 moves when `vector` moves by `by`.
Vector shortened(const Vector& unit, real inverse_length, const Vector& by) {
  return inverse_length * contact::square_to(by, unit);
}

/// Artefact at rotary 0: its point and, of a pin, its unit direction.
struct Placed {
  Vector point;
  Vector direction;
  real inverse_length;  ///< of the leaning vector the direction was made of
};

Placed placed(const Work& work, int artefact) {
  const pivotrace_setup& setup = *work.survey->setup;
  const real* x = work.unknowns + work.layout.place[artefact];
  Placed result{};
  result.point = difference(setup.artefact[artefact].at, work.origin);
  if (setup.artefact[artefact].kind == PIVOTRACE_BALL) {
    result.point = result.point + Vector{{x[0], x[1], x[2]}};
    return result;
  }
  const Frame& frame = work.artefact_frame[artefact];
  result.point = result.point + x[0] * frame.first + x[1] * frame.second;
  const Vector lean = leaning(frame, x + 2);
  result.inverse_length = real(1) / contact::length(lean);
  result.direction = result.inverse_length * lean;
  return result;
}

/// Writes one row of the block: the gradient g of the artefact's displacement, pulled through the
/// chain, as the unknowns and index unknowns feel it.
class Row {
 public:
  Row(Work& work, int row, const pivotrace_station& stay) : work_(work), row_(row), stay_(stay) {}

  void axes(const contact::ChainGradient<real, most_axes>& gradient, int last, const Vector& g) {
    const int count = work_.chain.count;
    Vector front = g;
    for (int k = last; k >= 0; --k) {
      if (work_.chain.axes[k].tool_side) continue;
      line(gradient, k);
      front = front - gradient.by_axis_point[k];
      index(gradient, k, front);
    }
    front = gradient.by_shown;
    for (int k = 0; k < count; ++k) {
      if (!work_.chain.axes[k].tool_side) continue;
      line(gradient, k);
      index(gradient, k, -front);
      front = front - gradient.by_axis_point[k];
    }
  }

  void place(int artefact, const Placed& at, const Vector& g, real along) {
    const int column = work_.layout.column(work_.layout.place[artefact]);
    if (work_.visit.coefficients == 4) {
      for (int i = 0; i < 3; ++i) put(column + i, g[i]);
      return;
    }
    const Frame& frame = work_.artefact_frame[artefact];
    const Vector tilting = along * shortened(at.direction, at.inverse_length, g);
    put(column, contact::dot(g, frame.first));
    put(column + 1, contact::dot(g, frame.second));
    put(column + 2, contact::dot(tilting, frame.first));
    put(column + 3, contact::dot(tilting, frame.second));
  }

  void put(int column, real value) { work_.block()[block_rows * column + row_] = value; }

 private:
  void line(const contact::ChainGradient<real, most_axes>& gradient, int k) {
    const Frame& frame = work_.axis_frame[k];
    const int column = work_.layout.column(work_.layout.axis(k));
    put(column, -contact::dot(gradient.by_axis_point[k], frame.first));
    put(column + 1, -contact::dot(gradient.by_axis_point[k], frame.second));
    const real inverse_length = real(1) / contact::length(axis_lean(work_, k));
    const Vector tilting =
        shortened(work_.chain.axes[k].direction, inverse_length, gradient.by_axis_direction[k]);
    put(column + 2, -contact::dot(tilting, frame.first));
    put(column + 3, -contact::dot(tilting, frame.second));
  }

  void index(const contact::ChainGradient<real, most_axes>& gradient, int k, const Vector& motion) {
    const pivotrace_axis& axis = work_.survey->setup->axis[k];
    const int column =
        k == work_.layout.thin_axis ? 0 : work_.layout.each + work_.layout.each * stay_.position[k];
    put(column, -gradient.by_angle[k] * (real(axis.index_sigma_mas) * rad_per_mas));
    if (work_.layout.each == 1) return;
    const real sigma = real(axis.motion_sigma_nm) * counts_per_nm;
    for (int i = 0; i < 3; ++i) put(column + 1 + i, sigma * motion[i]);
  }

  Work& work_;
  int row_;
  const pivotrace_station& stay_;
};

/// Directions, carried frame, in which the artefact is felt: X Y Z, or two square to a pin.
Vector felt_direction(const Work& work, int artefact, const Placed& at, int i) {
  if (work.visit.coefficients == 4) return {{real(i == 0), real(i == 1), real(i == 2)}};
  const Vector across = contact::square_to(work.artefact_frame[artefact].first, at.direction);
  const Vector first = (real(1) / contact::length(across)) * across;
  return i == 0 ? first : contact::cross(at.direction, first);
}

/// One point of the artefact: where the control shows it, and its rows of the block.
void write_point(Work& work, const pivotrace_station& stay, const Placed& at, int number) {
  Visit& visit = work.visit;
  const int artefact = stay.artefact;
  const int last = static_cast<int>(work.survey->setup->artefact[artefact].carried_by);
  const real along = number == 0 ? real(0) : pin_base;
  const Vector point = at.point + along * at.direction;
  contact::Reading<real> reading;
  reading.shown = contact::machine_from_carried(work.chain, last, point) -
                  contact::tool_arm(work.chain, reading.stylus_offset);
  if (number == 0) visit.shown = reading.shown;
  const auto journey = contact::travel(work.chain, last, reading);
  for (int i = 0; i < visit.shifts; ++i) {
    const Vector g = felt_direction(work, artefact, at, i);
    const auto gradient = contact::pulled_back(work.chain, last, reading, journey, g);
    if (number == 0) visit.aside[i] = gradient.by_shown;
    Row row(work, 1 + visit.shifts * number + i, stay);
    row.axes(gradient, last, g);
    row.place(artefact, at, g, along);
  }
}

void clear(real* numbers, int count) {
  for (int i = 0; i < count; ++i) numbers[i] = real(0);
}

}  // namespace

void set_chain(Work& work) {
  const pivotrace_setup& setup = *work.survey->setup;
  work.chain.count = 0;
  for (int k = 0; k < setup.axes; ++k) {
    const pivotrace_axis& axis = setup.axis[k];
    const bool tool_side = axis.side == PIVOTRACE_TOOL_SIDE;
    const Frame& frame = work.axis_frame[k];
    const real* x = work.unknowns + work.layout.axis(k);
    const int32_t zero[3] = {0, 0, 0};
    const Vector nominal = difference(axis.centre, tool_side ? zero : work.origin);
    const Vector lean = axis_lean(work, k);
    const bool flipped = ((work.flipped >> k) & 1) != 0;
    work.chain.add(tool_side, nominal + x[0] * frame.first + x[1] * frame.second,
                   (real(1) / contact::length(lean)) * lean,
                   real(flipped ? -axis.turn : axis.turn));
  }
}

void turn_to(Work& work, const pivotrace_station& stay) {
  const pivotrace_setup& setup = *work.survey->setup;
  const pivotrace_artefact& artefact = setup.artefact[int{stay.artefact}];
  Visit& visit = work.visit;
  for (int k = 0; k < work.chain.count; ++k) {
    const Direction angle = direction_of(stay.angle[k]);
    work.chain.axes[k].stand_at(angle.cosine, angle.sine);
  }
  const bool ball = artefact.kind == PIVOTRACE_BALL;
  visit.coefficients = ball ? 4 : 5;
  visit.shifts = ball ? 3 : 2;
  const int diameter = work.layout.diameter[int{stay.artefact}];
  const int owner = artefact.diameter_as >= 0 ? static_cast<int>(artefact.diameter_as)
                                              : static_cast<int>(stay.artefact);
  visit.radius = real(0.5) * real(setup.artefact[owner].diameter) + work.unknowns[diameter];
  clear(work.block(), block_rows * work.layout.width());
  work.block()[block_rows * work.layout.column(diameter)] = real(1);
  const Placed at = placed(work, stay.artefact);
  write_point(work, stay, at, 0);
  if (!ball) write_point(work, stay, at, 1);
  if (ball) return;
  visit.along = contact::cross(visit.aside[0], visit.aside[1]);
}

void look_at(const Work& work, const pivotrace_touch& touch, Gap gap, int stride, real* row) {
  const Visit& visit = work.visit;
  const Vector off = difference(touch.at, work.origin) - visit.shown;
  real felt[3] = {};
  real squares = real(0);
  for (int i = 0; i < visit.shifts; ++i) {
    felt[i] = contact::dot(off, visit.aside[i]);
    squares += felt[i] * felt[i];
  }
  real scale = real(1) / visit.radius;
  real left = real(0.5) * (squares * scale - visit.radius);
  if (gap == Gap::exact) {
    const real distance = contact::square_root(squares);
    scale = contact::inverse_or_zero(distance);
    left = contact::gap_at(ArtefactKind::ball, distance, visit.radius, real(0));
  }
  real* next = row;
  const auto put = [&next, stride](real value) {
    *next = value;
    next += stride;
  };
  put(real(1));
  if (visit.coefficients == 4) {
    for (const real shift : felt) put(scale * shift);
    put(real(0));
  } else {
    const real far = contact::dot(off, visit.along) * (real(1) / pin_base);
    put(scale * (real(1) - far) * felt[0]);
    put(scale * (real(1) - far) * felt[1]);
    put(scale * far * felt[0]);
    put(scale * far * felt[1]);
  }
  put(left);
}

real reduce_touches(Work& work, const pivotrace_station& stay, Gap gap) {
  Visit& visit = work.visit;
  clear(visit.triangle, row_begin(block_rows, block_rows + 1));
  real left = real(0);
  const pivotrace_touch* touch = work.survey->touch + stay.first;
  for (int t = 0; t < stay.touches; t += block_rows) {
    const int rows = stay.touches - t < block_rows ? stay.touches - t : block_rows;
    if (rows < block_rows) clear(visit.columns, block_rows * (block_rows + 1));
    for (int r = 0; r < rows; ++r, ++touch)
      look_at(work, *touch, gap, block_rows, visit.columns + r);
    absorb(visit.triangle, visit.coefficients, block_rows + 1, visit.columns);
    const real* rest = visit.columns + block_rows * block_rows;
    left += product(rest, rest);
  }
  return left;
}

void whiten(Work& work, bool without_first) {
  Visit& visit = work.visit;
  const real touch = contact::square_root(real(1) / work.touch_variance);
  const real ratio = real(work.survey->setup->errors.station_sigma_nm) * counts_per_nm * touch;
  const real* next = visit.triangle;
  clear(visit.columns, block_rows * (block_rows + 1));
  for (int r = 0; r < visit.coefficients; ++r) {
    for (int c = r; c <= block_rows; ++c, ++next) {
      if (r > 0 || !without_first) visit.columns[block_rows * c + r] = touch * *next;
    }
  }
  for (int i = 1; i <= visit.shifts && ratio > real(0); ++i) {
    real w[block_rows] = {};
    subtract(-ratio / touch, visit.columns + block_rows * i, w);
    if (visit.coefficients == 5) {
      subtract(-ratio / touch, visit.columns + block_rows * (2 + i), w);
    }
    const real root = contact::square_root(real(1) + product(w, w));
    const real share = real(1) / (root * (root + real(1)));
    real* column = visit.columns;
    for (int c = 0; c <= block_rows; ++c, column += block_rows) {
      subtract(share * product(w, column), w, column);
    }
  }
}

void weigh_block(Work& work) {
  const real* weight = work.visit.columns;
  real* column = work.block();
  for (int c = 1; c < work.layout.width(); ++c, column += block_rows) {
    real sum[block_rows] = {};
    for (int j = 0; j < block_rows; ++j) {
      if (column[j] != real(0)) subtract(-column[j], weight + block_rows * j, sum);
    }
    for (int r = 0; r < block_rows; ++r) column[r] = sum[r];
  }
  for (int r = 0; r < block_rows; ++r) column[r] = weight[block_rows * block_rows + r];
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
