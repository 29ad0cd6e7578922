// How long a plan takes: the moves of its program one by one.
#include <algorithm>
#include <cmath>
#include <utility>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/machine/length_datum.h"
#include "pivotrace/machine/motion_time.h"
#include "pivotrace/machine/tool_axis.h"
#include "pivotrace/plan/check_plan.h"
#include "pivotrace/plan/foresight.h"

namespace pivotrace {

namespace {

/// Turning one axis, run-up, clamp and control's thinking included [s].
double turn_of_axis_s(const Machine& machine, const ProbingDistances& distances, std::size_t index,
                      double from_rad, double to_rad) {
  const RotaryAxis& axis = machine.rotary[index];
  double seconds = 0.0;
  for (const std::string* word : {&axis.clamp, &axis.unclamp}) {
    seconds += word->empty() ? 0.0 : function_s;
  }
  const auto turn = [&](double way_rad) {
    RotaryAngles way{};
    way[index] = way_rad;
    seconds += move_s(machine, Eigen::Vector3d::Zero(), way, std::nullopt) + control_s_per_move;
  };
  const double run_up_rad = rad_from_deg(distances.turn_run_up_deg);
  if (run_up_rad != 0.0) turn(to_rad - run_up_rad - from_rad);
  turn(run_up_rad != 0.0 ? run_up_rad : to_rad - from_rad);
  return seconds;
}

class Clock {
 public:
  Clock(const Machine& machine, const Plan& plan, bool watched, KnownStations known = {})
      : machine_(machine),
        plan_(plan),
        watched_(watched),
        known_(std::move(known)),
        state_(nominal_state(machine)),
        now_mm_(start_position_mm(machine, plan)) {
    if (!plan.stations.empty()) standing_ = plan.stations.front().angles_rad;
  }

  double seconds() {
    const Foresight foresight = foresee_passes(machine_, plan_, known_.sights);
    total_ += 2.0 * function_s;  // the spindle is stopped and held
    if (plan_.self_find) find_first();
    for (std::size_t i = 0; i < plan_.stations.size(); ++i) {
      up();
      turn(i);
      prove_turn(i);
      for (std::size_t k = 0; k < foresight.stations[i].size(); ++k) {
        if (k > 0) up();
        if (!watched_ && !(plan_.self_find && i == 0 && k == 0)) {
          feel(plan_.stations[i], foresight.stations[i][k]);
        }
        visit(i, foresight.stations[i][k]);
      }
    }
    up();
    return total_;
  }

  /// The first station alone, every place known after so many finding passes, nothing turned.
  double seconds_of_station(int finding_passes) {
    const PlannedStation& station = plan_.stations.front();
    for (std::size_t first = 0; first < station.touches.size();) {
      std::size_t next = first + 1;
      while (next < station.touches.size() &&
             same_target(machine_, station.touches[first], station.touches[next])) {
        ++next;
      }
      if (first > 0) up();
      ForeseenVisit known;
      known.first_touch = first;
      known.touches = next - first;
      known.finding_passes = finding_passes;
      visit(0, known);
      first = next;
    }
    up();
    return total_;
  }

  VisitMoves moves_of(const PlannedStation& station, const ForeseenVisit& visit,
                      const std::vector<WayBetween>& ways) {
    const Shown shown{*this, station};
    const PlacedTouch first = shown.place(visit.first_touch);
    VisitMoves moves;
    for (int pass = 0; pass <= visit.finding_passes; ++pass) {
      const bool measures = pass == visit.finding_passes;
      const Eigen::Vector3d entry = shown.over(first, gap_mm(first, measures));
      if (pass == 0) {
        moves.entry_mm = now_mm_ = entry;
        total_ = 0.0;
      } else {
        go(entry);
      }
      run_pass(shown, visit, measures ? ways : finding_ways(ways), measures);
    }
    moves.exit_mm = now_mm_;
    moves.seconds = total_;
    return moves;
  }

 private:
  /// Places of one visit, shown.
  struct Shown {
    const Clock& clock;
    const PlannedStation& station;

