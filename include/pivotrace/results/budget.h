// Where the variance of a stated value comes from.
#pragma once

#include <limits>
#include <optional>
#include <string>
#include <string_view>

#include "pivotrace/results/effect.h"
#include "pivotrace/results/value_name.h"

namespace pivotrace {

enum class SourceKind {
  touch_noise,
  ball_form,
  station,          ///< how well the linear axes come back
  index,            ///< of one rotary axis, where it comes to rest; repeats
  index_repeat,     ///< of one rotary axis, new at every arrival
  motion,           ///< of one rotary axis against its average line; repeats
  diameters,        ///< of artefacts and stylus, as stated
  stated_artefact,  ///< direction or place of the artefact that tells the zero of an axis, as stated
  effect,           ///< common to all touches
};

struct BudgetSource {
  SourceKind kind = SourceKind::touch_noise;
  char axis = '\0';   ///< index: letter of the rotary axis
  EffectName effect;  ///< effect: which

  bool operator==(const BudgetSource&) const = default;
};

/// Drawn anew at every touch, station or turn: its share falls with more stations.
bool is_random(const BudgetSource& source);

/// "touch noise", "station (linear axes)", "index A", "stylus offset X", ...
std::string text_of(const BudgetSource& source);
/// The way back from a result file; absent when the text names no source.
std::optional<BudgetSource> budget_source_named(std::string_view text);

/// Share of the variance of one value that comes from one source; shares of a value sum to 1.
struct BudgetLine {
  ValueName output;
  BudgetSource source;
  double share = std::numeric_limits<double>::quiet_NaN();
};

}  // namespace pivotrace
