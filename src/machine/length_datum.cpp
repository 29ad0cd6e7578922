#include "pivotrace/machine/length_datum.h"

namespace pivotrace {

Eigen::Vector3d datum_to_centre_mm(LengthDatum datum, double stylus_radius_mm) {
  return {0.0, 0.0, centre_above_datum(datum, stylus_radius_mm)};
}

Eigen::Vector3d shown_by_control(const Machine& machine, double stylus_radius_mm,
                                 const Eigen::Vector3d& shown_mm) {
  return shown_mm - datum_to_centre_mm(machine.probe.length_datum, stylus_radius_mm);
}

Eigen::Vector3d shown_inside(const Machine& machine, double stylus_radius_mm,
                             const Eigen::Vector3d& by_control_mm) {
  return by_control_mm + datum_to_centre_mm(machine.probe.length_datum, stylus_radius_mm);
}

}  // namespace pivotrace
