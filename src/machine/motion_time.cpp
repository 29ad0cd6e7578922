#include "pivotrace/machine/motion_time.h"

#include <algorithm>
#include <cmath>

#include "pivotrace/geometry/angle.h"

namespace pivotrace {

double rest_to_rest_s(double distance, double speed, double acceleration) {
  if (distance <= 0.0) return 0.0;
  if (distance * acceleration > speed * speed) return distance / speed + speed / acceleration;
  return 2.0 * std::sqrt(distance / acceleration);
}

namespace {

constexpr double seconds_per_minute = 60.0;

double rapid_s(const LinearAxes& linear, double way_mm) {
  return rest_to_rest_s(way_mm, linear.rapid_mm_per_min / seconds_per_minute,
                        linear.acceleration_mm_per_s2);
}

double turn_s(const RotaryAxis& axis, double angle_rad, double speed_rad_per_s) {
  const double speed = std::min(speed_rad_per_s, axis.speed_rad_per_s);
  return rest_to_rest_s(std::fabs(angle_rad), speed, axis.speed_rad_per_s / turn_run_up_s);
}

}  // namespace

double move_s(const Machine& machine, const Eigen::Vector3d& way_mm, const RotaryAngles& turn_rad,
              const std::optional<FeedRate>& feed) {
  const LinearAxes& linear = machine.linear;
  double seconds = rapid_s(linear, way_mm.cwiseAbs().maxCoeff());
  double total_turn_rad = 0.0;
  for (const double angle_rad : turn_rad) total_turn_rad = std::hypot(total_turn_rad, angle_rad);
  const bool slides_move = way_mm.norm() > 0.0;
  if (feed && feed->inverse_time && (slides_move || total_turn_rad > 0.0)) {
    seconds = std::max(seconds, seconds_per_minute / feed->value);
  } else if (feed && slides_move) {
    const double speed = std::min(feed->value, linear.rapid_mm_per_min) / seconds_per_minute;
    seconds = rest_to_rest_s(way_mm.norm(), speed, linear.acceleration_mm_per_s2);
  }
  const bool turn_by_feed = feed && !feed->inverse_time && !slides_move;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    if (turn_rad[i] == 0.0) continue;
    double speed_rad_per_s = machine.rotary[i].speed_rad_per_s;
    if (turn_by_feed) {
      const double share = std::fabs(turn_rad[i]) / total_turn_rad;
      speed_rad_per_s = share * rad_from_deg(feed->value) / seconds_per_minute;
    }
    seconds = std::max(seconds, turn_s(machine.rotary[i], turn_rad[i], speed_rad_per_s));
  }
  return seconds;
}

}  // namespace pivotrace
