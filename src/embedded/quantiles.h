// Limits of Student's t and Fisher's F without a mathematics library but the square root.
#pragma once

#include "embedded/build.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

/// Standard normal deviate of 0.975.
constexpr real normal_975 = real(1.9599639845400542);
/// Standard normal deviate of 0.999.
constexpr real normal_999 = real(3.0902323061678132);

/// Normal deviate exceeded with probability 0.005 / tests; up to 4096 tests within 0.01, up to 131072 no more
/// than 0.1 too large.
real deviate_of_any(int32_t tests);

/// Quantile of Student's t at 0.975, from 4 degrees of freedom on within 0.05 %: Cornish-Fisher to the
/// fourth order at that deviate, Abramowitz & Stegun 26.7.5. dof = 0: infinite.
real student_975(int32_t dof);

/// Quantile of F(d, dof) at the probability where the normal deviate is z, by the cube-root normal
/// approximation (Paulson 1942, from memory). Within 5 % for d from 2 on, 9 % for d = 1, at tails down to
/// 0.0001. dof = 0: infinite, chi-squared / d.
real fisher_f(real z, real d, real dof);

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
