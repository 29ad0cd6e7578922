// Units of the result file: how estimates change unit.
#pragma once

#include "pivotrace/geometry/angle.h"
#include "pivotrace/results/result.h"

namespace pivotrace::formats {

/// Angles leave as degrees, like everywhere else in the file.
struct WrittenUnit {
  const char* word;
  double per_internal;
};
inline WrittenUnit written_unit(EffectUnit unit) {
  switch (unit) {
    case EffectUnit::mm: return {"mm", 1.0};
    case EffectUnit::mm_per_hour: return {"mm/h", 1.0};
    case EffectUnit::rad: return {"deg", deg_from_rad(1.0)};
    case EffectUnit::mm_per_mm: return {"mm/mm", 1.0};
  }
  return {"", 1.0};
}

/// Value and uncertainties in another unit; the degrees of freedom stay.
inline Estimate scaled(Estimate estimate, double factor) {
  estimate.value *= factor;
  estimate.u *= factor;
  estimate.U95 *= factor;
  estimate.u_absolute *= factor;
  estimate.U95_absolute *= factor;
  estimate.B *= factor;
  estimate.B_absolute *= factor;
  return estimate;
}

}  // namespace pivotrace::formats
