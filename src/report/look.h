// One look for every figure and page: colours by meaning, in two themes, as CSS.
#pragma once

#include <array>
#include <string>
#include <string_view>

namespace pivotrace::report {

/// A meaning and its colour on light and on dark paper. No colour carries a meaning alone: each look
/// has its line, mark or label too.
struct Colour {
  std::string_view name;
  std::string_view light;
  std::string_view dark;
};

inline constexpr std::array<Colour, 17> colours = {{
    {"paper", "#fcfbf8", "#171a1f"},
    {"ink", "#20242b", "#e9e6df"},
    {"quiet", "#5d636c", "#a5abb4"},  ///< words that explain
    {"rule", "#cfccc4", "#3d434c"},   ///< rules and grids
    {"axis", "#00697a", "#4fb3c4"},
    {"artefact", "#383780", "#9a99e6"},
    {"probe", "#6c727b", "#9aa1ab"},
    {"touch", "#da7e1e", "#f0a04b"},
    {"band", "#a0d1ba", "#3f7f66"},  ///< U95
    {"limit", "#960157", "#e46fae"},
    {"body", "#dddad3", "#363b43"},  ///< what an axis carries: the innermost, and what carries it
    {"body-next", "#c4c1b9", "#4a515b"},
    {"level-0", "#eef4f3", "#1d2a2d"},  ///< amounts, in five steps of one hue
    {"level-1", "#cfe3e2", "#1f4148"},
    {"level-2", "#9fc8cb", "#245763"},
    {"level-3", "#62aab4", "#2c6a78"},
    {"level-4", "#00697a", "#8ed6e2"},
}};

/// The colour of this name, "#rrggbb"; the name must be one of `colours`.
std::string_view colour_of(std::string_view name, bool dark);

/// Contrast of two colours "#rrggbb" (1 to 21). Source: W3C, Web Content Accessibility Guidelines
/// 2.1, "contrast ratio" and "relative luminance" (constants from memory).
double contrast(std::string_view first, std::string_view second);

/// Custom properties --ink and so on for both themes, and the looks of shapes in figures.
std::string figure_css();

}  // namespace pivotrace::report
