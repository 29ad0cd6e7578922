// The Z a control shows may be that of the stylus tip; inside, every shown position is that of the
// stylus centre. This is the one place where the two meet.
#pragma once

#include <Eigen/Core>

#include "pivotrace/machine/machine.h"

namespace pivotrace {

/// How far the stylus centre lies above the point whose Z the control shows: the stylus radius for
/// `LengthDatum::tip`, 0 for `centre`. Along machine Z whatever the head does: controls that know
/// a tool length subtract it from Z. Any scalar.
template <class S>
S centre_above_datum(LengthDatum datum, const S& stylus_radius) {
  return datum == LengthDatum::tip ? stylus_radius : S(0.0);
}

/// The same as a vector in the machine frame, 3x1 mm.
Eigen::Vector3d datum_to_centre_mm(LengthDatum datum, double stylus_radius_mm);

/// What the control shows when the shown position inside is `shown_mm`.
Eigen::Vector3d shown_by_control(const Machine& machine, double stylus_radius_mm,
                                 const Eigen::Vector3d& shown_mm);

/// Shown position inside for what the control shows: inverse of the above.
Eigen::Vector3d shown_inside(const Machine& machine, double stylus_radius_mm,
                             const Eigen::Vector3d& by_control_mm);

}  // namespace pivotrace
