// What every source of this room starts from: the scalar of the build and the formulas in it.
#pragma once

#include "pivotrace/contact/vector.h"
#include "pivotrace/embedded/core.h"

// Builds for float and double, one and two axes stand side by side in one program.
#define PIVOTRACE_EMBEDDED PIVOTRACE_BUILD(embedded)

// Built for size, a short formula that stands in many places is one function. Files built for speed have their
// own by another name: linked together, either kind would get what the other has.
#if defined(__OPTIMIZE_SIZE__)
#define PIVOTRACE_ONE_COPY [[gnu::noinline]]
#define PIVOTRACE_FORMULAS small
#else
#define PIVOTRACE_ONE_COPY [[gnu::always_inline]]
#define PIVOTRACE_FORMULAS fast
#endif

namespace pivotrace::PIVOTRACE_EMBEDDED {

using real = pivotrace_real;
using Three = contact::Vec3<real>;

constexpr int most_axes = PIVOTRACE_AXES;

/// What this build has beyond balls on axes that carry the work.
constexpr bool with_pins = PIVOTRACE_PINS != 0;
constexpr bool with_tool_axes = PIVOTRACE_TOOL_AXES != 0;
constexpr bool with_motion = PIVOTRACE_MOTION != 0;
constexpr bool with_linear_terms = PIVOTRACE_LINEAR_TERMS != 0;

/// Lengths inside are counts of 10 nm: differences of touches within 160 mm are then exact in float.
constexpr real counts_per_mm = real(100000);
constexpr real counts_per_nm = real(0.1);
constexpr real mm_per_count = real(0.00001);
constexpr real rad_per_mas = real(4.8481368110953599e-9);

inline real square(real x) { return x * x; }
inline real magnitude(real x) { return x < real(0) ? -x : x; }
inline real larger(real a, real b) { return a > b ? a : b; }

/// False for infinities and for what is not a number.
inline bool is_number(real x) { return x - x == real(0); }

/// A vector functions hand back through memory: handed back in three registers it takes three instructions
/// at every call to put away. What copies it by code of its own is not handed back in registers.
struct Vector : Three {
  Vector() = default;
  Vector(const Three& v) : Three(v) {}
  Vector(const Vector& v) : Three(v) {}
  Vector& operator=(const Vector& v) = default;
};

inline namespace PIVOTRACE_FORMULAS {

PIVOTRACE_ONE_COPY inline real dot(const Three& a, const Three& b) {
  return a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
}
PIVOTRACE_ONE_COPY inline Vector cross(const Three& a, const Three& b) {
  return contact::cross(a, b);
}
PIVOTRACE_ONE_COPY inline Vector minus(const Three& a, const Three& b) { return a - b; }
PIVOTRACE_ONE_COPY inline Vector scaled(real factor, const Three& v) { return factor * v; }
/// a + factor b
PIVOTRACE_ONE_COPY inline Vector plus(const Three& a, real factor, const Three& b) {
  return a + factor * b;
}
PIVOTRACE_ONE_COPY inline Vector unit(const Three& v) {
  return scaled(real(1) / contact::square_root(dot(v, v)), v);
}

}  // namespace PIVOTRACE_FORMULAS

inline void clear(real* numbers, int count) {
  __builtin_memset(numbers, 0, static_cast<size_t>(count) * sizeof(real));
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
