// The set-up as a figure: views chosen for the machine, and the touches close up.
#pragma once

#include "pivotrace/plan/plan.h"
#include "report/setup_layout.h"
#include "report/svg.h"

namespace pivotrace::report {

/// A figure of page width: third-angle views cropped to what matters, artefacts dimensioned from the
/// face of what carries them, stylus and stem, safe height, turn arrows, stations numbered in the order
/// they are touched, touches of station 1 close up. `with_caution` puts the caution first.
Svg setup_drawing(const Machine& machine, const Plan& plan, bool with_caution);

}  // namespace pivotrace::report
