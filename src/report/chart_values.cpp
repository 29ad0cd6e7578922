// Values beside zero, and values between their limits.
#include <algorithm>
#include <array>
#include <cmath>

#include "report/charts.h"

namespace pivotrace::report {

namespace {

constexpr double row_height = 34.0;
constexpr double names_right = 190.0;
constexpr double plot_left = 206.0;
constexpr double plot_right = 500.0;
constexpr double numbers_left = 514.0;
constexpr double bar_half = 7.0;
constexpr double plus_minus_gap = 6.0;

void u95_bar(Svg& svg, double from, double to, double y) {
  svg.rect({from, y - bar_half, to, y + bar_half}, "band");
  svg.line({from, y - bar_half - 3.0}, {from, y + bar_half + 3.0}, "tick");
  svg.line({to, y - bar_half - 3.0}, {to, y + bar_half + 3.0}, "tick");
}

/// A name too long for its column is cut, with dots to say so.
std::string fitting(const std::string& text, double width) {
  if (text_width(text) <= width) return text;
  std::string cut = text;
  while (!cut.empty() && text_width(cut + "...") > width) cut.pop_back();
  return cut + "...";
}

double largest_reach(const std::vector<ValueRow>& rows) {
  double reach = 0.0;
  for (const ValueRow& row : rows) reach = std::max(reach, std::abs(row.value) + row.U95);
  return reach > 0.0 ? reach : 1.0;
}

}  // namespace

Svg value_chart(const ValueChart& chart) {
  const double foot = 40.0;
  Svg svg(figure_width, 12.0 + row_height * static_cast<double>(chart.rows.size()) + foot);
  const double reach = nice_ceiling(largest_reach(chart.rows));
  const double middle = 0.5 * (plot_left + plot_right);
  const double scale = 0.5 * (plot_right - plot_left) / reach;
  const double bottom = 12.0 + row_height * static_cast<double>(chart.rows.size());
  for (const double at : {-reach, -0.5 * reach, 0.5 * reach, reach}) {
    svg.line({middle + scale * at, 6.0}, {middle + scale * at, bottom}, "grid");
  }
  svg.line({middle, 6.0}, {middle, bottom + 6.0}, "zero");
  const int tick_decimals = decimals_for(reach, 4) > 0 ? decimals_for(reach, 4) - 1 : 0;
  svg.label({plot_left, bottom + 24.0}, shown_signed(-reach, tick_decimals), Anchor::middle,
            "quiet");
  svg.label({middle, bottom + 24.0}, "0", Anchor::middle, "quiet");
  svg.label({plot_right, bottom + 24.0}, shown_signed(reach, tick_decimals), Anchor::middle,
            "quiet");
  svg.label({figure_width - 4.0, bottom + 24.0}, chart.unit, Anchor::end, "quiet");
  double y = 12.0 + 0.5 * row_height;
  for (const ValueRow& row : chart.rows) {
    const int decimals = decimals_for(row.U95, 2);
    svg.label({names_right, y + 5.5}, fitting(row.name, names_right - 4.0), Anchor::end);
    u95_bar(svg, middle + scale * (row.value - row.U95), middle + scale * (row.value + row.U95), y);
    svg.circle({middle + scale * row.value, y}, 4.5, "axis-dot");
    svg.label({numbers_left + 76.0, y + 5.5}, shown_signed(row.value, decimals), Anchor::end);
    svg.label({numbers_left + 76.0 + plus_minus_gap, y + 5.5},
              "\xC2\xB1 " + shown(row.U95, decimals));
    y += row_height;
  }
  return svg;
}

namespace {

constexpr double zone_left = 250.0;
constexpr double zone_right = 396.0;
constexpr double line_right = 440.0;
constexpr double words_left = 456.0;

/// Where a value stands when its limits stand at the ends of the zone.
class LimitScale {
 public:
  explicit LimitScale(const LimitRow& row) {
    const double known = row.high.value_or(row.low.value_or(0.0));
    const double reach =
        std::max({std::abs(known), std::abs(known - row.value) + 2.0 * row.U95, 1e-12});
    low_ = row.low.value_or(known - reach);
    high_ = row.high.value_or(known + reach);
  }
  double at(double value) const {
    const double x = zone_left + (zone_right - zone_left) * (value - low_) / (high_ - low_);
    return std::clamp(x, plot_left, line_right);
  }
  bool beyond(double value) const { return value < low_ - margin() || value > high_ + margin(); }

 private:
  double margin() const {
    return (high_ - low_) * (zone_left - plot_left) / (zone_right - zone_left);
  }
  double low_ = 0.0;
  double high_ = 1.0;
};

void limit_marks(Svg& svg, const LimitRow& row, const LimitScale& scale, double y) {
  const std::array<std::optional<double>, 2> limits = {row.low, row.high};
  for (const std::optional<double>& limit : limits) {
    if (!limit) continue;
    const bool is_high = &limit == &limits[1];
    const double x = scale.at(*limit);
    svg.line({x, y - 16.0}, {x, y + 16.0}, "limit");
    svg.label({x, y + 31.0}, shown(*limit, row.decimals), Anchor::middle, "limit-word");
    const double inner = scale.at(is_high ? *limit - row.guard : *limit + row.guard);
    svg.line({inner, y - 9.0}, {inner, y + 9.0}, "grid");
    svg.line({x, y}, {inner, y}, "grid");
  }
}

}  // namespace

Svg limit_chart(const std::vector<LimitRow>& rows) {
  constexpr double height = 62.0;
  Svg svg(figure_width, 10.0 + height * static_cast<double>(rows.size()));
  double y = 26.0;
  for (const LimitRow& row : rows) {
    const LimitScale scale(row);
    svg.label({names_right, y + 5.5}, fitting(row.name, names_right - 4.0), Anchor::end);
    svg.label({names_right, y + 26.0}, row.unit, Anchor::end, "quiet", small_label_size);
    svg.line({plot_left, y}, {line_right, y}, "grid");
    limit_marks(svg, row, scale, y);
    if (scale.beyond(row.value)) {
      const double x = scale.at(row.value);
      const double back = x > zone_left ? -10.0 : 10.0;
      svg.polygon({{x, y}, {x + back, y - 8.0}, {x + back, y + 8.0}}, "axis-dot");
    } else {
      u95_bar(svg, scale.at(row.value - row.U95), scale.at(row.value + row.U95), y);
      svg.circle({scale.at(row.value), y}, 4.5, "axis-dot");
    }
    svg.label({words_left, y - 1.0},
              shown(row.value, row.decimals) + " \xC2\xB1 " + shown(row.U95, row.decimals));
    svg.label({words_left, y + 19.0}, row.verdict, Anchor::start, "strong");
    y += height;
  }
  return svg;
}

}  // namespace pivotrace::report
