// How one value came out over many trials, beside what is stated of it.
#include <algorithm>
#include <cmath>

#include "report/charts.h"

namespace pivotrace::report {

namespace {

constexpr Box plot = {24.0, 16.0, figure_width - 24.0, 180.0};
constexpr double height = 232.0;

class HistogramDrawing {
 public:
  HistogramDrawing(Svg& svg, const Histogram& histogram) : svg_(svg), histogram_(histogram) {
    for (const double density : histogram.density) tallest_ = std::max(tallest_, density);
    for (const auto& [at, density] : histogram.stated) tallest_ = std::max(tallest_, density);
  }

  void draw() {
    const double step = (histogram_.high - histogram_.low) /
                        static_cast<double>(std::max<std::size_t>(1, histogram_.density.size()));
    for (std::size_t i = 0; i < histogram_.density.size(); ++i) {
      const double left = histogram_.low + step * static_cast<double>(i);
      svg_.rect({x_of(left), y_of(histogram_.density[i]), x_of(left + step), plot.bottom}, "bar");
    }
    std::vector<Point> curve;
    for (const auto& [at, density] : histogram_.stated) curve.push_back({x_of(at), y_of(density)});
    svg_.polyline(curve, "axis");
    svg_.line({plot.left, plot.bottom}, {plot.right, plot.bottom}, "zero");
    draw_stated_interval();
    draw_scale();
  }

 private:
  double x_of(double at) const {
    return plot.left + (plot.right - plot.left) * (at - histogram_.low) /
                           std::max(1e-12, histogram_.high - histogram_.low);
  }
  double y_of(double density) const {
    return plot.bottom - (plot.bottom - plot.top) * density / std::max(1e-12, tallest_);
  }

  void draw_stated_interval() {
    for (const double sign : {-1.0, 1.0}) {
      const double x = x_of(sign * histogram_.U95);
      if (x < plot.left || x > plot.right) continue;
      svg_.line({x, plot.top}, {x, plot.bottom + 6.0}, "limit");
    }
    const double left = std::max(plot.left, x_of(-histogram_.U95));
    const double right = std::min(plot.right, x_of(histogram_.U95));
    svg_.rect({left, plot.bottom + 8.0, right, plot.bottom + 18.0}, "band");
  }

  void draw_scale() {
    const int decimals = decimals_for(histogram_.U95, 3);
    const double y = plot.bottom + 40.0;
    svg_.label({x_of(0.0), y}, "0", Anchor::middle, "quiet");
    const std::string U95 = shown(histogram_.U95, decimals);
    svg_.label({x_of(-histogram_.U95), y}, "\xE2\x88\x92" + U95, Anchor::middle, "limit-word");
    svg_.label({x_of(histogram_.U95), y}, "+" + U95 + " " + histogram_.unit, Anchor::middle,
               "limit-word");
  }

  Svg& svg_;
  const Histogram& histogram_;
  double tallest_ = 0.0;
};

}  // namespace

Svg histogram_chart(const Histogram& histogram) {
  Svg svg(figure_width, height);
  HistogramDrawing(svg, histogram).draw();
  return svg;
}

}  // namespace pivotrace::report
