#include "rehearsal/library_distance.h"

#include <fcl/narrowphase/detail/gjk_solver_indep.h>

namespace pivotrace::rehearsal {

namespace {

/// The library's own iteration bounds the distance from both sides and stops when the two agree
/// within this part of it. (Its other solver stops when a step gains little, which on round
/// shapes left distances 0.02 mm too large.)
constexpr double relative_gap = 1e-6;
constexpr unsigned int most_iterations = 1000;
constexpr double overlapping_mm = -1.0;

template <class First, class Second>
double distance_mm(const First& first, const Eigen::Isometry3d& first_pose, const Second& second,
                   const Eigen::Isometry3d& second_pose) {
  fcl::detail::GJKSolver_indepd solver;
  solver.gjk_tolerance = relative_gap;
  solver.gjk_max_iterations = most_iterations;
  double distance = overlapping_mm;
  const bool apart = solver.shapeDistance(first, first_pose, second, second_pose, &distance);
  return apart ? distance : overlapping_mm;
}

template <class First>
double distance_to(const First& first, const Eigen::Isometry3d& first_pose, const Solid& second) {
  if (second.shape == SolidShape::cylinder) {
    const fcl::Cylinderd shape(second.radius_mm, 2.0 * second.half_length_mm);
    return distance_mm(first, first_pose, shape, second.pose);
  }
  return distance_mm(first, first_pose, fcl::Boxd(2.0 * second.half_sides_mm), second.pose);
}

}  // namespace

double library_distance_mm(const Solid& a, const Solid& b) {
  if (a.shape == SolidShape::cylinder) {
    return distance_to(fcl::Cylinderd(a.radius_mm, 2.0 * a.half_length_mm), a.pose, b);
  }
  return distance_to(fcl::Boxd(2.0 * a.half_sides_mm), a.pose, b);
}

}  // namespace pivotrace::rehearsal
