// Small systematic effects on a touch, by name: common to all touches of a survey, or solved for.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace pivotrace {

enum class EffectKind {
  stylus_offset,  ///< index 0..2: stylus centre off the spindle axis in X, Y, Z; X, Y turn with the spindle
  scale,          ///< index 0..2: X, Y, Z slide longer than shown by this fraction
  squareness,  ///< index 0..2: XY, YZ, ZX out of square by this angle
  drift,       ///< index 0..2: X, Y, Z creep per hour
  lobing,      ///< index 0, 1: cosine and sine part of a three-lobed trigger
  reversal,  ///< index = rotary axis: half the gap between reaching an angle upwards and downwards
  creep,     ///< index 0..2: X, Y, Z creep over the whole survey, zero at its mean time
  bow,       ///< index 3 k + r: slide k leaves the line towards r by ((x - middle) / 150 mm)^2
  index_wave,      ///< index 4 axis + j: cosine, sine once per turn, cosine, sine twice per turn
  indicator_zero,  ///< index = setting: the tip stands further out along its direction than zero says
  other_stylus,  ///< index 5 (stylus - 1) + j: from the first stylus ball to this one, j = 0..2 X, Y, Z with the spindle at rest, 3, 4 what of X and Y turns with it
};

/// One effect with amplitude beta: shifts of the shown position, of the stylus arm, of the angles
/// and of the trigger gap, all linear in beta.
struct Effect {
  EffectKind kind = EffectKind::stylus_offset;
  int index = 0;

  bool operator==(const Effect&) const = default;
};

/// An effect as a result names it: a rotary axis by its letter instead of its place in the machine.
struct EffectName {
  EffectKind kind = EffectKind::stylus_offset;
  int index = 0;     ///< as in Effect; 0 for a reversal, 0..3 for an index wave
  char axis = '\0';  ///< reversal, index wave: letter of the rotary axis, else '\0'

  bool operator==(const EffectName&) const = default;
};

enum class EffectUnit { mm, mm_per_hour, rad, mm_per_mm };
EffectUnit effect_unit(EffectKind kind);

/// "drift", "stylus offset", ...
const char* effect_word(EffectKind kind);
/// What of it: "X" of a drift, "XY" of a squareness, "cosine" of a lobing, "A" of a reversal.
std::string effect_part(const EffectName& name);
/// "drift.X", "stylus offset.Y", "reversal.A", as in result files.
std::string text_of(const EffectName& name);
/// Surveys with more settings of an indicator, or more styluses, are refused where they are read.
inline constexpr int most_settings = 8;
inline constexpr int most_styluses = 4;

/// Every effect a result can name.
const std::vector<EffectName>& every_effect();
/// The way back from a result file; absent when the text names no effect.
std::optional<EffectName> effect_named(std::string_view text);

}  // namespace pivotrace
