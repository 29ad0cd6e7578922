// The work memory of a job: what is under way, and where the triangles lie behind it.
//
// Unknowns of the axes stand last, so that the last rows of the triangle alone tell of them:
//   [index unknowns of one axis | those of the other | places | radii | axes]
// The first group is thin: a station meets one index position only, so each of its positions keeps
// a few rows of its own, and the rest is one triangle ("dense").
#pragma once

#include "embedded/angles.h"
#include "embedded/build.h"
#include "embedded/triangle.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

constexpr int most_artefacts = PIVOTRACE_ARTEFACTS;
constexpr int numbers_an_axis = 4;
constexpr int most_unknowns = numbers_an_axis * most_axes + 5 * most_artefacts;
constexpr int axis_unknowns = PIVOTRACE_AXIS_UNKNOWNS;
constexpr int linear_terms = with_linear_terms ? 6 : 0;  ///< three scales, three squarenesses

/// Nominal direction and two directions square to it: for Z: X, Y; for X: Y, Z; for Y: Z, X.
struct Frame {
  Vector along;
  Vector across[2];
};

inline int axes_of(const pivotrace_setup& setup) {
  return most_axes == 1 ? 1 : static_cast<int>(setup.axes);
}

/// Which unknown is which. Bytes without sign, near the beginning of the work memory: the processor gets at
/// them by its shortest instructions.
struct Layout {
  uint8_t each_;       ///< unknowns of one index position: 1 or 4
  uint8_t thin_axis_;  ///< the axis whose index unknowns stand in front, each position by itself
  uint8_t positions;   ///< of that axis
  uint8_t other_;      ///< index unknowns of the other axis
  uint8_t unknowns;    ///< without index unknowns
  uint8_t radii_begin;
  uint8_t axes_begin;
  uint8_t known;  ///< diameters stated with their uncertainty
  uint8_t radius[most_artefacts];
  uint8_t place[most_artefacts];
  /// Of each unknown the bit of `undetermined` that names it, and `tilt` where it is one.
  int16_t named[most_unknowns];
  static constexpr int16_t tilt = 0x4000;

  int each() const { return with_motion ? int{each_} : 1; }
  int thin_axis() const { return most_axes == 1 ? 0 : int{thin_axis_}; }
  int other() const { return most_axes == 1 ? 0 : int{other_}; }
  int dense() const { return other() + unknowns; }
  int width() const { return each() + dense() + 1; }
  int numbers_a_position() const { return row_begin(each(), width()); }
  int dense_numbers() const { return row_begin(dense(), dense() + 1); }
  /// Column in a block of an unknown, of the index unknowns of an axis.
  int column(int unknown) const { return each() + other() + unknown; }
  int index_column(const pivotrace_station& stay, int k) const {
    return k == thin_axis() ? 0 : each() + each() * int{stay.position[k]};
  }
  int axis(int k) const { return axes_begin + numbers_an_axis * k; }
};

void lay_out(const pivotrace_survey& survey, Layout& layout);

/// Numbers of `real` behind the fixed part.
int32_t numbers_behind(const Layout& layout);

/// Standard uncertainty of the radius an artefact and the stylus have together [counts]; 0: not known,
/// or that of the other artefact.
real radius_u(const pivotrace_artefact& artefact);

/// The triangle of a station: first what is its own, a radius nobody asks for (the start) and its
/// shift, each in units of its sigma; behind it the coefficients of the artefact, and the gap.
constexpr int station_width = 9;

/// One station as the passes see it.
struct Visit {
  bool on_pin;
  Vector shown;      ///< position at which the stylus centre would sit in the artefact [counts]
  Frame pin;         ///< its axis and the directions in which it is felt, machine frame
  real radius;       ///< of artefact and stylus together [counts]
  real shift_sigma;  ///< of the station, each direction [counts]
  real triangle[row_begin(station_width - 1, station_width)];
  /// Touches on their way into it, column by column; in the tests one touch.
  real columns[touch_rows * station_width];

  bool is_pin() const { return with_pins && on_pin; }
  /// Displacements of the artefact, then its radius.
  int coefficients() const { return is_pin() ? 5 : 4; }
  /// Directions in which it is felt; the first coefficients.
  int shifts() const { return is_pin() ? 2 : 3; }
  /// What of the triangle is the station's own.
  int own() const { return 1 + shifts(); }
};

enum class Phase : int8_t { none, start, exact, test };

/// What the reduction of touches treats each gap as.
enum class Gap : int8_t {
  algebraic,  ///< (|a|^2 - rho^2) / 2 rho: linear however far off; the start
  exact,      ///< |a| - rho
};

struct Work {
  uint32_t mark;
  Phase phase;
  Gap gap;
  int8_t job;
  int8_t located;  ///< an update came near enough for exact passes
  uint8_t pass;
  uint8_t flipped;  ///< axes whose sense is turned round, bit by bit
  Layout layout;
  const pivotrace_survey* survey;
  const pivotrace_setup* setup;
  const int32_t* origin;  ///< of positions: centre of the first work-side axis, else artefact 0
  real* dense;            ///< triangle of all unknowns but the thin ones
  real* positions;        ///< rows of the thin ones
  real* solution;
  int32_t touches;    ///< of the survey when the job began
  int32_t station;    ///< next to be visited
  int32_t rank;       ///< readings after reduction, all stations
  real touch_factor;  ///< of the stated variance of touches: what is used
  real weight;        ///< 1 / their standard deviation [1 / counts]
  real within;        ///< chi-squared of the touches about their stations, stated sigma
  real between;       ///< of the stations
  real unknowns[most_unknowns];
  Frame axis_frame[most_axes];
  Axis axis[most_axes];
  Visit visit;
  /// How the axes move with each common term, column by column: diameters, scales, squarenesses.
  real felt[axis_unknowns * (most_artefacts + linear_terms)];

  const real* block() const { return reinterpret_cast<const real*>(this + 1); }
  real* block() { return reinterpret_cast<real*>(this + 1); }
  real* position(int k) { return positions + k * layout.numbers_a_position(); }
  real* position_of(const pivotrace_station& stay) {
    return position(stay.position[layout.thin_axis()]);
  }
};

static_assert(sizeof(Work) <= PIVOTRACE_WORK_FIXED * sizeof(real));

inline namespace PIVOTRACE_FORMULAS {

/// Whole numbers subtracted as such. |a - b| below 2e9.
PIVOTRACE_ONE_COPY inline Vector difference(const int32_t* a, const int32_t* b) {
  return {{real(a[0] - b[0]), real(a[1] - b[1]), real(a[2] - b[2])}};
}

}  // namespace PIVOTRACE_FORMULAS

/// For a direction of any length.
void set_frame(Frame& frame, const Three& direction);
inline Vector vector_of(const int32_t* whole) {
  return {{real(whole[0]), real(whole[1]), real(whole[2])}};
}

inline namespace PIVOTRACE_FORMULAS {

/// v + t1 e1 + t2 e2
PIVOTRACE_ONE_COPY inline Vector moved(const Vector& v, const Frame& frame, const real* by) {
  return plus(plus(v, by[0], frame.across[0]), by[1], frame.across[1]);
}

}  // namespace PIVOTRACE_FORMULAS

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
