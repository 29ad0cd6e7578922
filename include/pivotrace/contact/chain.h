// The rotary axes of a machine as they stand, and points that travel along them.
//
// Work side, outermost first: p_machine = R1 R2 ... p_carried, Ri the rotation by s_i t_i about
// line i (s_i = +1 right-handed, -1 left-handed; t_i the commanded angle). Tool side: stylus = shown
// + H1 H2 ... offset, lines relative to the shown position, so the shown position itself does not
// move them. Lengths mm. Sines and cosines are handed in: this header calls no function of angles.
//
// Written once for every scalar (see scalar.h). A scalar that writes formulas down may want to give
// names to what lies between: the functions take a `keep` with the members of KeepNothing.
#pragma once

#include "pivotrace/contact/vector.h"

namespace pivotrace {

/// Two rotary axes on the work side and two on the tool side at the most.
inline constexpr int max_rotary_axes = 4;

/// How the carried body turns about the + direction for a positive command.
enum class TurnSense { right_hand = 1, left_hand = -1 };

constexpr double turn_sign(TurnSense sense) { return sense == TurnSense::right_hand ? 1.0 : -1.0; }

}  // namespace pivotrace

namespace pivotrace::contact {

/// The turn by a commanded angle t about the unit vector u, right-handed for sense = +1 (Rodrigues):
///   R = u u' + (I - u u') cos t + sense [u]x sin t.
template <class S>
constexpr Mat3<S> rotation(const Vec3<S>& u, const S& sense, const S& cosine, const S& sine) {
  const Mat3<S> across = {{{{S(0), -u[2], u[1]}}, {{u[2], S(0), -u[0]}}, {{-u[1], u[0], S(0)}}}};
  Mat3<S> r;
  for (int i = 0; i < 3; ++i) {
    for (int j = 0; j < 3; ++j) {
      const S straight = tidied(u[i] * u[j]);
      r.row[i][j] = straight + tidied(S(i == j ? 1 : 0) - straight) * cosine +
                    tidied(sense * across.row[i][j]) * sine;
    }
  }
  return r;
}

/// One rotary axis as it stands.
template <class S>
struct Axis {
  bool tool_side = false;
  Vec3<S> point;      ///< on the axis line; tool side: from the shown position [mm]
  Vec3<S> direction;  ///< unit
  S sense = S(1);   ///< +1: a positive command turns the carried body right-handed; -1: left-handed
  S cosine = S(1);  ///< of the commanded angle
  S sine = S(0);
  Mat3<S> body_turn = identity<S>();  ///< how the carried body has turned from its place at 0

  constexpr void stand_at(const S& cosine_of_command, const S& sine_of_command) {
    cosine = cosine_of_command;
    sine = sine_of_command;
    body_turn = rotation(direction, sense, cosine, sine);
  }
};

/// All rotary axes of one machine in its own order: outermost first on each side. `most` of them:
/// where memory is short, as many as there are.
template <class S, int most = max_rotary_axes>
struct Chain {
  Axis<S> axes[most];
  int count = 0;

