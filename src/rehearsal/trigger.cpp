#include "rehearsal/trigger.h"

#include <cmath>

namespace pivotrace::rehearsal {

namespace {

constexpr double contact_accuracy_mm = 1e-9;
constexpr int most_steps = 10'000;

/// First s >= 0 with |m + s d| falling to rho, from outside. |d| need not be 1.
std::optional<double> from_outside(const Eigen::Vector3d& m, const Eigen::Vector3d& d, double rho) {
  const double a = d.squaredNorm();
  const double b = m.dot(d);
  const double c = m.squaredNorm() - rho * rho;
  if (c <= 0.0) return 0.0;
  const double discriminant = b * b - a * c;
  if (b >= 0.0 || a == 0.0 || discriminant < 0.0) return std::nullopt;
  return c / (-b + std::sqrt(discriminant));  // the nearer root without cancellation
}

/// First s >= 0 with |m + s d| rising to rho, from inside.
std::optional<double> from_inside(const Eigen::Vector3d& m, const Eigen::Vector3d& d, double rho) {
  const double a = d.squaredNorm();
  const double b = m.dot(d);
  const double c = m.squaredNorm() - rho * rho;
  if (c >= 0.0) return 0.0;
  if (a == 0.0) return std::nullopt;
  const double root = std::sqrt(b * b - a * c);
  return b > 0.0 ? -c / (b + root) : (root - b) / a;
}

Eigen::Vector3d across(const Eigen::Vector3d& axis, const Eigen::Vector3d& v) {
  return v - axis * axis.dot(v);
}

std::optional<double> within(std::optional<double> s, const StraightPath& path) {
  if (s && *s > path.length_mm) return std::nullopt;
  return s;
}

std::optional<double> pin_contact(const Artefact& artefact, const ArtefactPlace& place, double rho,
                                  const StraightPath& path) {
  const Eigen::Vector3d m = path.from_mm - place.point_mm;
  const std::optional<double> s = within(
      from_outside(across(place.direction, m), across(place.direction, path.direction), rho), path);
  if (!s) return std::nullopt;
  const double along = place.direction.dot(path.at(*s) - place.point_mm);
  return along >= 0.0 && along <= artefact.length_mm ? s : std::nullopt;
}

std::optional<double> bore_contact(const Artefact& artefact, const ArtefactPlace& place, double rho,
                                   const StraightPath& path) {
  const Eigen::Vector3d m = path.from_mm - place.point_mm;
  // A stylus beside the bore is not inside it, however far out.
  if (across(place.direction, m).norm() > place.radius_mm) return std::nullopt;
  const std::optional<double> s = within(
      from_inside(across(place.direction, m), across(place.direction, path.direction), rho), path);
  if (!s) return std::nullopt;
  const double depth = -place.direction.dot(path.at(*s) - place.point_mm);
  return depth >= 0.0 && depth <= artefact.length_mm ? s : std::nullopt;
}

std::optional<double> flat_contact(const Artefact& artefact, const ArtefactPlace& place,
                                   double height, const StraightPath& path) {
  const double above = place.direction.dot(path.from_mm - place.point_mm) - height;
  const double closing = -place.direction.dot(path.direction);
  std::optional<double> s;
  if (above <= 0.0) {
    s = 0.0;
  } else if (closing > 0.0) {
    s = above / closing;
  }
  s = within(s, path);
  if (!s) return std::nullopt;
  const Eigen::Vector3d beside = across(place.direction, path.at(*s) - place.point_mm);
  // Far below the face is behind the plate, not on it.
  if (above < -2.0 * height - assumed_wall_mm) return std::nullopt;
  return beside.norm() <= 0.5 * artefact.size_mm ? s : std::nullopt;
}

}  // namespace

std::optional<double> surface_contact_mm(const Artefact& artefact, const ArtefactPlace& place,
                                         double stylus_radius_mm, double gap,
                                         const StraightPath& path) {
  const double outside = place.radius_mm + stylus_radius_mm + gap;
  switch (artefact.kind) {
    case ArtefactKind::ball:
      return within(from_outside(path.from_mm - place.point_mm, path.direction, outside), path);
    case ArtefactKind::pin: return pin_contact(artefact, place, outside, path);
    case ArtefactKind::bore:
      return bore_contact(artefact, place, place.radius_mm - stylus_radius_mm - gap, path);
    case ArtefactKind::flat: return flat_contact(artefact, place, stylus_radius_mm + gap, path);
  }
  return std::nullopt;
}

std::optional<double> solid_contact_mm(const Solid& solid, double stylus_radius_mm,
                                       const StraightPath& path) {
  double s = 0.0;
  for (int step = 0; step < most_steps; ++step) {
    if (s > path.length_mm) return std::nullopt;
    const double gap = point_distance_mm(solid, path.at(s)) - stylus_radius_mm;
    if (gap <= contact_accuracy_mm) return s;
    s += gap;
  }
  return s;  // grazing: nearer than anyone can tell
}

}  // namespace pivotrace::rehearsal
