// Derivatives of one gap by everything it depends on, in closed form.
//
// The gradient g of the gap by the stylus centre is pulled back through the chain, one turn after
// the other. A turn takes a point p to p' = c + Q (p - c); with v = p - c and h = Q' g:
//   by p:  h          by c:  g - h          by the command:  s u . (v x h)
//   by u:  s sin t (v x g) + (1 - cos t) ((u . v) g + (u . g) v)
// where s is the sense in which Q turns for a positive command (Rodrigues' formula differentiated,
// derived here). Derivatives by u and c are by all three components: whoever knows how a line may
// move multiplies by that.
#pragma once

#include "pivotrace/contact/chain.h"
#include "pivotrace/contact/gap.h"

namespace pivotrace::contact {

/// A stylus centre on its way into the carried frame.
template <class S, int most = max_rotary_axes>
struct Journey {
  Vec3<S> spoke[most];  ///< seen from the line of each axis, before it turned
  Vec3<S> stylus_in_carried;
};

template <class S, int most>
constexpr Journey<S, most> travel(const Chain<S, most>& chain, int last,
                                  const Reading<S>& reading) {
  Journey<S, most> journey;
  Vec3<S> p = spindle_turned(reading.stylus_offset, reading.flip);
  const auto pass = [&](int k, Way way) {
    const Axis<S>& axis = chain.axes[k];
    journey.spoke[k] = p - axis.point;
    p = axis.point + turned(axis, way, journey.spoke[k]);
  };
  for (int k = chain.count - 1; k >= 0; --k) {
    if (chain.axes[k].tool_side) pass(k, Way::with_body);
  }
  p = p + reading.shown;
  for (int k = 0; k <= last; ++k) {
    if (!chain.axes[k].tool_side) pass(k, Way::back_to_zero);
  }
  journey.stylus_in_carried = p;
  return journey;
}

/// Derivatives of g . p, p = stylus centre in the carried frame. 0 for axes it does not pass.
template <class S, int most = max_rotary_axes>
struct ChainGradient {
  Vec3<S> by_shown;   ///< g in the machine frame
  Vec3<S> by_offset;  ///< g in the frame of the spindle as it stands unflipped at rotary 0
  Vec3<S> by_axis_point[most];
  Vec3<S> by_axis_direction[most];
  S by_angle[most] = {};  ///< by the commanded angle [mm/rad]
};

/// Pulls the gradient `g` back through one axis; returns what is left in front of it.
template <class S, int most>
constexpr Vec3<S> pulled_through(const Axis<S>& axis, Way way, const Vec3<S>& spoke,
                                 const Vec3<S>& g, int k, ChainGradient<S, most>& gradient) {
  const Way opposite = way == Way::with_body ? Way::back_to_zero : Way::with_body;
  const Vec3<S> before = turned(axis, opposite, g);
  const S sense = way == Way::with_body ? axis.sense : -axis.sense;
  const Vec3<S>& u = axis.direction;
  gradient.by_axis_point[k] = g - before;
  gradient.by_axis_direction[k] = (sense * axis.sine) * cross(spoke, g) +
                                  (S(1) - axis.cosine) * (dot(u, spoke) * g + dot(u, g) * spoke);
  gradient.by_angle[k] = sense * dot(u, cross(spoke, before));
  return before;
}

template <class S, int most>
constexpr ChainGradient<S, most> pulled_back(const Chain<S, most>& chain, int last,
                                             const Reading<S>& reading,
                                             const Journey<S, most>& journey, const Vec3<S>& g) {
  ChainGradient<S, most> gradient;
  Vec3<S> h = g;
  for (int k = last; k >= 0; --k) {
    if (chain.axes[k].tool_side) continue;
    h = pulled_through(chain.axes[k], Way::back_to_zero, journey.spoke[k], h, k, gradient);
  }
  gradient.by_shown = h;
  for (int k = 0; k < chain.count; ++k) {
    if (!chain.axes[k].tool_side) continue;
    h = pulled_through(chain.axes[k], Way::with_body, journey.spoke[k], h, k, gradient);
  }
  gradient.by_offset = spindle_turned(h, reading.flip);
  return gradient;
}

/// One gap with its derivatives by the chain and by the artefact.
template <class S, int most = max_rotary_axes>
struct GapGradient {
  Surface<S> surface;
  ChainGradient<S, most> chain;
};

template <class S, int most>
GapGradient<S, most> gap_gradient(const Chain<S, most>& chain, int last, const Reading<S>& reading,
                                  ArtefactKind kind, const Place<S>& place,
                                  const S& stylus_radius) {
  const Journey<S, most> journey = travel(chain, last, reading);
  GapGradient<S, most> result;
  result.surface = surface(kind, place, stylus_radius, journey.stylus_in_carried);
  result.chain = pulled_back(chain, last, reading, journey, result.surface.outward);
  return result;
}

/// The gap alone.
template <class S, int most>
S gap_of(const Chain<S, most>& chain, int last, const Reading<S>& reading, ArtefactKind kind,
         const Place<S>& place, const S& stylus_radius) {
  return gap(kind, place, stylus_radius, stylus_in_carried(chain, last, reading));
}

}  // namespace pivotrace::contact
