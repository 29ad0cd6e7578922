// A simulated calibration from a stated truth to a fit result: invented machines, real estimator.
#pragma once

#include <cstdint>

#include "pivotrace/estimate/fit.h"
#include "pivotrace/survey/synthetic.h"

namespace pivotrace::testing {

/// A rotary table with its axis along X on the table of a mill, a ball 90 mm off its axis.
Machine fourth_axis_machine();
/// The same lying along Y.
Machine axis_along_y_machine();
/// A table turning about Z, a ball 100 mm off its axis.
Machine round_table_machine();
/// A cradle about X that carries a round table about Z, a ball on it.
Machine trunnion_machine();

/// The survey of every axis turned through its travel, with the noise the machine file states, and
/// its fit. `truth` gives the axis lines; artefacts stand as nominal.
FitResult simulated_fit(const Machine& machine, const MachineState& truth, std::uint64_t seed);

}  // namespace pivotrace::testing
