// The work memory of a job: what is under way, and where the triangles lie behind it.
//
// Unknowns of the axes stand last, so that the last rows of the triangle alone tell of them:
//   [index unknowns of one axis | those of the other | diameters | places | axes]
// The first group is thin: a station meets one index position only, so each of its positions keeps
// a few rows of its own, and the rest is one triangle ("dense").
#pragma once

#include "embedded/build.h"
#include "embedded/triangle.h"
#include "embedded/turn.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

constexpr int most_artefacts = PIVOTRACE_ARTEFACTS;
constexpr int numbers_an_axis = 4;
constexpr int most_unknowns = numbers_an_axis * most_axes + 5 * most_artefacts;
constexpr int axis_unknowns = PIVOTRACE_AXIS_UNKNOWNS;
constexpr int linear_terms = with_linear_terms ? 6 : 0;  ///< three scales, three squarenesses
constexpr int common_terms = linear_terms + most_artefacts;

/// Nominal direction and two directions square to it: for Z: X, Y; for X: Y, Z; for Y: Z, X.
struct Frame {
  Vector along;
  Vector across[2];
};

/// Which unknown is which.
struct Layout {
  int32_t each_;      ///< unknowns of one index position: 1 or 4
  int32_t thin_axis;  ///< the axis whose index unknowns stand in front, each position by itself
  int32_t positions;  ///< of that axis
  int32_t other;      ///< index unknowns of the other axis
  int32_t unknowns;   ///< without index unknowns
  int32_t axes_begin;
  int8_t diameter[most_artefacts];
  int8_t place[most_artefacts];
  /// Of each unknown the bit of `undetermined` that names it, and `tilt` where it is one.
  int16_t named[most_unknowns];
  static constexpr int16_t tilt = 0x4000;

  int dense() const { return other + unknowns; }
  int each() const { return with_motion ? static_cast<int>(each_) : 1; }
  int width() const { return each() + dense() + 1; }
  int numbers_a_position() const { return row_begin(each(), width()); }
  /// Column in a block of an unknown, of the index unknowns of an axis.
  int column(int unknown) const { return each() + other + unknown; }
  int index_column(const pivotrace_station& stay, int k) const {
    return k == thin_axis ? 0 : each() + each() * int{stay.position[k]};
  }
  int axis(int k) const { return axes_begin + numbers_an_axis * k; }
};

Layout layout_of(const pivotrace_survey& survey);

/// Numbers of `real` behind the fixed part.
int32_t numbers_behind(const Layout& layout);

/// One station as the passes see it.
struct Visit {
  bool on_pin;
  Vector shown;  ///< position at which the stylus centre would sit in the artefact [counts]
  Frame pin;     ///< its axis and the directions in which it is felt, machine frame
  real radius;   ///< of artefact and stylus together [counts]
  /// The touches, reduced: coefficients and gap (see reduce_touches); then the same whitened.
  real triangle[row_begin(block_rows, block_rows + 1)];
  /// Touches on their way into it, column by column; in the tests see suspects.cpp.
  real columns[touch_rows * (block_rows + 1)];

  bool is_pin() const { return with_pins && on_pin; }
  /// Diameter, then displacements of the artefact.
  int coefficients() const { return is_pin() ? 5 : 4; }
  /// Directions in which it is felt.
  int shifts() const { return is_pin() ? 2 : 3; }
};

enum class Phase : int8_t { none, start, exact, test };

struct Work {
  uint32_t mark;
  const pivotrace_survey* survey;
  const int32_t* origin;  ///< of positions: centre of the first work-side axis, else artefact 0
  int32_t touches;        ///< of the survey when the job began
  int32_t station;        ///< next to be visited
  Layout layout;
  Phase phase;
  int16_t job;
  int16_t located;  ///< an update came near enough for exact passes
  int16_t pass;
  int16_t flipped;      ///< axes whose sense is turned round, bit by bit
  int32_t rank;         ///< readings after reduction, all stations
  real touch_variance;  ///< used as weight [counts^2]
  real within;          ///< chi-squared of the touches about their stations, stated sigma
  real between;         ///< of the stations
  real unknowns[most_unknowns];
  Frame axis_frame[most_axes];
  Chain chain;
  FineTurn fine[most_axes];
  Visit visit;
  /// Scales and squarenesses as the axes feel them, column by column.
  real felt[axis_unknowns * common_terms];

  real* block() { return reinterpret_cast<real*>(this + 1); }
  real* solution() { return block() + block_rows * layout.width(); }
  real* dense() { return solution() + layout.width(); }
  real* position(int k) {
    return dense() + row_begin(layout.dense(), layout.dense() + 1) +
           k * layout.numbers_a_position();
  }
};

static_assert(sizeof(Work) <= PIVOTRACE_WORK_FIXED * sizeof(real));

/// Origin of positions: nominal centre of the first work-side axis, else place of artefact 0.
const int32_t* origin_of(const pivotrace_setup& setup);

/// Whole numbers subtracted as such. |a - b| below 2e9.
PIVOTRACE_ONE_COPY inline Vector difference(const int32_t* a, const int32_t* b) {
  return {{real(a[0] - b[0]), real(a[1] - b[1]), real(a[2] - b[2])}};
}

/// For a direction of any length.
Frame frame_of(const Vector& direction);
inline Vector vector_of(const int32_t* whole) {
  return {{real(whole[0]), real(whole[1]), real(whole[2])}};
}

/// v + t1 e1 + t2 e2
PIVOTRACE_ONE_COPY inline Vector moved(const Vector& v, const Frame& frame, const real* by) {
  return plus(plus(v, by[0], frame.across[0]), by[1], frame.across[1]);
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
