// One face for the five shapes, so that one set of laws can be put to all of them.
#pragma once

#include <Eigen/Core>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <string>
#include <vector>

#include "pivotrace/geometry/circle_fit.h"
#include "pivotrace/geometry/cylinder_fit.h"
#include "pivotrace/geometry/line_fit.h"
#include "pivotrace/geometry/plane_fit.h"
#include "pivotrace/geometry/sphere_fit.h"

namespace pivotrace::testing {

enum class ShapeKind { line, plane, circle, sphere, cylinder };
inline constexpr ShapeKind all_shapes[] = {ShapeKind::line, ShapeKind::plane, ShapeKind::circle,
                                           ShapeKind::sphere, ShapeKind::cylinder};

using Points = std::vector<Eigen::Vector3d>;
using Random = std::mt19937_64;

/// Point, direction and radius; what a shape does not have is zero.
struct Shape {
  ShapeKind kind = ShapeKind::line;
  Eigen::Vector3d point = Eigen::Vector3d::Zero();
  Eigen::Vector3d direction = Eigen::Vector3d::Zero();
  double radius = 0.0;
};

struct ShapeFit {
  FitStatus status = FitStatus::not_started;
  Shape shape;
  double condition = -1.0;
  double rms = -1.0;
};

inline ShapeFit fit_shape(ShapeKind kind, const Points& points) {
  switch (kind) {
    case ShapeKind::line: {
      const LineFit f = fit_line(points);
      return {f.status, {kind, f.line.point_mm, f.line.direction, 0.0}, f.condition, f.rms_mm};
    }
    case ShapeKind::plane: {
      const PlaneFit f = fit_plane(points);
      return {f.status, {kind, f.centroid_mm, f.normal, 0.0}, f.condition, f.rms_mm};
    }
    case ShapeKind::circle: {
      const SpaceCircleFit f = fit_circle_in_space(points);
      return {f.status,
              {kind, f.centre_mm, f.normal, f.radius_mm},
              f.condition,
              std::hypot(f.rms_in_plane_mm, f.rms_out_of_plane_mm)};
    }
    case ShapeKind::sphere: {
      const SphereFit f = fit_sphere(points);
      return {f.status,
              {kind, f.centre_mm, Eigen::Vector3d::Zero(), f.radius_mm},
              f.condition,
              f.rms_mm};
    }
    case ShapeKind::cylinder: {
      const CylinderFit f = fit_cylinder(points);
      return {
          f.status, {kind, f.axis.point_mm, f.axis.direction, f.radius_mm}, f.condition, f.rms_mm};
    }
  }
  return {};
}

/// Angle between two directions, whatever their signs [rad].
inline double direction_error(const Eigen::Vector3d& a, const Eigen::Vector3d& b) {
  return a.cross(b).norm();
}

/// How far apart two shapes are: along what the shape determines, not along what it leaves free.
inline double position_error(const Shape& a, const Shape& b) {
  const Eigen::Vector3d between = a.point - b.point;
  switch (a.kind) {
    case ShapeKind::line:
    case ShapeKind::cylinder: return (between - a.direction * a.direction.dot(between)).norm();
    case ShapeKind::plane: return std::abs(a.direction.dot(between));
    case ShapeKind::circle:
    case ShapeKind::sphere: return between.norm();
  }
  return NAN;
}

inline double uniform(Random& random, double low, double high) {
  return std::uniform_real_distribution<double>(low, high)(random);
}

inline Eigen::Vector3d random_direction(Random& random) {
  std::normal_distribution<double> normal;
  return Eigen::Vector3d(normal(random), normal(random), normal(random)).normalized();
}

inline Eigen::Isometry3d random_motion(Random& random) {
  Eigen::Isometry3d motion = Eigen::Isometry3d::Identity();
  motion.translate(uniform(random, 0.0, 800.0) * random_direction(random));
  motion.rotate(Eigen::AngleAxisd(uniform(random, 0.0, 6.28), random_direction(random)));
  return motion;
}

/// A shape of workshop size within a metre of the origin.
inline Shape random_shape(ShapeKind kind, Random& random) {
  Shape shape{kind, uniform(random, 0.0, 900.0) * random_direction(random),
              random_direction(random), uniform(random, 2.0, 150.0)};
  if (kind == ShapeKind::sphere) shape.direction.setZero();
  if (kind == ShapeKind::line || kind == ShapeKind::plane) shape.radius = 0.0;
  return shape;
}

/// Points on the shape, well spread (a third of the turn or more), each `sigma` off along the
/// normal on average.
inline Points points_on(const Shape& shape, int count, double sigma, Random& random) {
  std::normal_distribution<double> noise(0.0, 1.0);
  const Eigen::Vector3d w = shape.direction.isZero() ? Eigen::Vector3d::UnitZ() : shape.direction;
  const Eigen::Vector3d u = w.unitOrthogonal();
  const Eigen::Vector3d v = w.cross(u);
  const double first = uniform(random, 0.0, 6.28);
  const double arc = uniform(random, 2.2, 6.0);
  Points points;
  for (int i = 0; i < count; ++i) {
    const double turn = first + arc * i / (count - 1.0);
    const double off = sigma * noise(random);
    const Eigen::Vector3d out = std::cos(turn) * u + std::sin(turn) * v;
    switch (shape.kind) {
      case ShapeKind::line:
        points.push_back(shape.point + uniform(random, -200.0, 200.0) * w + off * out);
        break;
      case ShapeKind::plane:
        points.push_back(shape.point + uniform(random, 20.0, 90.0) * out + off * w);
        break;
      case ShapeKind::circle: points.push_back(shape.point + (shape.radius + off) * out); break;
      case ShapeKind::sphere: {
        const double height = -0.2 + 1.2 * ((7 * i) % count) / (count - 1.0);
        const Eigen::Vector3d n = std::sqrt(std::max(0.0, 1 - height * height)) * out + height * w;
        points.push_back(shape.point + (shape.radius + off) * n);
        break;
      }
      case ShapeKind::cylinder: {
        const double along = shape.radius * (((5 * i) % count) / (count - 1.0) - 0.5) * 3.0;
        points.push_back(shape.point + (shape.radius + off) * out + along * w);
        break;
      }
    }
  }
  return points;
}

/// Largest distance of a point from the origin plus the size of the shape: M of fit_round_off.
inline double magnitude(const Shape& shape, const Points& points) {
  double farthest = 0.0;
  for (const Eigen::Vector3d& p : points) farthest = std::max(farthest, p.norm());
  return farthest + shape.radius;
}

/// Root mean square distance from the centroid: L of the direction bound.
inline double cloud_size(const Points& points) {
  Eigen::Vector3d mean = Eigen::Vector3d::Zero();
  for (const Eigen::Vector3d& p : points) mean += p / static_cast<double>(points.size());
  double squares = 0.0;
  for (const Eigen::Vector3d& p : points) squares += (p - mean).squaredNorm();
  return std::sqrt(squares / static_cast<double>(points.size()));
}

}  // namespace pivotrace::testing
