// The known-angle regression of a turn in its plane as running sums, for any scalar: worked out here,
// or written into a program that a control works out (lengths mm).
//
// With z = x + j y, e = exp(j t), means e_m, z_m over N readings:
//   b = sum conj(e - e_m)(z - z_m) / (N (1 - |e_m|^2)),  c = z_m - b e_m,
// so that z = c + b e. Source: complex straight-line regression, derived here.
#pragma once

namespace pivotrace {

/// The seven sums; also what one reading adds to each of them.
template <class S>
struct PlanarSums {
  S count;    ///< N
  S cosines;  ///< of cos t
  S sines;    ///< of sin t
  S x;
  S y;
  S along;   ///< of x cos t + y sin t: real part of conj(e) z
  S across;  ///< of y cos t - x sin t: imaginary part
};

template <class S>
PlanarSums<S> planar_summands(const S& cosine, const S& sine, const S& x, const S& y) {
  return {S(1.0), cosine, sine, x, y, x * cosine + y * sine, y * cosine - x * sine};
}

/// What is worked out from the sums, in this order.
enum class PlanarPart { spread, arm_x, arm_y, centre_x, centre_y };

template <class S>
struct PlanarSolution {
  S spread;              ///< N (1 - |e_m|^2): nothing follows when it is 0
  S arm_x, arm_y;        ///< b: position less centre at t = 0
  S centre_x, centre_y;  ///< c
};

/// `keep(part, value)` returns what the next part is to be made of: the value, or a name for it.
template <class S, class Keep>
PlanarSolution<S> planar_solution(const PlanarSums<S>& s, Keep keep) {
  PlanarSolution<S> r;
  const S& n = s.count;
  r.spread = keep(PlanarPart::spread, n - (s.cosines * s.cosines + s.sines * s.sines) / n);
  r.arm_x = keep(PlanarPart::arm_x, (s.along - (s.x * s.cosines + s.y * s.sines) / n) / r.spread);
  r.arm_y = keep(PlanarPart::arm_y, (s.across - (s.y * s.cosines - s.x * s.sines) / n) / r.spread);
  r.centre_x = keep(PlanarPart::centre_x, (s.x - r.arm_x * s.cosines + r.arm_y * s.sines) / n);
  r.centre_y = keep(PlanarPart::centre_y, (s.y - r.arm_y * s.cosines - r.arm_x * s.sines) / n);
  return r;
}

}  // namespace pivotrace
