// The line found, over the length that matters, with its band.
#include <algorithm>
#include <cmath>

#include "report/charts.h"

namespace pivotrace::report {

namespace {

constexpr double plot_left = 70.0;
constexpr double plot_right = 520.0;
constexpr double panel_height = 132.0;
constexpr double panel_gap = 26.0;
constexpr int band_points = 24;

double half_band(const LeanTrace& trace, double s) {
  const double variance = trace.U95_at_plane * trace.U95_at_plane + 2.0 * trace.covariance * s +
                          trace.U95_slope * trace.U95_slope * s * s;
  return std::sqrt(std::max(0.0, variance));
}

double reach_of(const LeanChart& chart) {
  double reach = 1e-12;
  for (const LeanTrace& trace : chart.traces) {
    for (const double s : {-0.5 * chart.length, 0.5 * chart.length}) {
      reach = std::max(reach, std::abs(trace.slope * s) + half_band(trace, s));
    }
  }
  return nice_ceiling(reach);
}

class Panel {
 public:
  Panel(Svg& svg, const LeanChart& chart, double top, double reach)
      : svg_(svg), chart_(chart), middle_(top + 0.5 * panel_height), reach_(reach) {}

  void draw(const LeanTrace& trace) {
    svg_.rect({plot_left, middle_ - 0.5 * panel_height, plot_right, middle_ + 0.5 * panel_height},
              "grid");
    draw_band(trace);
    svg_.line(at(-0.5, 0.0), at(0.5, 0.0), "axis-old");
    svg_.line(at(-0.5, -0.5 * trace.slope * chart_.length),
              at(0.5, 0.5 * trace.slope * chart_.length), "axis");
    draw_words(trace);
  }

 private:
  /// `share` of the length from the quoted plane, deviation in its unit.
  Point at(double share, double deviation) const {
    return {0.5 * (plot_left + plot_right) + share * (plot_right - plot_left),
            middle_ - deviation * 0.5 * panel_height / reach_};
  }

  void draw_band(const LeanTrace& trace) {
    std::vector<Point> edge;
    for (int i = 0; i <= band_points; ++i) {
      const double share = -0.5 + static_cast<double>(i) / band_points;
      const double s = share * chart_.length;
      edge.push_back(at(share, trace.slope * s + half_band(trace, s)));
    }
    for (int i = band_points; i >= 0; --i) {
      const double share = -0.5 + static_cast<double>(i) / band_points;
      const double s = share * chart_.length;
      edge.push_back(at(share, trace.slope * s - half_band(trace, s)));
    }
    svg_.polygon(edge, "band");
  }

  void draw_words(const LeanTrace& trace) {
    const double over = trace.slope * chart_.length;
    const double U95 = trace.U95_slope * chart_.length;
    const int decimals = decimals_for(U95, 1);
    const int tick_decimals = reach_ < 1.0 ? 2 : 0;
    svg_.label({plot_left - 8.0, middle_ - 0.5 * panel_height + 14.0},
               shown_signed(reach_, tick_decimals), Anchor::end, "quiet");
    svg_.label({plot_left - 8.0, middle_ + 5.5}, "0", Anchor::end, "quiet");
    svg_.label({plot_left - 8.0, middle_ + 0.5 * panel_height - 4.0},
               shown_signed(-reach_, tick_decimals), Anchor::end, "quiet");
    svg_.label({plot_right + 12.0, middle_ - 26.0}, "towards " + trace.towards, Anchor::start,
               "strong");
    svg_.label({plot_right + 12.0, middle_ - 2.0},
               shown_signed(over, decimals) + " " + chart_.unit);
    svg_.label({plot_right + 12.0, middle_ + 20.0},
               "\xC2\xB1 " + shown(U95, decimals) + " " + chart_.unit);
    svg_.label({plot_right + 12.0, middle_ + 42.0},
               "over " + shown(chart_.length, 0) + " " + chart_.length_unit, Anchor::start,
               "quiet");
  }

  Svg& svg_;
  const LeanChart& chart_;
  double middle_;
  double reach_;
};

}  // namespace

Svg lean_chart(const LeanChart& chart) {
  const double panels = static_cast<double>(chart.traces.size());
  const double bottom = 8.0 + panels * panel_height + (panels - 1.0) * panel_gap;
  Svg svg(figure_width, bottom + 46.0);
  double top = 8.0;
  for (const LeanTrace& trace : chart.traces) {
    Panel(svg, chart, top, reach_of(chart)).draw(trace);
    top += panel_height + panel_gap;
  }
  const double middle = 0.5 * (plot_left + plot_right);
  svg.line({middle, 4.0}, {middle, bottom + 6.0}, "grid");
  const double half = 0.5 * chart.length;
  svg.label({plot_left, bottom + 22.0}, shown_signed(-half, 0), Anchor::middle, "quiet");
  svg.label({middle, bottom + 22.0}, "quoted plane", Anchor::middle, "quiet");
  svg.label({plot_right, bottom + 22.0}, shown_signed(half, 0), Anchor::middle, "quiet");
  svg.label({plot_right + 40.0, bottom + 22.0},
            chart.length_unit + (chart.along.empty() ? "" : " along " + chart.along), Anchor::start,
            "quiet");
  return svg;
}

}  // namespace pivotrace::report
