#include "pivotrace/plan/detection.h"

#include <algorithm>

#include "pivotrace/results/compare.h"

namespace pivotrace {

Expected<std::vector<SeenShift>> shifts_seen(const FitResult& prediction,
                                             const Detection& detection) {
  FitResult later = prediction;
  later.usable = true;  // what is predicted stands for a survey that was made
  if (detection.earlier) {
    later.conditions = detection.earlier->conditions;
  } else {
    later.conditions.probe = "the same probe";
    later.conditions.probe_calibrated = "once";
  }
  const FitResult& earlier = detection.earlier ? *detection.earlier : later;
  const Expected<std::vector<ValueChange>> changes =
      changes_that_would_show(earlier, later, {}, !detection.earlier);
  if (!changes) return tl::make_unexpected(changes.error());
  std::vector<SeenShift> seen;
  for (const ValueChange& value : *changes) {
    const double asked =
        is_angle(value.name) ? detection.shift_mm / arm_of_an_angle_mm : detection.shift_mm;
    seen.push_back({value.name, asked, value.smallest_seen});
  }
  return seen;
}

double worst_of_seen(const std::vector<SeenShift>& seen) {
  double worst = 0.0;
  for (const SeenShift& shift : seen) worst = std::max(worst, shift.seen / shift.asked);
  return worst;
}

Machine machine_that_differs(const Machine& machine, const Detection& detection) {
  Machine differing = machine;
  differing.bounds = no_disturbance();
  differing.bounds.drift_per_run_mm = machine.bounds.drift_per_run_mm;
  differing.probe.offset_u_mm.setZero();
  differing.linear.scale_u = {0, 0, 0};
  differing.linear.squareness_u_rad = {0, 0, 0};
  if (detection.earlier) return differing;
  // The same index positions again, each with the error it had.
  for (RotaryAxis& axis : differing.rotary) {
    axis.index_sigma_rad = 0.0;
    axis.index_sigma_stated = true;
    axis.axis_motion_sigma_mm = 0.0;
  }
  return differing;
}

}  // namespace pivotrace
