// Where a stylus ball driven along a straight line meets a surface, in closed form.
#pragma once

#include <Eigen/Core>
#include <optional>

#include "pivotrace/machine/state.h"
#include "rehearsal/solids.h"

namespace pivotrace::rehearsal {

/// A straight move of the stylus-ball centre in a carried frame.
struct StraightPath {
  Eigen::Vector3d from_mm = Eigen::Vector3d::Zero();
  Eigen::Vector3d direction = Eigen::Vector3d::UnitZ();  ///< unit
  double length_mm = 0.0;

  Eigen::Vector3d at(double s_mm) const { return from_mm + s_mm * direction; }
};

/// Way along the path at which the gap between stylus ball and artefact surface (gap_mm) first
/// falls to `gap`, or nothing. 0 when it is there at the start. With m the start seen from the
/// ball's centre (for pins and bores: its part square to the axis) and d the direction,
///   |m + s d|^2 = rho^2, rho = R + r + gap (outside) or R - r - gap (inside): first root from
/// outside, second from inside; flat: (r + gap - n.m) / n.d.
/// Only the surface itself counts: the flank of a pin over its length, the wall of a bore over its
/// depth, the face of a flat within its size; ends and edges are left to `solid_contact_mm`.
std::optional<double> surface_contact_mm(const Artefact& artefact, const ArtefactPlace& place,
                                         double stylus_radius_mm, double gap,
                                         const StraightPath& path);

/// The same for a solid: steps along the path by the exact distance, which cannot change faster
/// than the ball moves, so no surface is passed. Accuracy 1e-9 mm in the gap.
std::optional<double> solid_contact_mm(const Solid& solid, double stylus_radius_mm,
                                       const StraightPath& path);

}  // namespace pivotrace::rehearsal
