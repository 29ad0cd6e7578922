#include "report/chart_change.h"

#include <algorithm>
#include <cmath>

#include "report/charts.h"

namespace pivotrace::report {

namespace {

constexpr double view_width = 0.5 * figure_width;
constexpr double view_height = 330.0;
constexpr double heading = 44.0;
constexpr double footing = 58.0;
constexpr double axis_px = 190.0;  ///< drawn length of an axis
constexpr double plane_from_top = 262.0;
constexpr double widest_px = 96.0;  ///< drawn size of the largest change with its U95
constexpr double head_px = 9.0;

/// Less than a tenth of the unit does not fill a view: it would only look large.
double largest_of(const ChangeChart& chart) {
  double largest = 0.1;
  for (const ChangeView& view : chart.views) {
    largest = std::max({largest, std::abs(view.at_plane) + view.U95_at_plane,
                        std::abs(view.further) + view.U95_further});
  }
  return largest;
}

/// Horizontal, with its head at `to`; a change too small for a head is a stroke.
void arrow(Svg& svg, Point from, Point to) {
  svg.line(from, to, "tick");
  const double length = to.x - from.x;
  if (std::abs(length) < head_px) return;
  const double back = std::copysign(head_px, length);
  svg.polygon({to, {to.x - back, to.y - 4.0}, {to.x - back, to.y + 4.0}}, "axis-dot");
}

void uncertainty_bar(Svg& svg, Point at, double half_px) {
  if (!(half_px > 0.0)) return;
  svg.rect({at.x - half_px, at.y - 5.0, at.x + half_px, at.y + 5.0}, "band");
  for (const double end : {at.x - half_px, at.x + half_px}) {
    svg.line({end, at.y - 7.0}, {end, at.y + 7.0}, "tick");
  }
}

std::string change_text(double change, double U95, const std::string& unit) {
  const int decimals = U95 > 0.0 ? decimals_for(U95, 1) : 1;
  std::string text = shown_signed(change, decimals);
  if (U95 > 0.0) text += " \xC2\xB1 " + shown(U95, decimals);
  return text + " " + unit;
}

void draw_view(Svg& svg, const ChangeChart& chart, const ChangeView& view, Point corner,
               double scale) {
  const double middle = corner.x + 0.5 * view_width;
  const Point old_low = {middle, corner.y + plane_from_top};
  const Point old_high = {middle, old_low.y - axis_px};
  const Point new_low = {middle + scale * view.at_plane, old_low.y};
  const Point new_high = {middle + scale * view.further, old_high.y};
  svg.label({corner.x + 12.0, corner.y + 20.0},
            "axis " + view.axis + ", " + view.towards + " to the right", Anchor::start, "strong");
  svg.line({corner.x + 24.0, old_low.y}, {corner.x + view_width - 24.0, old_low.y}, "grid");
  uncertainty_bar(svg, new_low, scale * view.U95_at_plane);
  uncertainty_bar(svg, new_high, scale * view.U95_further);
  svg.line(old_low, {old_high.x, old_high.y - 10.0}, "axis-old");
  svg.line(new_low, new_high, "axis");
  arrow(svg, old_low, new_low);
  arrow(svg, old_high, new_high);
  const bool right = view.further >= 0.0;
  svg.label({old_high.x + (right ? -8.0 : 8.0), old_high.y - 12.0}, view.axis + " old",
            right ? Anchor::end : Anchor::start, "quiet");
  svg.label({new_high.x + (right ? 8.0 : -8.0), new_high.y - 12.0}, view.axis,
            right ? Anchor::start : Anchor::end, "strong");
  svg.label({middle, old_low.y + 28.0}, change_text(view.at_plane, view.U95_at_plane, chart.unit),
            Anchor::middle);
  svg.label({middle, old_low.y + 46.0},
            "in the quoted plane; " + shown(chart.length, 0) + " " + chart.length_unit +
                " further: " + change_text(view.further, 0.0, chart.unit),
            Anchor::middle, "quiet", small_label_size);
}

/// How much larger changes are drawn than lengths, to two digits.
std::string enlargement(const ChangeChart& chart, double scale) {
  const double length_scale = axis_px / chart.length;
  const double factor = scale * chart.units_per_length_unit / length_scale;
  const double step = std::pow(10.0, std::floor(std::log10(factor)) - 1.0);
  return shown(std::round(factor / step) * step, 0);
}

void draw_foot(Svg& svg, const ChangeChart& chart, double top, double scale) {
  const double amount = nice_ceiling(0.4 * widest_px / scale);
  const double left = 24.0;
  const double right = left + scale * amount;
  svg.line({left, top}, {right, top}, "tick");
  for (const double end : {left, right}) svg.line({end, top - 6.0}, {end, top + 6.0}, "tick");
  svg.label({right + 12.0, top + 5.5}, shown(amount, amount < 1.0 ? 2 : 0) + " " + chart.unit +
                                           "; changes drawn " + enlargement(chart, scale) +
                                           " times as large as the axis");
  svg.label({left, top + 30.0},
            "bars: U95, below of the change in the plane, above of the lean over " +
                shown(chart.length, 0) + " " + chart.length_unit,
            Anchor::start, "quiet", small_label_size);
}

}  // namespace

Svg change_chart(const ChangeChart& chart) {
  const auto rows = static_cast<double>((chart.views.size() + 1) / 2);
  Svg svg(figure_width, heading + rows * view_height + footing);
  svg.label({12.0, 28.0}, chart.claim, Anchor::start, "strong");
  const double scale = widest_px / largest_of(chart);
  for (std::size_t k = 0; k < chart.views.size(); ++k) {
    const Point corner = {static_cast<double>(k % 2) * view_width,
                          heading + static_cast<double>(k / 2) * view_height};
    draw_view(svg, chart, chart.views[k], corner, scale);
  }
  draw_foot(svg, chart, heading + rows * view_height + 14.0, scale);
  return svg;
}

}  // namespace pivotrace::report