  /// Adds an axis at 0.
  constexpr void add(bool tool_side, const Vec3<S>& point, const Vec3<S>& direction,
                     const S& sense) {
    Axis<S>& axis = axes[count++];
    axis.tool_side = tool_side;
    axis.point = point;
    axis.direction = direction;
    axis.sense = sense;
  }
};

/// Names nothing: for scalars that work values out.
struct KeepNothing {
  /// `spoke` = the point, seen from the line of an axis it is about to be turned about.
  template <class S>
  constexpr void spoke(const Axis<S>&, Vec3<S>&) const {}
  /// `point` after it was turned about axis number `axis`.
  template <class S>
  constexpr void turned(int, Vec3<S>&) const {}
};

enum class Way {
  with_body,    ///< as the carried body turned
  back_to_zero  ///< the inverse
};

/// A free vector turned with the axis, or back.
template <class S>
constexpr Vec3<S> turned(const Axis<S>& axis, Way way, const Vec3<S>& v) {
  return way == Way::with_body ? axis.body_turn * v : transposed_times(axis.body_turn, v);
}

/// True when component `i` of a point is known to stay as it is: the axis lies along it.
template <class S>
constexpr bool leaves_alone(const Axis<S>& axis, int i) {
  return is_known_to_be(axis.body_turn.row[i][i], 1.0);
}

/// c + R (p - c): a point turned about the line of an axis, or back.
template <class S, class Keep = KeepNothing>
constexpr Vec3<S> turned_about(const Axis<S>& axis, Way way, const Vec3<S>& p, Keep&& keep = {}) {
  if (is_known_to_be(axis.cosine, 1.0)) return p;
  Vec3<S> spoke = p - axis.point;
  keep.spoke(axis, spoke);
  Vec3<S> result = axis.point + turned(axis, way, spoke);
  for (int i = 0; i < 3; ++i) {
    if (leaves_alone(axis, i)) result[i] = p[i];
  }
  return result;
}

/// Stylus centre minus shown position as the tool-side axes stand; `offset` is the same at 0.
template <class S, int most, class Keep = KeepNothing>
constexpr Vec3<S> tool_arm(const Chain<S, most>& chain, const Vec3<S>& offset, Keep&& keep = {}) {
  Vec3<S> arm = offset;
  for (int k = chain.count - 1; k >= 0; --k) {
    if (!chain.axes[k].tool_side) continue;
    arm = turned_about(chain.axes[k], Way::with_body, arm, keep);
    keep.turned(k, arm);
  }
  return arm;
}

/// A point carried by work-side axis `last` (-1 = the bed: it stays), given at rotary 0, as it
/// stands now.
template <class S, int most, class Keep = KeepNothing>
constexpr Vec3<S> machine_from_carried(const Chain<S, most>& chain, int last, const Vec3<S>& p,
                                       Keep&& keep = {}) {
  Vec3<S> now = p;
  for (int k = last; k >= 0; --k) {
    if (chain.axes[k].tool_side) continue;
    now = turned_about(chain.axes[k], Way::with_body, now, keep);
    keep.turned(k, now);
  }
  return now;
}

/// The inverse: a point as it stands now, seen from what work-side axis `last` carries.
template <class S, int most, class Keep = KeepNothing>
constexpr Vec3<S> carried_from_machine(const Chain<S, most>& chain, int last, const Vec3<S>& p,
                                       Keep&& keep = {}) {
  Vec3<S> at_zero = p;
  for (int k = 0; k <= last; ++k) {
    if (chain.axes[k].tool_side) continue;
    at_zero = turned_about(chain.axes[k], Way::back_to_zero, at_zero, keep);
    keep.turned(k, at_zero);
  }
  return at_zero;
}

/// A free vector fixed to the tool at rotary 0, as it stands now.
template <class S, int most>
constexpr Vec3<S> machine_from_tool(const Chain<S, most>& chain, const Vec3<S>& v) {
  Vec3<S> now = v;
  for (int k = chain.count - 1; k >= 0; --k) {
    if (chain.axes[k].tool_side) now = turned(chain.axes[k], Way::with_body, now);
  }
  return now;
}

/// A free vector of the machine frame, seen from the tool: inverse of the above.
template <class S, int most>
constexpr Vec3<S> tool_from_machine(const Chain<S, most>& chain, const Vec3<S>& v) {
  Vec3<S> at_zero = v;
  for (int k = 0; k < chain.count; ++k) {
    if (chain.axes[k].tool_side) at_zero = turned(chain.axes[k], Way::back_to_zero, at_zero);
  }
  return at_zero;
}

/// Rotation part of machine_from_carried.
template <class S, int most>
constexpr Mat3<S> machine_from_carried_rotation(const Chain<S, most>& chain, int last) {
  Mat3<S> rotation = identity<S>();
  for (int k = 0; k <= last; ++k) {
    if (!chain.axes[k].tool_side) rotation = rotation * chain.axes[k].body_turn;
  }
  return rotation;
}

/// Rotation part of machine_from_tool.
template <class S>
constexpr Mat3<S> machine_from_tool_rotation(const Chain<S>& chain) {
  Mat3<S> rotation = identity<S>();
  for (int k = 0; k < chain.count; ++k) {
    if (chain.axes[k].tool_side) rotation = rotation * chain.axes[k].body_turn;
  }
  return rotation;
}

/// An offset of the stylus as it stands with the spindle turned by 180 degrees: X and Y change sign.
template <class S>
constexpr Vec3<S> spindle_turned(const Vec3<S>& offset, bool flip) {
  if (!flip) return offset;
  return {{-offset[0], -offset[1], offset[2]}};
}

/// One reading, as the control and the probe give it.
template <class S>
struct Reading {
  Vec3<S> shown;          ///< [mm]
  Vec3<S> stylus_offset;  ///< stylus centre minus shown position, tool axes at 0, not flipped [mm]
  bool flip = false;      ///< spindle turned by 180 degrees
};

template <class S, int most>
constexpr Vec3<S> stylus_in_machine(const Chain<S, most>& chain, const Reading<S>& reading) {
  return reading.shown + tool_arm(chain, spindle_turned(reading.stylus_offset, reading.flip));
}

template <class S, int most>
constexpr Vec3<S> stylus_in_carried(const Chain<S, most>& chain, int last,
                                    const Reading<S>& reading) {
  return carried_from_machine(chain, last, stylus_in_machine(chain, reading));
}

}  // namespace pivotrace::contact
