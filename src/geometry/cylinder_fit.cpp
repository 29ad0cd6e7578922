#include "pivotrace/geometry/cylinder_fit.h"

#include <Eigen/Cholesky>
#include <Eigen/Geometry>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>

#include "geometry/cloud.h"
#include "geometry/damped_gauss_newton.h"
#include "geometry/triangular_rows.h"
#include "pivotrace/geometry/rotation.h"

namespace pivotrace {
namespace {

constexpr int grid_directions = 600;  // on the half-sphere: neighbours some 6 degrees apart
constexpr int starts = 6;
constexpr double smallest_radius = 1e-9;    // cloud units: a row of points, no cylinder
constexpr double separation_cosine = 0.97;  // starts at least 14 degrees apart

/// A cylinder in cloud units. `point` is kept nearest to the centroid.
struct Cylinder {
  Eigen::Vector3d point = Eigen::Vector3d::Zero();
  Eigen::Vector3d direction = Eigen::Vector3d::UnitZ();
  double radius = 0.0;
};

/// Second-order monomials s(p) = (xx, yy, zz, xy, xz, yz) and their sums against 1, p and s.
struct Moments {
  using Vector6d = Eigen::Matrix<double, 6, 1>;

  double count = 0.0;
  Eigen::Matrix3d pp = Eigen::Matrix3d::Zero();
  Vector6d s = Vector6d::Zero();
  Eigen::Matrix<double, 3, 6> ps = Eigen::Matrix<double, 3, 6>::Zero();
  Eigen::Matrix<double, 6, 6> ss = Eigen::Matrix<double, 6, 6>::Zero();

