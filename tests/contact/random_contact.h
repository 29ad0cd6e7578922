// A chain of two work-side and two tool-side axes, an artefact on it and a reading, at random; and
// the numbers all of it depends on in one row, so that any of them can be moved.
#pragma once

#include <array>
#include <cmath>
#include <random>

#include "contact/dual.h"
#include "pivotrace/contact/derivatives.h"

namespace pivotrace::testing {

inline double cosine_of(double a) { return std::cos(a); }
inline double sine_of(double a) { return std::sin(a); }
inline float cosine_of(float a) { return std::cos(a); }
inline float sine_of(float a) { return std::sin(a); }

/// Where each number stands in the row.
inline constexpr int shown_first = 0;
inline constexpr int offset_first = 3;
inline constexpr int place_point_first = 6;
inline constexpr int place_direction_first = 9;
inline constexpr int radius_at = 12;
inline constexpr int stylus_radius_at = 13;
inline constexpr int axis_first = 14;  ///< per axis: point, direction, angle
inline constexpr int per_axis = 7;
inline constexpr int numbers = axis_first + 4 * per_axis;

template <class S>
using Row = std::array<S, numbers>;

inline constexpr std::array<bool, 4> on_tool_side = {false, true, false, true};
inline constexpr std::array<int, 4> sense_of = {1, -1, -1, 1};

struct Case {
  Row<double> row{};
  ArtefactKind kind = ArtefactKind::ball;
  int last = 2;
  bool flip = false;
};

template <class S>
contact::Vec3<S> three(const Row<S>& row, int first) {
  return {{row[first], row[first + 1], row[first + 2]}};
}

template <class S>
contact::Chain<S> chain_of(const Row<S>& row) {
  contact::Chain<S> chain;
  for (int k = 0; k < 4; ++k) {
    const int first = axis_first + k * per_axis;
    chain.add(on_tool_side[k], three(row, first), three(row, first + 3), S(sense_of[k]));
    const S& angle = row[first + 6];
    chain.axes[k].stand_at(cosine_of(angle), sine_of(angle));
  }
  return chain;
}

template <class S>
contact::Reading<S> reading_of(const Case& c, const Row<S>& row) {
  return {three(row, shown_first), three(row, offset_first), c.flip};
}

template <class S>
contact::Place<S> place_of(const Row<S>& row) {
  return {three(row, place_point_first), three(row, place_direction_first), row[radius_at]};
}

template <class S>
S gap_from(const Case& c, const Row<S>& row) {
  return contact::gap_of(chain_of(row), c.last, reading_of(c, row), c.kind, place_of(row),
                         row[stylus_radius_at]);
}

/// Coordinates within 200 mm; the stylus within about a ball's radius of the artefact.
inline Case random_case(unsigned seed) {
  std::mt19937_64 random(seed);
  std::uniform_real_distribution<double> unit(-1.0, 1.0);
  const auto fill = [&](Row<double>& row, int first, double size, bool normal) {
    double squares = 0.0;
    for (int i = 0; i < 3; ++i) {
      row[first + i] = size * unit(random);
      squares += row[first + i] * row[first + i];
    }
    for (int i = 0; normal && i < 3; ++i) row[first + i] /= std::sqrt(squares);
  };
  Case c;
  c.kind = static_cast<ArtefactKind>(seed % 4);
  c.last = seed % 5 == 0 ? -1 : static_cast<int>(seed % 3);
  if (c.last == 1) c.last = 2;
  c.flip = seed % 2 == 0;
  fill(c.row, shown_first, 200.0, false);
  fill(c.row, offset_first, 0.5, false);
  fill(c.row, place_direction_first, 1.0, true);
  for (int k = 0; k < 4; ++k) {
    fill(c.row, axis_first + k * per_axis, 200.0, false);
    fill(c.row, axis_first + k * per_axis + 3, 1.0, true);
    c.row[axis_first + k * per_axis + 6] = 3.2 * unit(random);
  }
  const contact::Vec3<double> stylus =
      contact::stylus_in_carried(chain_of(c.row), c.last, reading_of(c, c.row));
  contact::Vec3<double> nearby;
  for (int i = 0; i < 3; ++i) nearby[i] = stylus[i] + 5.0 * unit(random) + 10.0;
  for (int i = 0; i < 3; ++i) c.row[place_point_first + i] = nearby[i];
  c.row[radius_at] = 12.5;
  c.row[stylus_radius_at] = 3.0;
  return c;
}

}  // namespace pivotrace::testing
