// The one place where the collision library (FCL) is asked.
#pragma once

#include "rehearsal/solids.h"

namespace pivotrace::rehearsal {

/// Distance between a cylinder or box and another, 0 or less when they overlap [mm].
double library_distance_mm(const Solid& a, const Solid& b);

}  // namespace pivotrace::rehearsal
