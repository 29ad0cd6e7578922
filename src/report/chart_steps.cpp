// Steps on a part between features cut at two index positions.
#include <algorithm>
#include <array>
#include <cmath>
#include <string_view>

#include "report/charts.h"

namespace pivotrace::report {

namespace {

constexpr double names_right = 176.0;
constexpr double grid_left = 186.0;
constexpr double widest_cell = 56.0;
constexpr double head = 34.0;

double largest_step(const StepMap& map) {
  double largest = 0.0;
  for (const std::vector<double>& row : map.steps) {
    for (const double step : row) largest = std::max(largest, step);
  }
  return largest;
}

/// Fifths of the largest, darkest last.
std::size_t level_of(double step, double largest) {
  if (!(largest > 0.0)) return 0;
  return std::min<std::size_t>(4, static_cast<std::size_t>(5.0 * step / largest));
}

}  // namespace

std::pair<std::size_t, std::size_t> worst_cell(const StepMap& map) {
  /// Steps that differ by less than this share of themselves are one: far above round-off.
  constexpr double tie_share = 1e-9;
  std::pair<std::size_t, std::size_t> worst = {0, 0};
  for (std::size_t row = 0; row < map.steps.size(); ++row) {
    for (std::size_t column = 0; column < map.steps[row].size(); ++column) {
      const double so_far = map.steps[worst.first][worst.second];
      if (map.steps[row][column] > so_far * (1.0 + tie_share)) worst = {row, column};
    }
  }
  return worst;
}

Svg step_map(const StepMap& map) {
  constexpr std::array<std::string_view, 5> looks = {"level-0", "level-1", "level-2", "level-3",
                                                     "level-4"};
  const std::size_t count = map.positions.size();
  const double cell =
      std::min(widest_cell, (figure_width - grid_left - 4.0) / static_cast<double>(count));
  const double largest = largest_step(map);
  const double size = cell >= 44.0 ? label_size : small_label_size;
  Svg svg(figure_width, head + cell * static_cast<double>(count) + 8.0);
  const auto at = [&](std::size_t i) { return static_cast<double>(i) * cell; };
  const auto [worst_row, worst_column] = worst_cell(map);
  for (std::size_t row = 0; row < count; ++row) {
    const std::string number = std::to_string(row + 1);
    svg.label({grid_left + at(row) + 0.5 * cell, head - 10.0}, number, Anchor::middle, "quiet");
    svg.label({names_right, head + at(row) + 0.5 * cell + 5.5}, number + ":  " + map.positions[row],
              Anchor::end);
    for (std::size_t column = 0; column < count; ++column) {
      const double step = map.steps[row][column];
      const std::size_t level = row == column ? 0 : level_of(step, largest);
      const Box box = {grid_left + at(column), head + at(row), grid_left + at(column) + cell,
                       head + at(row) + cell};
      svg.rect(box, looks[level]);
      if (row == column) continue;
      svg.label({0.5 * (box.left + box.right), 0.5 * (box.top + box.bottom) + 0.35 * size},
                shown(step, map.decimals), Anchor::middle, level >= 4 ? "on-dark" : "", size);
    }
  }
  if (worst_row != worst_column) {
    const double left = grid_left + at(worst_column);
    const double top = head + at(worst_row);
    svg.rect({left + 1.5, top + 1.5, left + cell - 1.5, top + cell - 1.5}, "worst");
  }
  return svg;
}

}  // namespace pivotrace::report
