#include "report/look.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>

namespace pivotrace::report {

namespace {

double channel(std::string_view colour, std::size_t at) {
  int value = 0;
  std::from_chars(colour.data() + at, colour.data() + at + 2, value, 16);
  const double share = value / 255.0;
  return share <= 0.03928 ? share / 12.92 : std::pow((share + 0.055) / 1.055, 2.4);
}

double luminance(std::string_view colour) {
  return 0.2126 * channel(colour, 1) + 0.7152 * channel(colour, 3) + 0.0722 * channel(colour, 5);
}

std::string properties(bool dark) {
  std::string css;
  for (const Colour& colour : colours) {
    css += fmt::format("--{}:{};", colour.name, dark ? colour.dark : colour.light);
  }
  return css;
}

constexpr const char* shapes_css = R"css(
.fig{font-family:system-ui,"Segoe UI","DejaVu Sans",sans-serif;font-variant-numeric:tabular-nums;color:var(--ink)}
.fig text{fill:var(--ink);stroke:none}
.fig text.halo{paint-order:stroke;stroke:var(--paper);stroke-width:4px;stroke-linejoin:round}
.fig .quiet{fill:var(--quiet)}
.fig .strong{font-weight:600}
.fig .on-dark{fill:var(--paper)}
.fig .frame{fill:none;stroke:var(--ink);stroke-width:1.2}
.fig .heavy{fill:none;stroke:var(--ink);stroke-width:3}
.fig .grid{fill:none;stroke:var(--rule);stroke-width:1}
.fig .zero{fill:none;stroke:var(--ink);stroke-width:1}
.fig .axis{fill:none;stroke:var(--axis);stroke-width:2.4}
.fig .axis-line{fill:none;stroke:var(--axis);stroke-width:2;stroke-dasharray:16 4 3 4}
.fig .axis-old{fill:none;stroke:var(--axis);stroke-width:1;stroke-dasharray:16 4 3 4;opacity:.6}
.fig .axis-dot{fill:var(--axis);stroke:var(--ink);stroke-width:.8}
.fig .artefact{fill:var(--artefact);stroke:var(--ink);stroke-width:.8}
.fig .artefact-pale{fill:var(--artefact);fill-opacity:.2;stroke:var(--artefact);stroke-width:1.6}
.fig .stalk{fill:none;stroke:var(--artefact);stroke-width:1.4}
.fig .touch{fill:var(--touch);stroke:var(--ink);stroke-width:.8}
.fig .left-out{fill:none;stroke:var(--ink);stroke-width:1.4}
.fig .band{fill:var(--band);stroke:var(--ink);stroke-width:.7}
.fig .tick{fill:none;stroke:var(--ink);stroke-width:1.4}
.fig .limit{fill:none;stroke:var(--limit);stroke-width:1.8;stroke-dasharray:7 4}
.fig text.limit-word{fill:var(--limit)}
.fig text.axis-word{fill:var(--axis)}
.fig .body{fill:var(--body);stroke:var(--ink);stroke-width:1}
.fig .body-next{fill:var(--body-next);stroke:var(--ink);stroke-width:1}
.fig .bed{fill:var(--paper);stroke:var(--ink);stroke-width:1}
.fig .hatch{fill:none;stroke:var(--quiet);stroke-width:.8}
.fig .other{fill:none;stroke:var(--artefact);stroke-width:1}
.fig .probe{fill:var(--paper);stroke:var(--probe);stroke-width:1.6}
.fig .probe-other{fill:none;stroke:var(--probe);stroke-width:.8}
.fig .dim{fill:none;stroke:var(--ink);stroke-width:.8}
.fig .leader{fill:none;stroke:var(--quiet);stroke-width:.7}
.fig .turn{fill:none;stroke:var(--axis);stroke-width:2.4}
.fig .turn-head{fill:var(--axis);stroke:none}
.fig .outstanding{fill:var(--limit);fill-opacity:.28;stroke:var(--limit);stroke-width:2.2}
.fig .ring{fill:none;stroke:var(--limit);stroke-width:2.5}
.fig .bar{fill:var(--level-1);stroke:var(--ink);stroke-width:.8}
.fig .bar-next{fill:var(--level-0);stroke:var(--ink);stroke-width:.8}
.fig .level-0{fill:var(--level-0);stroke:var(--paper);stroke-width:1}
.fig .level-1{fill:var(--level-1);stroke:var(--paper);stroke-width:1}
.fig .level-2{fill:var(--level-2);stroke:var(--paper);stroke-width:1}
.fig .level-3{fill:var(--level-3);stroke:var(--paper);stroke-width:1}
.fig .level-4{fill:var(--level-4);stroke:var(--paper);stroke-width:1}
.fig .worst{fill:none;stroke:var(--limit);stroke-width:3}
)css";

}  // namespace

std::string_view colour_of(std::string_view name, bool dark) {
  const auto* found = std::find_if(colours.begin(), colours.end(),
                                   [&](const Colour& colour) { return colour.name == name; });
  return dark ? found->dark : found->light;
}

double contrast(std::string_view first, std::string_view second) {
  const double a = luminance(first) + 0.05;
  const double b = luminance(second) + 0.05;
  return std::max(a, b) / std::min(a, b);
}

std::string figure_css() {
  // Paper is white: a dark screen must not be printed.
  return fmt::format(
      ":root{{color-scheme:light dark;{}}}\n@media screen and (prefers-color-scheme:dark)"
      "{{:root{{{}}}}}{}",
      properties(false), properties(true), shapes_css);
}

}  // namespace pivotrace::report
