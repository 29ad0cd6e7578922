#include "embedded/quantiles.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

// A cubic in the binary logarithm of the number of tests, between powers of two taken along the chord: what
// the exponent and the significand of a float say when they are read as one whole number.
real deviate_of_any(int32_t tests) {
  const auto number = static_cast<float>(tests);
  int32_t bits;
  __builtin_memcpy(&bits, &number, sizeof(bits));
  const real k = real(bits - 0x3F800000) * real(1.0 / 8388608.0);
  return real(2.58554) + k * (real(0.23707) + k * (real(-0.0072539) + k * real(0.00019493)));
}

// z (1 + (z^2 + 1) / (4 n) + ...) for z = 1.96.
real student_975(int32_t dof) {
  if (dof <= 0) return normal_975;
  const real n = real(1) / real(dof);
  return normal_975 +
         n * (real(2.37227) + n * (real(2.8224) + n * (real(2.5559) + n * real(1.5895))));
}

// With a = 2 / (9 d), b = 2 / (9 dof) the cube root y of F satisfies
//   ((1 - b) y - (1 - a)) = z sqrt(b y^2 + a).
real fisher_f(real z, real d, real dof) {
  const real a = real(2) / (real(9) * d);
  const real b = dof > real(0) ? real(2) / (real(9) * dof) : real(0);
  const real p = real(1) - a;
  const real q = real(1) - b;
  const real bottom = q * q - b * z * z;
  // So few degrees of freedom that no value is beyond chance.
  if (!(bottom > real(0.01))) return real(1000);
  const real root = contact::square_root(larger(q * q * a + p * p * b - a * b * z * z, real(0)));
  const real y = (p * q + z * root) / bottom;
  return y * y * y;
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
