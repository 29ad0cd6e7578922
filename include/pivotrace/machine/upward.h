// Which machine axis points upwards: Z under a vertical spindle, Y where the spindle lies.
#pragma once

#include "pivotrace/machine/machine.h"

namespace pivotrace {

/// Z always runs along the spindle (ISO 841), so a machine file does not say what is up. A table that
/// turns about Y alone, with everything it carries held along Y, is one that stands upright before a
/// lying spindle: then Y, else Z. Held along: a stem points down, a pin, a bore or a flat up; a ball
/// without stem stands away from what else the table carries.
LinearAxis upward_axis(const Machine& machine);

/// The unit vector of it, machine frame.
Eigen::Vector3d upward_direction(const Machine& machine);

}  // namespace pivotrace
