// What an adjustment solves for, by name.
#pragma once

#include <optional>
#include <string>

#include "pivotrace/machine/machine.h"
#include "pivotrace/results/effect.h"

namespace pivotrace {

enum class UnknownKind {
  centre,    ///< of the line of an axis, a pin or a bore: one coordinate of its point [mm]
  lean,      ///< of an axis, a pin, a bore or a flat: tangent of its tilt towards a direction
  position,  ///< of a ball: one coordinate [mm]
  height,    ///< of a flat, along its normal [mm]
  effective_radius,  ///< of an artefact with the stylus [mm]
  effect,            ///< amplitude of a systematic effect
};

/// Whose, what, and in which direction.
struct Unknown {
  UnknownKind kind = UnknownKind::centre;
  char axis = '\0';                     ///< letter of the rotary axis it belongs to, else '\0'
  std::string artefact;                 ///< name of the artefact it belongs to, else empty
  std::optional<LinearAxis> direction;  ///< nearest machine axis; absent where the kind has none
  EffectName effect;                    ///< for UnknownKind::effect

  bool operator==(const Unknown&) const = default;
};

/// "A.centre.Y", "ball.position.X", "drift.X": for lists and messages of tests.
std::string text_of(const Unknown& unknown);

}  // namespace pivotrace
