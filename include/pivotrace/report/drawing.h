// A drawing of the set-up, to scale, as SVG.
#pragma once

#include <string>

#include "pivotrace/plan/plan.h"

namespace pivotrace {

/// Three views to one scale: front (X right, Z up), side (Y right, Z up), top (X right, Y up).
/// Shown: artefacts, stems and obstacles at the first station, artefacts at the other stations in
/// outline, touch points, the probe over the first touch, axis lines, travel box, scale bar.
/// A plan without stations draws the machine file alone, rotary axes at 0.
std::string draw_setup(const Machine& machine, const Plan& plan);

}  // namespace pivotrace
