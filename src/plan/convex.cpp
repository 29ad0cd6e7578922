#include "plan/convex.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

namespace pivotrace {

namespace {

constexpr int iteration_limit = 400;

/// Point of the segment a..b nearest to the origin.
Eigen::Vector3d nearest_to_origin(const Eigen::Vector3d& a, const Eigen::Vector3d& b) {
  const Eigen::Vector3d along = b - a;
  const double length2 = along.squaredNorm();
  if (length2 == 0.0) return a;
  const double t = std::clamp(-a.dot(along) / length2, 0.0, 1.0);
  return a + t * along;
}

/// Iterates until `enough(lower, upper)` on the distance of the unrounded bodies.
template <class Enough>
double bound_until(const ConvexBody& a, const ConvexBody& b, Enough enough) {
  Eigen::Vector3d v = a.points.front() - b.points.front();
  double lower = 0.0;
  Eigen::Vector3d last = v;
  for (int i = 0; i < iteration_limit; ++i) {
    const double upper = v.norm();
    if (upper < 1e-9) return 0.0;
    const Eigen::Vector3d w = a.support(-v) - b.support(v);
    lower = std::max(lower, v.dot(w) / upper);
    if (enough(lower, upper)) return lower;
    // The plain step zigzags between two vertices; a step over the edge last..w cuts that short.
    const Eigen::Vector3d straight = nearest_to_origin(v, w);
    const Eigen::Vector3d edge = nearest_to_origin(nearest_to_origin(last, w), straight);
    v = edge.squaredNorm() < straight.squaredNorm() ? edge : straight;
    last = w;
  }
  return lower;
}

}  // namespace

Eigen::Vector3d ConvexBody::support(const Eigen::Vector3d& direction) const {
  Eigen::Vector3d best = points.front();
  for (const Eigen::Vector3d& point : points) {
    if (point.dot(direction) > best.dot(direction)) best = point;
  }
  if (disc_radius_mm > 0.0) {
    const Eigen::Vector3d axis = (points[1] - points[0]).normalized();
    Eigen::Vector3d across = direction - axis * axis.dot(direction);
    // Straight along the axis nothing but rounding is left, in any direction: all of the face is as far out.
    constexpr double straight = 1e-12;
    if (across.norm() > straight * direction.norm()) {
      across -= axis * axis.dot(across);
      best += across.normalized() * disc_radius_mm;
    }
  }
  if (sweep_mm.dot(direction) > 0.0) best += sweep_mm;
  return best;
}

ConvexBody ball_body(const Eigen::Vector3d& centre_mm, double radius_mm) {
  return {.points = {centre_mm}, .radius_mm = radius_mm};
}

ConvexBody rod_body(const Eigen::Vector3d& from_mm, const Eigen::Vector3d& to_mm,
                    double radius_mm) {
  return {.points = {from_mm, to_mm}, .radius_mm = radius_mm};
}

ConvexBody cylinder_body(const Eigen::Vector3d& from_mm, const Eigen::Vector3d& to_mm,
                         double radius_mm) {
  return {.points = {from_mm, to_mm}, .disc_radius_mm = radius_mm};
}

double distance_bound_mm(const ConvexBody& a, const ConvexBody& b, double tolerance_mm) {
  return bound_until(a, b,
                     [&](double lower, double upper) { return upper - lower <= tolerance_mm; }) -
         a.radius_mm - b.radius_mm;
}

bool apart_by(const ConvexBody& a, const ConvexBody& b, double wanted_mm) {
  const double wanted = wanted_mm + a.radius_mm + b.radius_mm;
  return bound_until(a, b, [&](double lower, double upper) {
           return lower >= wanted || upper < wanted;
         }) >= wanted;
}

}  // namespace pivotrace