  void add(const Eigen::Vector3d& p) {
    Vector6d m;
    m << p.x() * p.x(), p.y() * p.y(), p.z() * p.z(), p.x() * p.y(), p.x() * p.z(), p.y() * p.z();
    count += 1.0;
    pp += p.lazyProduct(p.transpose());
    s += m;
    ps += p.lazyProduct(m.transpose());
    ss += m.lazyProduct(m.transpose());
  }
};

struct Candidate {
  Cylinder cylinder;
  double sum_of_squares = std::numeric_limits<double>::infinity();
};

/// Algebraic circle of the points seen along w, from the moments alone.
/// q = |p|^2 - (w.p)^2 = a(w).s(p) is the squared distance from the line through the centroid;
/// q = 2 c.u + k with u = B'p, B the pair across w, has the normal equations 2 B'(pp)B c = B'(ps)a;
/// its squared residual over 4 r^2 is the geometric one to first order.
Candidate seen_along(const Moments& sums, const Eigen::Vector3d& w) {
  Moments::Vector6d a;
  a << 1.0 - w.x() * w.x(), 1.0 - w.y() * w.y(), 1.0 - w.z() * w.z(), -2.0 * w.x() * w.y(),
      -2.0 * w.x() * w.z(), -2.0 * w.y() * w.z();
  const CrossPair across = cross_pair(w);
  Eigen::Matrix<double, 3, 2> basis;
  basis << across.first, across.second;

  const Eigen::Matrix<double, 3, 2> half = sums.pp.lazyProduct(basis);
  const Eigen::Matrix2d spread = basis.transpose().lazyProduct(half);
  const Eigen::Vector3d third = sums.ps.lazyProduct(a);
  const Eigen::Vector2d right = basis.transpose().lazyProduct(third);
  const Moments::Vector6d fourth = sums.ss.lazyProduct(a);
  const double q_sum = a.dot(sums.s);

  Candidate candidate;
  const double determinant = spread.determinant();
  if (!(determinant > 0.0)) return candidate;
  const Eigen::Vector2d centre = 0.5 * spread.inverse().lazyProduct(right);
  const double radius_squared = centre.squaredNorm() + q_sum / sums.count;
  const double algebraic = a.dot(fourth) - q_sum * q_sum / sums.count - 2.0 * centre.dot(right);
  candidate.cylinder = {basis.lazyProduct(centre), w, std::sqrt(radius_squared)};
  candidate.sum_of_squares = algebraic / (4.0 * radius_squared);
  return candidate;
}

/// Direction k of an even spiral over the half-sphere z >= 0.
Eigen::Vector3d grid_direction(int k) {
  const double z = (k + 0.5) / grid_directions;
  const double across = std::sqrt(1.0 - z * z);
  const double turn = k * std::numbers::pi * (3.0 - std::sqrt(5.0));
  return {across * std::cos(turn), across * std::sin(turn), z};
}

/// Put a candidate into the list, ordered by sum of squares, unless a better one is close by.
void keep_if_good(std::array<Candidate, starts>& best, const Candidate& fresh) {
  const auto near = [&](const Candidate& other) {
    return std::isfinite(other.sum_of_squares) &&
           std::abs(other.cylinder.direction.dot(fresh.cylinder.direction)) > separation_cosine;
  };
  std::size_t place = best.size();
  for (std::size_t i = best.size(); i-- > 0;) {
    if (fresh.sum_of_squares < best[i].sum_of_squares) {
      place = i;
    } else if (near(best[i])) {
      return;
    }
  }
  if (place == best.size()) return;
  // The slot that falls out: a worse one close by, or else the last.
  std::size_t leaves = best.size() - 1;
  for (std::size_t i = place; i < best.size(); ++i) {
    if (near(best[i])) {
      leaves = i;
      break;
    }
  }
  for (std::size_t i = leaves; i > place; --i) best[i] = best[i - 1];
  best[place] = fresh;
}

std::array<Candidate, starts> closed_form_starts(const Cloud<3>& cloud,
                                                 std::span<const Eigen::Vector3d> points_mm) {
  Moments sums;
  for (const Eigen::Vector3d& p : points_mm) sums.add(cloud.shifted(p));
  std::array<Candidate, starts> best;
  for (int k = 0; k < grid_directions; ++k) {
    keep_if_good(best, seen_along(sums, grid_direction(k)));
  }
  return best;
}

/// Derivatives and residuals of f = distance to the axis - r for: point along the two cross
/// directions, direction along the same two, radius.
TriangularRows<5> linearise(const Cloud<3>& cloud, std::span<const Eigen::Vector3d> points_mm,
                            const Cylinder& cylinder) {
  const CrossPair across = cross_pair(cylinder.direction);
  TriangularRows<5> rows;
  for (const Eigen::Vector3d& p : points_mm) {
    const Eigen::Vector3d arm = cloud.shifted(p) - cylinder.point;
    const double along = cylinder.direction.dot(arm);
    const Eigen::Vector3d out = arm - along * cylinder.direction;
    const double distance = out.norm();
    const double first = across.first.dot(out) / distance;
    const double second = across.second.dot(out) / distance;
    Eigen::Matrix<double, 5, 1> row;
    row << -first, -second, -along * first, -along * second, -1.0;
    rows.add(row, cylinder.radius - distance);
  }
  return rows;
}

Cylinder moved(const Cylinder& from, const Eigen::Matrix<double, 5, 1>& step) {
  const CrossPair across = cross_pair(from.direction);
  Cylinder to;
  to.direction = (from.direction + step[2] * across.first + step[3] * across.second).normalized();
  to.point = from.point + step[0] * across.first + step[1] * across.second;
  to.point -= to.direction * to.direction.dot(to.point);
  to.radius = from.radius + step[4];
  return to;
}

}  // namespace

CylinderFit fit_cylinder(std::span<const Eigen::Vector3d> points_mm) {
  CylinderFit fit;
  const Cloud<3> cloud = measure_cloud<3>(points_mm, 6);
  fit.status = cloud.status;
  if (cloud.status != FitStatus::done) return fit;

  const auto rows_at = [&](const Cylinder& c) { return linearise(cloud, points_mm, c); };
  Descent<Cylinder, TriangularRows<5>> best;
  double lowest = std::numeric_limits<double>::infinity();
  for (const Candidate& start : closed_form_starts(cloud, points_mm)) {
    if (!std::isfinite(start.sum_of_squares)) continue;
    const auto found = damped_gauss_newton(start.cylinder, rows_at, moved);
    if (found.status != FitStatus::done || !(found.rows.sum_of_squares() < lowest)) continue;
    lowest = found.rows.sum_of_squares();
    best = found;
  }
  fit.status = best.status == FitStatus::done ? FitStatus::done : FitStatus::degenerate;
  fit.condition = best.rows.condition();
  if (!(fit.condition < fit_condition_limit)) fit.status = FitStatus::degenerate;
  if (!(std::abs(best.state.radius) > smallest_radius)) fit.status = FitStatus::degenerate;
  if (fit.status != FitStatus::done) return fit;

  fit.axis.point_mm = cloud.centroid_mm + cloud.unit_mm * best.state.point;
  fit.axis.direction = with_largest_positive(best.state.direction);
  fit.radius_mm = cloud.unit_mm * std::abs(best.state.radius);
  fit.rms_mm = cloud.unit_mm * std::sqrt(lowest / static_cast<double>(points_mm.size()));
  fit.iterations = best.iterations;
  return fit;
}

}  // namespace pivotrace
