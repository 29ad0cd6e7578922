// One value over time: changes with U95, and the control chart under them.
#include <algorithm>
#include <cmath>

#include "report/charts.h"
#include "report/label_places.h"

namespace pivotrace::report {

namespace {

constexpr Box upper = {72.0, 14.0, figure_width - 12.0, 184.0};
constexpr Box lower = {72.0, 214.0, figure_width - 12.0, 282.0};
constexpr double height = 312.0;
constexpr double bar_half = 4.0;

class HistoryDrawing {
 public:
  HistoryDrawing(Svg& svg, const HistoryChart& chart) : svg_(svg), chart_(chart) {
    for (const HistoryChartPoint& point : chart.points) {
      reach_ = std::max(reach_, std::abs(point.change) + point.U95);
      chart_reach_ = std::max(chart_reach_, std::abs(point.chart));
    }
    for (const double limit : near_limits(reach_)) {
      reach_ = std::max(reach_, 1.05 * std::abs(limit));
    }
    reach_ = nice_ceiling(std::max(reach_, 1e-9));
    chart_reach_ = 1.15 * std::max(chart_reach_, chart.chart_limit);
  }

  void draw() {
    draw_upper_grid();
    draw_lower_grid();
    for (const std::size_t before : chart_.jumps_after) draw_jump(before);
    for (const HistoryChartPoint& point : chart_.points) draw_point(point);
    draw_dates();
  }

 private:
  double x_of(double time) const {
    const double first = chart_.points.front().time;
    const double span = std::max(1e-9, chart_.points.back().time - first);
    return upper.left + 14.0 + (upper.right - upper.left - 28.0) * (time - first) / span;
  }
  double y_of(double change) const {
    return 0.5 * (upper.top + upper.bottom) - 0.5 * (upper.bottom - upper.top) * change / reach_;
  }
  double chart_y(double statistic) const {
    return 0.5 * (lower.top + lower.bottom) -
           0.5 * (lower.bottom - lower.top) * statistic / std::max(chart_reach_, 1e-9);
  }

  void draw_upper_grid() {
    const int decimals = reach_ >= 4.0 ? 0 : 1;
    for (const double share : {-1.0, -0.5, 0.5, 1.0}) {
      const double y = y_of(share * reach_);
      svg_.line({upper.left, y}, {upper.right, y}, "grid");
      svg_.label({upper.left - 8.0, y + 5.0}, shown_signed(share * reach_, decimals), Anchor::end,
                 "quiet");
    }
    svg_.line({upper.left, y_of(0.0)}, {upper.right, y_of(0.0)}, "zero");
    draw_unit();
    for (const double limit : near_limits(reach_)) {
      const double y = y_of(limit);
      svg_.line({upper.left, y}, {upper.right, y}, "limit");
      const double beside = limit > 0.0 ? y - 6.0 : y + 14.0;
      svg_.label({upper.right - 4.0, beside}, "limit", Anchor::end, "limit-word halo",
                 small_label_size);
    }
  }

  /// Beside the zero; "um/300mm" has no room there in one line.
  void draw_unit() {
    const double right = upper.left - 8.0;
    const std::size_t over = chart_.unit.find('/');
    const bool fits = text_width(chart_.unit) <= right || over == std::string::npos;
    const double y = y_of(0.0);
    if (fits) {
      svg_.label({right, y + 5.0}, chart_.unit, Anchor::end, "quiet");
      return;
    }
    svg_.label({right, y - 4.0}, chart_.unit.substr(0, over + 1), Anchor::end, "quiet");
    svg_.label({right, y + 14.0}, chart_.unit.substr(over + 1), Anchor::end, "quiet");
  }

  /// Limits that leave the results large enough to be looked at.
  std::vector<double> near_limits(double reach) const {
    constexpr double far_off = 8.0;
    std::vector<double> near;
    for (const double limit : chart_.limits) {
      if (std::abs(limit) <= far_off * reach) near.push_back(limit);
    }
    return near;
  }

  void draw_lower_grid() {
    svg_.line({lower.left, chart_y(0.0)}, {lower.right, chart_y(0.0)}, "zero");
    for (const double sign : {1.0, -1.0}) {
      const double y = chart_y(sign * chart_.chart_limit);
      svg_.line({lower.left, y}, {lower.right, y}, "limit");
      // Beside points far outside, the limits lie too near the middle for numbers of their own.
      constexpr double room_for_a_number = 18.0;
      if (std::abs(y - chart_y(0.0)) < room_for_a_number) continue;
      svg_.label({lower.left - 8.0, y + 5.0}, shown_signed(sign * chart_.chart_limit, 1),
                 Anchor::end, "quiet");
    }
    svg_.label({lower.left - 8.0, chart_y(0.0) + 5.0}, "chart", Anchor::end, "quiet");
  }

  void draw_jump(std::size_t before) {
    if (before + 1 >= chart_.points.size()) return;
    const double x =
        0.5 * (x_of(chart_.points[before].time) + x_of(chart_.points[before + 1].time));
    svg_.line({x, upper.top}, {x, lower.bottom}, "axis-line");
  }

  void draw_point(const HistoryChartPoint& point) {
    const double x = x_of(point.time);
    const double high = y_of(point.change + point.U95);
    const double low = y_of(point.change - point.U95);
    svg_.rect({x - bar_half, high, x + bar_half, low}, "band");
    svg_.line({x - bar_half - 2.0, high}, {x + bar_half + 2.0, high}, "tick");
    svg_.line({x - bar_half - 2.0, low}, {x + bar_half + 2.0, low}, "tick");
    svg_.circle({x, y_of(point.change)}, 4.0, "axis-dot");
    const Point on_chart = {x, chart_y(point.chart)};
    svg_.line({x, chart_y(0.0)}, on_chart, "stalk");
    if (point.alarm) {
      svg_.circle(on_chart, 6.0, "left-out");
      svg_.cross(on_chart, 4.0, "left-out");
    } else {
      svg_.circle(on_chart, 3.0, "artefact");
    }
  }

  /// As many dates as fit, the first and the last among them.
  void draw_dates() {
    LabelPlaces places(svg_, {0.0, lower.bottom + 8.0, figure_width, height});
    const auto date = [&](const HistoryChartPoint& point) {
      places.put(point.date, {x_of(point.time), lower.bottom + 6.0}, {0.0, 1.0}, "quiet",
                 small_label_size, 4.0);
    };
    date(chart_.points.front());
    if (chart_.points.size() > 1) date(chart_.points.back());
  }

  Svg& svg_;
  const HistoryChart& chart_;
  double reach_ = 0.0;
  double chart_reach_ = 0.0;
};

}  // namespace

Svg history_chart(const HistoryChart& chart) {
  Svg svg(figure_width, height);
  if (!chart.points.empty()) HistoryDrawing(svg, chart).draw();
  return svg;
}

}  // namespace pivotrace::report
