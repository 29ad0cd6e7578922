// What an uncertainty is made of, one bar per value.
#include <algorithm>
#include <cmath>

#include "report/charts.h"

namespace pivotrace::report {

namespace {

constexpr double names_right = 190.0;
constexpr double bar_left = 206.0;
constexpr double bar_right = 676.0;
constexpr double bar_height = 30.0;
constexpr double row_height = 44.0;

std::string percent(double share) { return shown(100.0 * share, 0) + " %"; }

/// The words that fit on a part: its name and share, its share alone, or none.
std::string words_for(const BudgetPart& part, double width) {
  constexpr double margins = 10.0;
  const std::string whole = part.source + " " + percent(part.share);
  if (text_width(whole) + margins <= width) return whole;
  if (text_width(part.source) + margins <= width) return part.source;
  return "";
}

/// The largest first; what has no room for its name is put together at the end.
std::vector<BudgetPart> parts_to_draw(std::vector<BudgetPart> parts) {
  std::stable_sort(parts.begin(), parts.end(),
                   [](const BudgetPart& a, const BudgetPart& b) { return a.share > b.share; });
  std::vector<BudgetPart> drawn;
  double rest = 0.0;
  std::string rest_name;
  for (const BudgetPart& part : parts) {
    if (!words_for(part, part.share * (bar_right - bar_left)).empty()) {
      drawn.push_back(part);
      continue;
    }
    rest += part.share;
    rest_name = rest_name.empty() ? part.source : "rest";
  }
  if (rest >= 0.005) drawn.push_back({rest_name, rest});
  return drawn;
}

}  // namespace

Svg budget_chart(const std::vector<BudgetRow>& rows) {
  Svg svg(figure_width, 6.0 + row_height * static_cast<double>(rows.size()));
  double top = 6.0;
  for (const BudgetRow& row : rows) {
    svg.label({names_right, top + 0.5 * bar_height + 5.5}, row.name, Anchor::end);
    double left = bar_left;
    bool other = false;
    for (const BudgetPart& part : parts_to_draw(row.parts)) {
      const double width = part.share * (bar_right - bar_left);
      svg.rect({left, top, left + width, top + bar_height}, other ? "bar-next" : "bar");
      svg.label({left + 5.0, top + 0.5 * bar_height + 5.5}, words_for(part, width));
      left += width;
      other = !other;
    }
    top += row_height;
  }
  return svg;
}

}  // namespace pivotrace::report
