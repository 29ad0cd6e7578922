// Where there is no floating-point unit: the compiler calls these names for / - < and the like. Weak: a
// program that brings its own keeps its own.
#include "embedded/soft_float.h"

#include "pivotrace/embedded/core.h"

#if !PIVOTRACE_DOUBLE && defined(__arm__) && !defined(__ARM_FP)

using namespace pivotrace::soft_float;

// With whole numbers in place of floats: they travel in the same registers.
#define PIVOTRACE_FOR_COMPILER extern "C" __attribute__((weak))

namespace {

[[gnu::noinline]] int32_t compared(uint32_t a, uint32_t b) { return order(a, b); }

}  // namespace

extern "C" uint32_t __aeabi_fadd(uint32_t a, uint32_t b);

// a - b = a + (-b), exactly: the compiler's own function for it is a second addition of 0.8 kB.
PIVOTRACE_FOR_COMPILER uint32_t __aeabi_fsub(uint32_t a, uint32_t b) {
  return __aeabi_fadd(a, b ^ sign_bit);
}

PIVOTRACE_FOR_COMPILER uint32_t __aeabi_fdiv(uint32_t a, uint32_t b) { return quotient(a, b); }
PIVOTRACE_FOR_COMPILER uint32_t __aeabi_i2f(int32_t whole) { return of_whole(whole); }

PIVOTRACE_FOR_COMPILER int32_t __aeabi_fcmpeq(uint32_t a, uint32_t b) {
  return compared(a, b) == 0 ? 1 : 0;
}
PIVOTRACE_FOR_COMPILER int32_t __aeabi_fcmplt(uint32_t a, uint32_t b) {
  return compared(a, b) < 0 ? 1 : 0;
}
PIVOTRACE_FOR_COMPILER int32_t __aeabi_fcmple(uint32_t a, uint32_t b) {
  return compared(a, b) <= 0 ? 1 : 0;
}
PIVOTRACE_FOR_COMPILER int32_t __aeabi_fcmpge(uint32_t a, uint32_t b) {
  return compared(b, a) <= 0 ? 1 : 0;
}
PIVOTRACE_FOR_COMPILER int32_t __aeabi_fcmpgt(uint32_t a, uint32_t b) {
  return compared(b, a) < 0 ? 1 : 0;
}
PIVOTRACE_FOR_COMPILER int32_t __aeabi_fcmpun(uint32_t a, uint32_t b) {
  return compared(a, b) == unordered ? 1 : 0;
}

#endif
