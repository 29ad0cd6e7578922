#include "pivotrace/results/effect.h"

#include <map>

namespace pivotrace {

const std::vector<EffectName>& every_effect() {
  static const std::vector<EffectName> effects = [] {
    std::vector<EffectName> all;
    for (const EffectKind kind : {EffectKind::stylus_offset, EffectKind::scale,
                                  EffectKind::squareness, EffectKind::drift}) {
      for (int k = 0; k < 3; ++k) all.push_back({kind, k});
    }
    for (int k = 0; k < 2; ++k) all.push_back({EffectKind::lobing, k});
    for (char axis = 'A'; axis <= 'Z'; ++axis) all.push_back({EffectKind::reversal, 0, axis});
    for (int k = 0; k < 3; ++k) all.push_back({EffectKind::creep, k});
    for (int k = 0; k < 9; ++k) all.push_back({EffectKind::bow, k});
    for (char axis = 'A'; axis <= 'Z'; ++axis) {
      for (int k = 0; k < 4; ++k) all.push_back({EffectKind::index_wave, k, axis});
    }
    for (int k = 0; k < most_settings; ++k) all.push_back({EffectKind::indicator_zero, k});
    for (int k = 0; k < 5 * (most_styluses - 1); ++k) all.push_back({EffectKind::other_stylus, k});
    return all;
  }();
  return effects;
}

EffectUnit effect_unit(EffectKind kind) {
  switch (kind) {
    case EffectKind::stylus_offset:
    case EffectKind::creep:
    case EffectKind::bow:
    case EffectKind::indicator_zero:
    case EffectKind::other_stylus:
    case EffectKind::lobing: return EffectUnit::mm;
    case EffectKind::drift: return EffectUnit::mm_per_hour;
    case EffectKind::squareness:
    case EffectKind::index_wave:
    case EffectKind::reversal: return EffectUnit::rad;
    case EffectKind::scale: return EffectUnit::mm_per_mm;
  }
  return EffectUnit::mm;
}

const char* effect_word(EffectKind kind) {
  switch (kind) {
    case EffectKind::stylus_offset: return "stylus offset";
    case EffectKind::scale: return "scale";
    case EffectKind::squareness: return "squareness";
    case EffectKind::drift: return "drift";
    case EffectKind::lobing: return "lobing";
    case EffectKind::reversal: return "reversal";
    case EffectKind::creep: return "creep";
    case EffectKind::bow: return "bow";
    case EffectKind::index_wave: return "index wave";
    case EffectKind::indicator_zero: return "indicator zero";
    case EffectKind::other_stylus: return "stylus";
  }
  return "";
}

std::string effect_part(const EffectName& name) {
  constexpr const char* axes[3] = {"X", "Y", "Z"};
  constexpr const char* planes[3] = {"XY", "YZ", "ZX"};
  constexpr const char* parts[2] = {"cosine", "sine"};
  constexpr const char* of_stylus[5] = {"X", "Y", "Z", "run-out X", "run-out Y"};
  constexpr const char* waves[4] = {"1 cosine", "1 sine", "2 cosine", "2 sine"};
  switch (name.kind) {
    case EffectKind::squareness: return planes[name.index];
    case EffectKind::lobing: return parts[name.index];
    case EffectKind::reversal: return std::string(1, name.axis);
    case EffectKind::bow: return std::string(axes[name.index / 3]) + axes[name.index % 3];
    case EffectKind::index_wave: return std::string(1, name.axis) + waves[name.index];
    case EffectKind::indicator_zero: return std::to_string(name.index + 1);
    case EffectKind::other_stylus:
      return std::to_string(name.index / 5 + 2) + " " + of_stylus[name.index % 5];
    default: return axes[name.index];
  }
}

std::string text_of(const EffectName& name) {
  return std::string(effect_word(name.kind)) + "." + effect_part(name);
}

std::optional<EffectName> effect_named(std::string_view text) {
  static const std::map<std::string, EffectName, std::less<>> by_text = [] {
    std::map<std::string, EffectName, std::less<>> all;
    for (const EffectName& name : every_effect()) all.emplace(text_of(name), name);
    return all;
  }();
  const auto found = by_text.find(text);
  if (found == by_text.end()) return std::nullopt;
  return found->second;
}

}  // namespace pivotrace