    PlacedTouch place(std::size_t touch) const {
      return place_touch(clock.machine_, clock.state_, clock.plan_.distances, station.angles_rad,
                         station.touches[touch]);
    }
    Eigen::Vector3d of(const Eigen::Vector3d& stylus_mm) const {
      return shown_by_control(clock.machine_, clock.state_.stylus_radius_mm,
                              shown_from_stylus(clock.machine_, clock.state_, stylus_mm,
                                                station.angles_rad, station.flip));
    }
    Eigen::Vector3d over(const PlacedTouch& placed, double gap_mm) const {
      return of(placed.above_mm(gap_mm) + placed.tool_axis * clock.plan_.distances.lift);
    }
  };

  void move(const Eigen::Vector3d& to_mm, std::optional<double> feed_mm_per_min) {
    std::optional<FeedRate> feed;
    if (feed_mm_per_min) feed = FeedRate{false, *feed_mm_per_min};
    total_ += move_s(machine_, to_mm - now_mm_, {}, feed) + control_s_per_move;
    now_mm_ = to_mm;
  }
  void go(const Eigen::Vector3d& to_mm) { move(to_mm, plan_.feeds.position); }
  void up() { move({now_mm_.x(), now_mm_.y(), plan_.distances.safe_height}, std::nullopt); }

  /// Down from the jogged position onto the first artefact, and up again.
  void find_first() {
    const Shown shown{*this, plan_.stations.front()};
    const PlacedTouch placed = shown.place(0);
    for (const RotaryAxis& axis : machine_.rotary) total_ += axis.clamp.empty() ? 0.0 : function_s;
    move(shown.of(placed.centre_mm + placed.reach_mm * placed.tool_axis), plan_.feeds.find);
    go({now_mm_.x(), now_mm_.y(), plan_.distances.safe_height});
    up();
  }

  /// Before the first station nobody knows where the axes stand.
  void turn(std::size_t station) {
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      const double to_rad = plan_.stations[station].angles_rad[i];
      if (station > 0 && to_rad == plan_.stations[station - 1].angles_rad[i]) continue;
      total_ += turn_of_axis_s(machine_, plan_.distances, i, standing_[i], to_rad);
      standing_[i] = to_rad;
    }
    if (station > 0 && plan_.stations[station].flip != plan_.stations[station - 1].flip) {
      total_ += function_s;
    }
  }

  void prove_turn(std::size_t station) {
    if (station == 0 && plan_.self_find) return;
    const WrongTurn wrong = wrong_turn(station);
    if (wrong.felt || !wrong.empty_shown_mm) return;
    come_down(*wrong.empty_shown_mm);
    go({now_mm_.x(), now_mm_.y(), plan_.distances.safe_height});
    up();
  }

  WrongTurn wrong_turn(std::size_t station) const {
    if (known_.wrong_turn && station > 0) return known_.wrong_turn(station);
    const RotaryAngles before =
        station == 0 ? RotaryAngles{} : plan_.stations[station - 1].angles_rad;
    return wrong_turn_at(machine_, state_, plan_.distances, before, plan_.stations[station],
                         watched_);
  }

  void come_down(const Eigen::Vector3d& to_mm) {
    move({to_mm.x(), to_mm.y(), now_mm_.z()}, std::nullopt);
    go(to_mm);
  }

  std::vector<WayBetween> ways_at(std::size_t station) const {
    const PlannedStation& planned = plan_.stations[station];
    return watched_ ? ways_between(machine_, state_, plan_.distances, planned)
                    : std::vector<WayBetween>(planned.touches.size(), WayBetween::over);
  }

  /// Twice the finding feed straight down onto the artefact, where it has a top.
  void feel(const PlannedStation& station, const ForeseenVisit& visit) {
    const PlannedTouch& touch = station.touches[visit.first_touch];
    if (objection_to_feeler(machine_, state_, plan_.distances, station.angles_rad, station.flip,
                            touch)) {
      return;
    }
    const Shown shown{*this, station};
    const PlacedTouch placed = shown.place(visit.first_touch);
    const Eigen::Vector3d top =
        shown.of(placed.centre_mm + placed.reach_mm * Eigen::Vector3d::UnitZ());
    move({top.x(), top.y(), now_mm_.z()}, std::nullopt);
    move(top, 2.0 * plan_.feeds.find);
    go({now_mm_.x(), now_mm_.y(), plan_.distances.safe_height});
    up();
  }

