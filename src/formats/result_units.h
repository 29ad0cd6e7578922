// Units and words of the result file: how estimates change unit, and how shared terms are named.
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

/// What a shared term is, in the order of SharedTerm::Kind.
inline constexpr const char* term_words[] = {"effect", "artefact radius", "stylus radius",
                                             "index error", "axis motion"};
inline const char* term_word(SharedTerm::Kind kind) { return term_words[static_cast<int>(kind)]; }

inline bool is_of_position(SharedTerm::Kind kind) {
  return kind == SharedTerm::Kind::index_error || kind == SharedTerm::Kind::axis_motion;
}

inline EffectUnit term_unit(const SharedTerm& term) {
  if (term.kind == SharedTerm::Kind::effect) return effect_unit(term.effect.kind);
  return term.kind == SharedTerm::Kind::index_error ? EffectUnit::rad : EffectUnit::mm;
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
