#include "rehearsal/motion_time.h"

#include <algorithm>
#include <cmath>

namespace pivotrace::rehearsal {

double rest_to_rest_s(double distance, double speed, double acceleration) {
  if (distance <= 0.0) return 0.0;
  if (distance * acceleration > speed * speed) return distance / speed + speed / acceleration;
  return 2.0 * std::sqrt(distance / acceleration);
}

double move_s(const Machine& machine, const Eigen::Vector3d& way_mm, const RotaryAngles& turn_rad,
              double feed_mm_per_min) {
  const double acceleration = machine.linear.acceleration_mm_per_s2;
  double seconds = 0.0;
  if (feed_mm_per_min > 0.0) {
    seconds = rest_to_rest_s(way_mm.norm(), feed_mm_per_min / 60.0, acceleration);
  } else {
    const double longest = way_mm.cwiseAbs().maxCoeff();
    seconds = rest_to_rest_s(longest, machine.linear.rapid_mm_per_min / 60.0, acceleration);
  }
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    const double speed = machine.rotary[i].speed_rad_per_s;
    seconds =
        std::max(seconds, rest_to_rest_s(std::fabs(turn_rad[i]), speed, speed / turn_run_up_s));
  }
  return seconds;
}

}  // namespace pivotrace::rehearsal
