// The gap between the stylus ball and the surface of an artefact.
//   ball: |p - b| - (R + r)        pin:  distance to the axis - (R + r)
//   bore: (R - r) - distance       flat: n . (p - q) - r
// p = stylus centre, r = stylus radius, R = radius of the artefact; carried frame, mm.
// 0 = just touching, positive = in the air.
#pragma once

#include "pivotrace/contact/vector.h"

namespace pivotrace {

enum class ArtefactKind { ball, pin, bore, flat };

}  // namespace pivotrace

namespace pivotrace::contact {

/// Place of one artefact in its carried frame.
template <class S>
struct Place {
  Vec3<S> point;      ///< ball: centre; pin, bore: on the axis; flat: on the face
  Vec3<S> direction;  ///< unit; pin, bore: axis; flat: outward normal; ball: unused
  S radius = S(0);    ///< flat: unused
};

/// How a point lies to the ball centre, the axis or the face: how far, and in which direction that
/// distance grows fastest. Degenerate: on the centre or axis itself the direction is 0.
template <class S>
struct Standing {
  S distance = S(0);
  Vec3<S> away;
};

template <class S>
Standing<S> standing(ArtefactKind kind, const Place<S>& place, const Vec3<S>& p) {
  const Vec3<S> arm = p - place.point;
  if (kind == ArtefactKind::flat) return {dot(place.direction, arm), place.direction};
  const Vec3<S> away = kind == ArtefactKind::ball ? arm : square_to(arm, place.direction);
  const S distance = length(away);
  return {distance, inverse_or_zero(distance) * away};
}

/// The gap when the distance is known.
template <class S>
constexpr S gap_at(ArtefactKind kind, const S& distance, const S& radius, const S& stylus_radius) {
  switch (kind) {
    case ArtefactKind::ball:
    case ArtefactKind::pin: return distance - (radius + stylus_radius);
    case ArtefactKind::bore: return (radius - stylus_radius) - distance;
    case ArtefactKind::flat: return distance - stylus_radius;
  }
  return S(0);
}

template <class S>
S gap(ArtefactKind kind, const Place<S>& place, const S& stylus_radius,
      const Vec3<S>& stylus_in_carried) {
  const S distance = standing(kind, place, stylus_in_carried).distance;
  return gap_at(kind, distance, place.radius, stylus_radius);
}

/// Unit vector, carried frame, along which the gap grows fastest: the outward surface normal.
template <class S>
Vec3<S> outward_normal(ArtefactKind kind, const Place<S>& place, const Vec3<S>& stylus_in_carried) {
  const Vec3<S> away = standing(kind, place, stylus_in_carried).away;
  return kind == ArtefactKind::bore ? -away : away;
}

/// Gap, outward normal (= derivative by the stylus centre) and derivatives by the artefact.
template <class S>
struct Surface {
  S gap = S(0);
  Vec3<S> outward;  ///< the derivative by the point of the artefact is its opposite
  Vec3<S> by_direction;
  S by_radius = S(0);  ///< by the radius of the artefact
  S by_stylus_radius = S(-1);
};

template <class S>
Surface<S> surface(ArtefactKind kind, const Place<S>& place, const S& stylus_radius,
                   const Vec3<S>& stylus_in_carried) {
  const Standing<S> at = standing(kind, place, stylus_in_carried);
  const Vec3<S> arm = stylus_in_carried - place.point;
  Surface<S> result;
  result.gap = gap_at(kind, at.distance, place.radius, stylus_radius);
  result.outward = kind == ArtefactKind::bore ? -at.away : at.away;
  if (kind != ArtefactKind::flat) result.by_radius = S(kind == ArtefactKind::bore ? 1 : -1);
  if (kind == ArtefactKind::flat) {
    result.by_direction = arm;
  } else if (kind != ArtefactKind::ball) {
    result.by_direction = -(dot(place.direction, arm) * result.outward);
  }
  return result;
}

}  // namespace pivotrace::contact
