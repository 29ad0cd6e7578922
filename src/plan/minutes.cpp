// How long a plan takes: paths at their feeds, turns at their speed, a little time for every move.
#include <algorithm>
#include <cmath>
#include <numbers>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/plan/check_plan.h"
#include "pivotrace/plan/foresight.h"

namespace pivotrace {

namespace {

/// Clamping, unclamping and settling, per turn [s]. Common practice, no source.
constexpr double seconds_per_turn_extra = 1.0;

double seconds_at(double distance_mm, double feed_mm_per_min) {
  return 60.0 * std::abs(distance_mm) / feed_mm_per_min + control_s_per_move;
}

class Clock {
 public:
  Clock(const Machine& machine, const Plan& plan)
      : machine_(machine), plan_(plan), state_(nominal_state(machine)) {}

  double seconds() {
    const Foresight foresight = foresee(machine_, plan_);
    const PlannedStation* before = nullptr;
    for (std::size_t i = 0; i < plan_.stations.size(); ++i) {
      turn(before, plan_.stations[i]);
      for (const ForeseenVisit& visit : foresight.stations[i]) touch_all(plan_.stations[i], visit);
      before = &plan_.stations[i];
    }
    return total_;
  }

 private:
  void turn(const PlannedStation* before, const PlannedStation& station) {
    for (std::size_t i = 0; before != nullptr && i < machine_.rotary.size(); ++i) {
      const double angle = std::abs(station.angles_rad[i] - before->angles_rad[i]);
      if (angle == 0.0) continue;
      const double run_up = 2.0 * rad_from_deg(plan_.distances.turn_run_up_deg);
      total_ += (angle + run_up) / machine_.rotary[i].speed_rad_per_s + seconds_per_turn_extra;
    }
  }

  PlacedTouch place(const PlannedStation& station, const PlannedTouch& touch) const {
    return place_touch(machine_, state_, plan_.distances, station.angles_rad, touch);
  }

  void touch_all(const PlannedStation& station, const ForeseenVisit& visit) {
    const ProbingFeeds& feeds = plan_.feeds;
    const ProbingDistances& d = plan_.distances;
    Eigen::Vector3d last = Eigen::Vector3d::Zero();
    for (std::size_t i = visit.first_touch; i < visit.first_touch + visit.touches; ++i) {
      const PlacedTouch placed = place(station, station.touches[i]);
      const double gap = stand_off_gap_mm(d, placed);
      const Eigen::Vector3d above = placed.above_mm(gap);
      if (i == visit.first_touch) {
        const double height = std::max(0.0, d.safe_height - above.z());
        total_ += 2.0 * seconds_at(height, machine_.linear.rapid_mm_per_min) +
                  seconds_at(height, feeds.position);
        last = above;
      }
      const double down = (above - placed.stand_off_mm(gap)).norm();
      const double sideways = (above - last).norm() + d.lift;
      const double finding = seconds_at(sideways, feeds.position) +
                             2.0 * seconds_at(down, feeds.position) + seconds_at(gap, feeds.find) +
                             seconds_at(gap, feeds.position);
      const double measuring =
          seconds_at(d.back_off, feeds.position) + seconds_at(d.back_off, feeds.measure);
      total_ += finding * (1 + visit.finding_passes) + measuring;
      last = above;
    }
  }

  const Machine& machine_;
  const Plan& plan_;
  MachineState state_;
  double total_ = 0.0;
};

}  // namespace

double minutes_of(const Machine& machine, const Plan& plan) {
  return Clock(machine, plan).seconds() / 60.0;
}

}  // namespace pivotrace