  void visit(std::size_t station, const ForeseenVisit& visit) {
    if (known_.moves) return follow(known_.moves(station, visit));
    const Eigen::Vector3d here_mm = now_mm_;
    const double so_far = total_;
    const VisitMoves moves = moves_of(plan_.stations[station], visit, ways_at(station));
    now_mm_ = here_mm;
    total_ = so_far;
    follow(moves);
  }

  void follow(const VisitMoves& moves) {
    come_down(moves.entry_mm);
    total_ += moves.seconds;
    now_mm_ = moves.exit_mm;
  }

  static std::vector<WayBetween> finding_ways(const std::vector<WayBetween>& ways) {
    return std::vector<WayBetween>(ways.size(), WayBetween::over);
  }

  double gap_mm(const PlacedTouch& placed, bool measures) const {
    return measures && watched_ ? approach_gap_mm(plan_.distances, placed)
                                : stand_off_gap_mm(plan_.distances, placed);
  }

  void run_pass(const Shown& shown, const ForeseenVisit& visit, const std::vector<WayBetween>& ways,
                bool measures) {
    for (std::size_t i = visit.first_touch; i < visit.first_touch + visit.touches; ++i) {
      const PlacedTouch placed = shown.place(i);
      const double gap = gap_mm(placed, measures);
      if (i > visit.first_touch) go_on(shown, shown.place(i - 1), placed, ways[i], gap);
      // From the middle of a narrow bore every touch begins where the one before ended.
      const Eigen::Vector3d stand_off = shown.of(placed.stand_off_mm(gap));
      if ((stand_off - now_mm_).norm() > 1e-9) go(stand_off);
      touch(shown, placed, gap, measures);
    }
    const PlacedTouch last = shown.place(visit.first_touch + visit.touches - 1);
    go(shown.over(last, gap_mm(last, measures)));
  }

  /// All moves but the last, which ends at the stand-off.
  void go_on(const Shown& shown, const PlacedTouch& before, const PlacedTouch& placed,
             WayBetween way, double gap) {
    if (way == WayBetween::straight) return;
    if (way == WayBetween::round) {
      go(shown.of(placed.centre_mm +
                  (placed.reach_mm + gap) * corner_between(before.outward, placed.outward)));
      return;
    }
    go(shown.over(before, gap));
    go(shown.of(placed.above_mm(gap)));
  }

  void touch(const Shown& shown, const PlacedTouch& placed, double gap, bool measures) {
    const ProbingDistances& d = plan_.distances;
    move(shown.of(placed.contact_mm()), plan_.feeds.find);
    if (measures) {
      go(shown.of(placed.stand_off_mm(d.back_off)));
      move(shown.of(placed.contact_mm()), plan_.feeds.measure);
    }
    go(shown.of(placed.stand_off_mm(gap)));
  }

  const Machine& machine_;
  const Plan& plan_;
  const bool watched_;
  const KnownStations known_;
  const MachineState state_;
  Eigen::Vector3d now_mm_;
  RotaryAngles standing_{};
  double total_ = 0.0;
};

}  // namespace

double turn_seconds(const Machine& machine, const ProbingDistances& distances,
                    const RotaryAngles& from_rad, const RotaryAngles& to_rad) {
  double seconds = 0.0;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    if (from_rad[i] == to_rad[i]) continue;
    seconds += turn_of_axis_s(machine, distances, i, from_rad[i], to_rad[i]);
  }
  return seconds;
}

double station_minutes(const Machine& machine, const Plan& plan, int finding_passes) {
  if (plan.touch_count() == 0) return 0.0;
  return Clock(machine, plan, true).seconds_of_station(finding_passes) / 60.0;
}

VisitMoves visit_moves(const Machine& machine, const Plan& plan, std::size_t station,
                       const ForeseenVisit& visit, const std::vector<WayBetween>& ways) {
  return Clock(machine, plan, true).moves_of(plan.stations[station], visit, ways);
}

double minutes_of(const Machine& machine, const Plan& plan, const KnownStations& known) {
  if (plan.touch_count() == 0) return 0.0;
  return Clock(machine, plan, true, known).seconds() / 60.0;
}

double minutes_of(const Machine& machine, const Plan& plan, bool watched) {
  if (plan.touch_count() == 0) return 0.0;
  return Clock(machine, plan, watched).seconds() / 60.0;
}

}  // namespace pivotrace
