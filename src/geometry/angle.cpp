#include "pivotrace/geometry/angle.h"

#include <cmath>

namespace pivotrace {

double mm_per_300_from_rad(double radians) { return 300.0 * std::tan(radians); }

}  // namespace pivotrace
