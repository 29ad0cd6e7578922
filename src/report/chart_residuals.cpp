// Touches by station, with the lines beyond which one is suspect.
#include <algorithm>
#include <cmath>

#include "report/charts.h"

namespace pivotrace::report {

namespace {

constexpr double plot_left = 52.0;
constexpr double plot_right = 668.0;
constexpr double plot_top = 16.0;
constexpr double plot_bottom = 256.0;
constexpr double height = 316.0;

/// Beyond this many critical values a touch is drawn at the edge, with an arrow and its number.
constexpr double most_critical_values = 2.0;

class ResidualDrawing {
 public:
  ResidualDrawing(Svg& svg, const ResidualChart& chart) : svg_(svg), chart_(chart) {
    double largest = 1.2 * chart.critical;
    for (const ResidualTouch& touch : chart.touches) largest = std::max(largest, std::abs(touch.w));
    reach_ = std::min(largest * 1.08, most_critical_values * chart.critical);
  }

  void draw() {
    svg_.rect({plot_left, plot_top, plot_right, plot_bottom}, "grid");
    svg_.line({plot_left, y_of(0.0)}, {plot_right, y_of(0.0)}, "zero");
    svg_.label({plot_left - 8.0, y_of(0.0) + 5.5}, "0", Anchor::end, "quiet");
    for (const double limit : {chart_.critical, -chart_.critical}) {
      svg_.line({plot_left, y_of(limit)}, {plot_right, y_of(limit)}, "limit");
      svg_.label({plot_left - 6.0, y_of(limit) + 5.5}, shown_signed(limit, 1), Anchor::end,
                 "limit-word");
    }
    draw_stations();
    for (const ResidualTouch& touch : chart_.touches) draw_touch(touch);
    svg_.label({0.5 * (plot_left + plot_right), height - 10.0}, "station, in the order touched",
               Anchor::middle, "quiet");
  }

 private:
  double y_of(double w) const {
    const double middle = 0.5 * (plot_top + plot_bottom);
    return middle - std::clamp(w / reach_, -1.0, 1.0) * 0.5 * (plot_bottom - plot_top);
  }

  double column() const {
    return (plot_right - plot_left) /
           static_cast<double>(std::max<std::size_t>(1, chart_.stations.size()));
  }

  /// Every station's name, or as many as there is room for.
  void draw_stations() {
    double widest = 0.0;
    for (const std::string& name : chart_.stations) widest = std::max(widest, text_width(name));
    const auto every = static_cast<std::size_t>(std::ceil((widest + 8.0) / column()));
    for (std::size_t i = 0; i < chart_.stations.size(); ++i) {
      const double x = plot_left + column() * static_cast<double>(i);
      if (i > 0) svg_.line({x, plot_top}, {x, plot_bottom}, "grid");
      if (i % every != 0) continue;
      const double half = 0.5 * text_width(chart_.stations[i]);
      const double middle = std::clamp(x + 0.5 * column(), half, figure_width - half);
      svg_.label({middle, plot_bottom + 22.0}, chart_.stations[i], Anchor::middle);
    }
  }

  void draw_touch(const ResidualTouch& touch) {
    const auto count =
        std::count_if(chart_.touches.begin(), chart_.touches.end(),
                      [&](const ResidualTouch& other) { return other.station == touch.station; });
    const int place = placed_[static_cast<std::size_t>(touch.station) % placed_.size()]++;
    const double share = (place + 1.0) / (static_cast<double>(count) + 1.0);
    const Point at = {plot_left + column() * (touch.station + share), y_of(touch.w)};
    if (std::abs(touch.w) > reach_) {
      const double back = touch.w > 0.0 ? 9.0 : -9.0;
      svg_.polygon({at, {at.x - 6.0, at.y + back}, {at.x + 6.0, at.y + back}}, "touch");
    } else if (!touch.left_out) {
      svg_.circle(at, 4.0, "touch");
    }
    if (touch.left_out) {
      svg_.circle(at, 5.0, "left-out");
      svg_.cross(at, 3.5, "left-out");
    }
    name_if_suspect(touch, at);
  }

  /// A touch beyond the lines is named where it stands, if nothing stands there yet.
  void name_if_suspect(const ResidualTouch& touch, Point at) {
    if (!touch.left_out && std::abs(touch.w) <= chart_.critical) return;
    const std::string words = touch.label + (touch.left_out ? " left out" : "");
    const double width = text_width(words);
    const bool to_left = at.x + 10.0 + width > plot_right;
    const double y = std::clamp(at.y + 5.5, plot_top + 15.0, plot_bottom - 5.0);
    const double left = to_left ? at.x - 10.0 - width : at.x + 10.0;
    const Box box = {left, y - 13.0, left + width, y + 4.0};
    for (const Label& label : svg_.labels()) {
      const bool apart = label.box.right <= box.left || box.right <= label.box.left ||
                         label.box.bottom <= box.top || box.bottom <= label.box.top;
      if (!apart) return;
    }
    svg_.label({to_left ? at.x - 10.0 : at.x + 10.0, y}, words,
               to_left ? Anchor::end : Anchor::start);
  }

  Svg& svg_;
  const ResidualChart& chart_;
  double reach_ = 1.0;
  std::vector<int> placed_ = std::vector<int>(std::max<std::size_t>(1, chart_.stations.size()), 0);
};

}  // namespace

Svg residual_chart(const ResidualChart& chart) {
  Svg svg(figure_width, height);
  ResidualDrawing(svg, chart).draw();
  return svg;
}

}  // namespace pivotrace::report
