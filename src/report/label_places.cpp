#include "report/label_places.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>

namespace pivotrace::report {

namespace {

constexpr double ascent = 0.78;
constexpr double descent = 0.24;
constexpr double clearance = 5.0;  ///< between a label and what it must not lie on
constexpr int sides = 24;
constexpr double steps[] = {0.0, 4.0, 9.0, 16.0, 25.0, 36.0, 50.0, 66.0, 84.0, 104.0, 128.0, 156.0};
/// From here on a thin line joins label and target.
constexpr double beside = 13.0;
/// What a quarter turn off the wished side costs, in distance.
constexpr double turned_away = 14.0;
/// What lying on the edge of a body costs.
constexpr double on_edge = 60.0;

Box grown(const Box& box, double by) {
  return {box.left - by, box.top - by, box.right + by, box.bottom + by};
}

Point nearest_of(const Box& box, Point to) {
  return {std::clamp(to.x, box.left, box.right), std::clamp(to.y, box.top, box.bottom)};
}

Box centred(Point centre, double half_width, double half_height) {
  return {centre.x - half_width, centre.y - half_height, centre.x + half_width,
          centre.y + half_height};
}

}  // namespace

bool overlap(const Box& a, const Box& b) {
  return a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
}

bool crosses(const Box& box, Point from, Point to) {
  double enter = 0.0;
  double leave = 1.0;
  const auto slab = [&](double start, double step, double low, double high) {
    if (std::abs(step) < 1e-12) return start >= low && start <= high;
    const double a = (low - start) / step;
    const double b = (high - start) / step;
    enter = std::max(enter, std::min(a, b));
    leave = std::min(leave, std::max(a, b));
    return enter <= leave;
  };
  return slab(from.x, to.x - from.x, box.left, box.right) &&
         slab(from.y, to.y - from.y, box.top, box.bottom);
}

bool LabelPlaces::is_free(const Box& box) const {
  if (box.left < room_.left || box.right > room_.right || box.top < room_.top ||
      box.bottom > room_.bottom) {
    return false;
  }
  const Box wide = grown(box, clearance);
  const auto taken = [&](const Box& other) { return overlap(wide, other); };
  if (std::any_of(boxes_.begin(), boxes_.end(), taken)) return false;
  const auto& labels = svg_.labels();
  if (std::any_of(labels.begin(), labels.end(),
                  [&](const Label& label) { return taken(label.box); })) {
    return false;
  }
  return std::none_of(lines_.begin(), lines_.end(),
                      [&](const auto& line) { return crosses(wide, line.first, line.second); });
}

bool LabelPlaces::is_free(Point from, Point to) const {
  const auto& labels = svg_.labels();
  return std::none_of(labels.begin(), labels.end(),
                      [&](const Label& label) { return crosses(label.box, from, to); });
}

bool LabelPlaces::on_an_edge(const Box& box) const {
  return std::any_of(edges_.begin(), edges_.end(),
                     [&](const auto& edge) { return crosses(box, edge.first, edge.second); });
}

bool LabelPlaces::put(std::string_view text, Point target, Point prefer, std::string_view look,
                      double size, double nearest) {
  return put(Leader::clear, text, target, prefer, look, size, nearest) ||
         put(Leader::may_cross, text, target, prefer, look, size, nearest);
}

bool LabelPlaces::put(Leader leader, std::string_view text, Point target, Point prefer,
                      std::string_view look, double size, double nearest) {
  const double half_width = 0.5 * text_width(text, size);
  const double half_height = 0.5 * (ascent + descent) * size;
  const double wished = std::atan2(prefer.y, prefer.x);
  std::optional<Place> best;
  for (const double step : steps) {
    for (int side = 0; side < sides; ++side) {
      const double angle = 2.0 * std::numbers::pi * side / sides;
      const double off = std::abs(std::remainder(angle - wished, 2.0 * std::numbers::pi));
      const double cost = step + turned_away * off / (0.5 * std::numbers::pi);
      if (best && cost >= best->cost) continue;
      const Point way = {std::cos(angle), std::sin(angle)};
      const double reach =
          nearest + step + std::abs(way.x) * half_width + std::abs(way.y) * half_height;
      const Box box =
          centred({target.x + reach * way.x, target.y + reach * way.y}, half_width, half_height);
      if (!is_free(box)) continue;
      const bool far = nearest + step > beside;
      const bool keeps_clear = far && leader == Leader::clear;
      if (keeps_clear && !is_free(target, nearest_of(box, target))) continue;
      const double whole = cost + (on_an_edge(box) ? on_edge : 0.0);
      if (!best || whole < best->cost) best = Place{box, nearest + step, whole};
    }
  }
  if (!best) return false;
  write(*best, text, target, look, size);
  return true;
}

void LabelPlaces::write(const Place& place, std::string_view text, Point target,
                        std::string_view look, double size) {
  const Point end = nearest_of(grown(place.box, 1.0), target);
  if (std::hypot(end.x - target.x, end.y - target.y) > beside) {
    svg_.line(target, end, "leader");
    avoid(target, end);
  }
  svg_.label({place.box.left, place.box.top + ascent * size}, text, Anchor::start,
             "halo " + std::string(look), size);
}

}  // namespace pivotrace::report
