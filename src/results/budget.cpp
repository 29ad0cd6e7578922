#include "pivotrace/results/budget.h"

namespace pivotrace {

namespace {

constexpr SourceKind plain_sources[] = {SourceKind::touch_noise, SourceKind::ball_form,
                                        SourceKind::station, SourceKind::diameters,
                                        SourceKind::stated_artefact};

}  // namespace

bool is_random(const BudgetSource& source) {
  return source.kind == SourceKind::touch_noise || source.kind == SourceKind::station ||
         source.kind == SourceKind::index;
}

std::string text_of(const BudgetSource& source) {
  switch (source.kind) {
    case SourceKind::touch_noise: return "touch noise";
    case SourceKind::ball_form: return "ball form";
    case SourceKind::station: return "station (linear axes)";
    case SourceKind::index: return std::string("index ") + source.axis;
    case SourceKind::index_repeat: return std::string("index repeat ") + source.axis;
    case SourceKind::motion: return std::string("motion ") + source.axis;
    case SourceKind::diameters: return "diameters";
    case SourceKind::stated_artefact: return "stated artefact";
    case SourceKind::effect:
      return std::string(effect_word(source.effect.kind)) + " " + effect_part(source.effect);
  }
  return "";
}

std::optional<BudgetSource> budget_source_named(std::string_view text) {
  const auto matches = [&](const BudgetSource& source) { return text_of(source) == text; };
  for (const SourceKind kind : plain_sources) {
    if (const BudgetSource source{kind, '\0', {}}; matches(source)) return source;
  }
  for (char axis = 'A'; axis <= 'Z'; ++axis) {
    for (const SourceKind kind :
         {SourceKind::index, SourceKind::index_repeat, SourceKind::motion}) {
      if (const BudgetSource source{kind, axis, {}}; matches(source)) return source;
    }
  }
  for (const EffectName& effect : every_effect()) {
    if (const BudgetSource source{SourceKind::effect, '\0', effect}; matches(source)) return source;
  }
  return std::nullopt;
}

}  // namespace pivotrace
