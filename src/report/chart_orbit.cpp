// One axis seen along itself.
#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>

#include "report/charts.h"

namespace pivotrace::report {

namespace {

constexpr double size = 440.0;
constexpr double circle = 128.0;
constexpr double longest_deviation = 34.0;  ///< drawn length of the largest deviation
constexpr double text_left = 452.0;

const Point centre = {0.5 * size, 0.5 * size};

Point on_circle(double place_deg, double radius) {
  const double angle = place_deg * std::numbers::pi / 180.0;
  return {centre.x + radius * std::cos(angle), centre.y - radius * std::sin(angle)};
}

double largest_deviation(const OrbitChart& chart) {
  double largest = std::max(chart.ellipse_half_long, 1e-12);
  for (const OrbitStation& station : chart.stations) {
    largest = std::max({largest, std::abs(station.radial), std::abs(station.tangential)});
  }
  return largest;
}

/// Radial outwards, tangential against the clock, from the station's own place on the circle.
Point deviated(const OrbitStation& station, double scale) {
  const double angle = station.place_deg * std::numbers::pi / 180.0;
  const Point at = on_circle(station.place_deg, circle);
  const double out = scale * station.radial;
  const double around = scale * station.tangential;
  return {at.x + out * std::cos(angle) - around * std::sin(angle),
          at.y - out * std::sin(angle) - around * std::cos(angle)};
}

bool meets(const Box& a, const Box& b) {
  return a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
}

/// The station's angle outside the circle, unless another label stands there already.
void station_label(Svg& svg, const OrbitStation& station) {
  const Point at = on_circle(station.place_deg, circle + longest_deviation + 22.0);
  const double width = text_width(station.label);
  const Point base = {at.x, at.y + 5.5};
  const Box box = {at.x - 0.5 * width, base.y - 13.0, at.x + 0.5 * width, base.y + 4.0};
  const bool taken = std::any_of(svg.labels().begin(), svg.labels().end(),
                                 [&](const Label& label) { return meets(label.box, box); });
  if (!taken) svg.label(base, station.label, Anchor::middle);
}

void draw_station(Svg& svg, const OrbitStation& station, double scale) {
  const Point nominal = on_circle(station.place_deg, circle);
  svg.line(on_circle(station.place_deg, circle - 5.0), on_circle(station.place_deg, circle + 5.0),
           "tick");
  const Point found = deviated(station, scale);
  svg.line(nominal, found, "stalk");
  if (station.left_out) {
    svg.circle(found, 5.0, "left-out");
    svg.cross(found, 3.5, "left-out");
  } else {
    svg.circle(found, 4.5, "artefact");
  }
}

/// The machine directions, in the corner.
void draw_triad(Svg& svg, const OrbitChart& chart) {
  if (chart.right.empty()) return;
  const Point corner = {text_left + 14.0, size - 18.0};
  svg.line(corner, {corner.x + 44.0, corner.y}, "tick");
  svg.line(corner, {corner.x, corner.y - 44.0}, "tick");
  svg.polygon({{corner.x + 52.0, corner.y},
               {corner.x + 42.0, corner.y - 4.0},
               {corner.x + 42.0, corner.y + 4.0}},
              "axis-dot");
  svg.polygon({{corner.x, corner.y - 52.0},
               {corner.x - 4.0, corner.y - 42.0},
               {corner.x + 4.0, corner.y - 42.0}},
              "axis-dot");
  svg.label({corner.x + 58.0, corner.y + 5.5}, chart.right);
  svg.label({corner.x + 8.0, corner.y - 44.0}, chart.up);
}

void draw_centre(Svg& svg, const OrbitChart& chart, double scale) {
  svg.ellipse(centre, std::max(1.0, scale * chart.ellipse_half_long),
              std::max(1.0, scale * chart.ellipse_half_short), chart.ellipse_turned_deg, "band");
  svg.line({centre.x - 58.0, centre.y}, {centre.x + 58.0, centre.y}, "axis-line");
  svg.line({centre.x, centre.y - 58.0}, {centre.x, centre.y + 58.0}, "axis-line");
}

void draw_scale(Svg& svg, const OrbitChart& chart, double scale) {
  const double amount = nice_ceiling(0.5 * largest_deviation(chart));
  const double length = scale * amount;
  const double y = 60.0;
  svg.line({text_left, y}, {text_left + length, y}, "tick");
  svg.line({text_left, y - 6.0}, {text_left, y + 6.0}, "tick");
  svg.line({text_left + length, y - 6.0}, {text_left + length, y + 6.0}, "tick");
  svg.label({text_left + length + 10.0, y + 5.5},
            shown(amount, amount < 1.0 ? 2 : 0) + " " + chart.unit);
  svg.label({text_left, y - 20.0}, "deviations and U95", Anchor::start, "quiet");
}

void draw_key(Svg& svg, const OrbitChart& chart) {
  const bool some_out = std::any_of(chart.stations.begin(), chart.stations.end(),
                                    [](const OrbitStation& station) { return station.left_out; });
  double y = 110.0;
  svg.circle({text_left + 6.0, y}, 4.5, "artefact");
  svg.label({text_left + 20.0, y + 5.5}, "station, as found");
  if (some_out) {
    y += 28.0;
    svg.circle({text_left + 6.0, y}, 5.0, "left-out");
    svg.cross({text_left + 6.0, y}, 3.5, "left-out");
    svg.label({text_left + 20.0, y + 5.5}, "left out");
  }
  y += 28.0;
  svg.ellipse({text_left + 6.0, y}, 9.0, 6.0, 0.0, "band");
  svg.label({text_left + 20.0, y + 5.5}, "centre, U95");
  if (chart.right.empty()) return;
  svg.label({text_left + 20.0, y + 27.0},
            chart.right + " " + shown(chart.U95_right, decimals_for(chart.U95_right, 2)) + "  " +
                chart.up + " " + shown(chart.U95_up, decimals_for(chart.U95_up, 2)) + " " +
                chart.unit,
            Anchor::start, "quiet");
}

}  // namespace

Svg orbit_chart(const OrbitChart& chart) {
  Svg svg(figure_width, size);
  const double scale = longest_deviation / largest_deviation(chart);
  svg.circle(centre, circle, "grid");
  draw_centre(svg, chart, scale);
  for (const OrbitStation& station : chart.stations) draw_station(svg, station, scale);
  for (const OrbitStation& station : chart.stations) station_label(svg, station);
  draw_scale(svg, chart, scale);
  draw_key(svg, chart);
  draw_triad(svg, chart);
  return svg;
}

}  // namespace pivotrace::report
