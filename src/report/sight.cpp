#include "report/sight.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace pivotrace::report {

namespace {

constexpr int outline_directions = 72;
constexpr double step_px = 1.0 / 1024.0;
/// Directions are turned by this much, which nobody sees: square to a face of a body two corners reach equally
/// far, and rounding would choose one, each computer its own.
constexpr double off_square_rad = 1e-9;

Eigen::Vector3d upward(LinearAxis axis) { return Eigen::Vector3d::Unit(static_cast<int>(axis)); }

double cross(Point o, Point a, Point b) {
  return (a.x - o.x) * (b.y - o.y) - (a.y - o.y) * (b.x - o.x);
}

/// Signed distance inside one side of a box: 0 left, 1 right, 2 top, 3 bottom.
double inside_by(const Box& box, int side, Point p) {
  switch (side) {
    case 0: return p.x - box.left;
    case 1: return box.right - p.x;
    case 2: return p.y - box.top;
    default: return box.bottom - p.y;
  }
}

Point between(Point a, Point b, double share) {
  return {a.x + share * (b.x - a.x), a.y + share * (b.y - a.y)};
}

Outline cut(const Outline& outline, const Box& box, int side) {
  Outline kept;
  for (std::size_t i = 0; i < outline.size(); ++i) {
    const Point& here = outline[i];
    const Point& next = outline[(i + 1) % outline.size()];
    const double a = inside_by(box, side, here);
    const double b = inside_by(box, side, next);
    if (a >= 0.0) kept.push_back(here);
    if ((a < 0.0) != (b < 0.0)) kept.push_back(between(here, next, a / (a - b)));
  }
  return kept;
}

}  // namespace

Sight front_sight(LinearAxis up) { return {"Front", Eigen::Vector3d::UnitX(), upward(up)}; }

Sight side_sight(LinearAxis up) {
  return {"From the right", upward(up).cross(Eigen::Vector3d::UnitX()), upward(up)};
}

Sight top_sight(LinearAxis up) {
  return {"From above", Eigen::Vector3d::UnitX(), upward(up).cross(Eigen::Vector3d::UnitX())};
}

std::string direction_letter(const Eigen::Vector3d& direction) {
  for (int k = 0; k < 3; ++k) {
    if (direction[k] > 0.999) return std::string(1, "XYZ"[k]);
    if (direction[k] < -0.999) return std::string("\xE2\x88\x92") + "XYZ"[k];
  }
  return {};
}

Outline hull_of(Outline points) {
  // Corners met twice, apart by round-off alone, are one corner.
  for (Point& point : points)
    point = {std::round(point.x / step_px) * step_px, std::round(point.y / step_px) * step_px};
  std::sort(points.begin(), points.end(),
            [](Point a, Point b) { return a.x != b.x ? a.x < b.x : a.y < b.y; });
  Outline hull;
  for (int pass = 0; pass < 2; ++pass) {
    const std::size_t base = hull.size();
    for (const Point& point : points) {
      while (hull.size() >= base + 2 && cross(hull[hull.size() - 2], hull.back(), point) <= 0.0) {
        hull.pop_back();
      }
      hull.push_back(point);
    }
    hull.pop_back();
    std::reverse(points.begin(), points.end());
  }
  return hull;
}

Outline clipped(const Outline& convex, const Box& box) {
  Outline kept = convex;
  for (int side = 0; side < 4; ++side) kept = cut(kept, box, side);
  return kept;
}

std::vector<std::pair<Point, Point>> hatching(const Outline& convex, double spacing) {
  std::vector<std::pair<Point, Point>> lines;
  if (convex.size() < 3) return lines;
  const auto level = [](Point p) { return p.x + p.y; };
  const auto [low, high] = std::minmax_element(
      convex.begin(), convex.end(), [&](Point a, Point b) { return level(a) < level(b); });
  for (double at = std::ceil(level(*low) / spacing) * spacing; at < level(*high); at += spacing) {
    Outline ends;
    for (std::size_t i = 0; i < convex.size(); ++i) {
      const Point& here = convex[i];
      const Point& next = convex[(i + 1) % convex.size()];
      const double a = level(here) - at;
      const double b = level(next) - at;
      if ((a < 0.0) != (b < 0.0)) ends.push_back(between(here, next, a / (a - b)));
    }
    if (ends.size() == 2) lines.emplace_back(ends[0], ends[1]);
  }
  return lines;
}

bool is_inside(const Outline& convex, Point at) {
  if (convex.size() < 3) return false;
  bool left = false;
  bool right = false;
  for (std::size_t i = 0; i < convex.size(); ++i) {
    const double side = cross(convex[i], convex[(i + 1) % convex.size()], at);
    left = left || side > 0.0;
    right = right || side < 0.0;
  }
  return left != right;
}

Point Window::at(const Eigen::Vector3d& p_mm) const {
  const Eigen::Vector3d d = p_mm - middle_mm;
  return {0.5 * (paper.left + paper.right) + px_per_mm * sight.right.dot(d),
          0.5 * (paper.top + paper.bottom) - px_per_mm * sight.up.dot(d)};
}

Point Window::along(const Eigen::Vector3d& direction) const {
  return {sight.right.dot(direction), -sight.up.dot(direction)};
}

Outline Window::outline(const ConvexBody& body) const {
  Outline points;
  for (int i = 0; i < outline_directions; ++i) {
    const double phi = 2.0 * std::numbers::pi * i / outline_directions + off_square_rad;
    const Eigen::Vector3d d = std::cos(phi) * sight.right + std::sin(phi) * sight.up;
    points.push_back(at(body.support(d) + d * body.radius_mm));
  }
  return hull_of(points);
}

Outline Window::outline(const std::vector<Eigen::Vector3d>& points_mm) const {
  Outline points;
  for (const Eigen::Vector3d& p : points_mm) points.push_back(at(p));
  return hull_of(points);
}

}  // namespace pivotrace::report
