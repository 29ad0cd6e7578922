// How many numbers a touch gives the fit.
#pragma once

#include "pivotrace/survey/survey.h"

namespace pivotrace {

/// A sphere centre is three readings, a touch one: its gap.
inline int readings_of(const Touch& touch) { return touch.kind == TouchKind::centre ? 3 : 1; }

}  // namespace pivotrace
