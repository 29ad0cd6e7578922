#include "plan/candidates.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <numbers>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/machine/tool_axis.h"
#include "pivotrace/plan/check_plan.h"
#include "plan/axis_range.h"
#include "plan/stay_check.h"

namespace pivotrace {

namespace {

/// An axis of less travel than this many steps has this many all the same.
constexpr int least_steps = 6;
constexpr double turn_deg = 360.0;
/// Bearings round a ball: every 30 deg, off the machine axes, so that no touch runs along one slide alone.
constexpr int bearings = 12;
constexpr double first_bearing_deg = 15.0;
/// Share of a pin's or bore's length kept free at both ends: common practice, no source.
constexpr double end_margin = 0.15;
/// Where on a flat its points lie, as a share of its radius: common practice, no source.
constexpr double flat_margin = 0.7;

// --------------------------------------------------------------------------------------- grid

/// One turn is enough: of a longer travel the part around 0 that is left after the run-up.
Range one_turn(Range usable) {
  if (usable.high - usable.low < turn_deg) return usable;
  const double low = std::clamp(-170.0, usable.low, usable.high - turn_deg + 1e-9);
  return {low, std::min(usable.high, low + turn_deg - 1e-6)};
}

std::vector<double> angles_in(const Range& range, double step) {
  std::vector<double> angles;
  for (double angle = std::ceil(range.low / step - 1e-9) * step; angle <= range.high + 1e-9;
       angle += step) {
    angles.push_back(std::abs(angle) < 1e-9 ? 0.0 : angle);
  }
  // The ends of a travel hold most of the arc.
  if (range.high - range.low < turn_deg - step) {
    if (angles.empty() || angles.front() - range.low > 0.3 * step) {
      angles.insert(angles.begin(), range.low);
    }
    if (range.high - angles.back() > 0.3 * step) angles.push_back(range.high);
  }
  return angles;
}

AxisGrid grid_of(const Machine& machine, const ProbingDistances& distances, int axis,
                 double wanted_step) {
  const Range range = one_turn(usable_deg(machine, nominal_state(machine), distances, axis));
  AxisGrid grid;
  grid.axis = axis;
  grid.step_deg = std::min(wanted_step, (range.high - range.low) / least_steps);
  if (grid.step_deg > 0.0) grid.angles_deg = angles_in(range, grid.step_deg);
  return grid;
}

// ------------------------------------------------------------------------------------ touches

/// Looks for touches and visits at one stay.
class StayFinder {
 public:
  StayFinder(const Machine& machine, const MachineState& state, const ProbingDistances& distances,
             const RotaryAngles& angles_rad)
      : machine_(machine),
        state_(state),
        distances_(distances),
        check_(machine, state, distances, angles_rad, false) {
    stay_.angles_rad = angles_rad;
  }

  /// The visits found; `objection` when there is none.
  std::vector<std::vector<int>> find() {
    if (auto o = check_.objection_to_angles()) {
      objection_ = *o;
      return {};
    }
    for (std::size_t a = 0; a < machine_.artefacts.size(); ++a) {
      const std::size_t before = visits_.size();
      add_artefact(static_cast<int>(a));
      firsts_.push_back({before, visits_.size()});
    }
    join_artefacts();
    return std::move(visits_);
  }

  Stay& stay() { return stay_; }
  const std::string& objection() const { return objection_; }

 private:
  void add_artefact(int artefact) {
    artefact_ = artefact;
    switch (machine_.artefacts[artefact].kind) {
      case ArtefactKind::ball: add_ball(); break;
      case ArtefactKind::pin:
      case ArtefactKind::bore: add_sections(); break;
      case ArtefactKind::flat: add_flat(); break;
    }
  }

  /// Index of a touch that can be made, -1 otherwise.
  int add_touch(const PlannedTouch& touch) {
    if (auto o = check_.objection_to(touch)) {
      if (objection_.empty()) {
        objection_ = machine_.artefacts[touch.artefact].name + ": " + *o;
      }
      return -1;
    }
    stay_.touches.push_back(touch);
    stay_.can_start = stay_.can_start || check_.can_start_at(touch);
    return static_cast<int>(stay_.touches.size()) - 1;
  }

  Eigen::Vector3d outward(int touch) const {
    return place_touch(machine_, state_, distances_, stay_.angles_rad,
                       stay_.touches[static_cast<std::size_t>(touch)])
        .outward;
  }

  /// A visit of these touches, where all of them can be made and nothing is in the way between them.
  bool add_visit(std::vector<int> touches) {
    if (touches.size() < 3 || std::ranges::count(touches, -1) > 0) return false;
    std::ranges::stable_sort(touches, [&](int a, int b) { return comes_before(a, b); });
    if (std::ranges::find(visits_, touches) != visits_.end()) return false;
    std::vector<PlannedTouch> way;
    for (const int t : touches) way.push_back(stay_.touches[static_cast<std::size_t>(t)]);
    if (auto o = check_.objection_to_ways(way)) {
      if (objection_.empty()) objection_ = *o;
      return false;
    }
    visits_.push_back(std::move(touches));
    return true;
  }

  /// Artefact by artefact, section by section, round it, the pole last: no way leads across it.
  bool comes_before(int a, int b) const {
    const PlannedTouch& s = stay_.touches[static_cast<std::size_t>(a)];
    const PlannedTouch& t = stay_.touches[static_cast<std::size_t>(b)];
    if (s.artefact != t.artefact) return s.artefact < t.artefact;
    if (s.along_mm != t.along_mm) return s.along_mm < t.along_mm;
    const bool s_pole = s.up_rad > 1.5, t_pole = t.up_rad > 1.5;
    if (s_pole != t_pole) return t_pole;
    return s.around_rad < t.around_rad;
  }

  PlannedTouch touch(double around_deg, double up_deg) const {
    return {artefact_, rad_from_deg(around_deg), rad_from_deg(up_deg), 0.0, 0.0};
  }

  void add_ball() {
    std::array<int, bearings> ring{};
    for (int k = 0; k < bearings; ++k) {
      ring[static_cast<std::size_t>(k)] =
          add_touch(touch(first_bearing_deg + turn_deg * k / bearings, 0.0));
    }
    const int pole = add_touch(touch(0.0, 90.0));
    const auto at = [&](int k) { return ring[static_cast<std::size_t>(k % bearings)]; };
    const std::size_t before = visits_.size();
    for (int k = 0; k < bearings; k += 3) add_visit({at(k), at(k + 3), pole});
    for (const int k : {0, 2}) add_visit({at(k), at(k + 4), at(k + 8)});
    for (const int k : {0, 2}) add_visit({at(k), at(k + 4), at(k + 8), pole});
    add_visit({at(0), at(3), at(6), at(9)});
    add_visit({at(0), at(3), at(6), at(9), pole});
    add_visit({at(0), at(2), at(5), at(7), at(10), pole});
    if (visits_.size() < before + 4) add_ball_from_above();
  }

  /// Where something is in the way of the usual patterns: what sees the centre best of what is free.
  void add_ball_from_above() {
    std::vector<int> free;
    for (std::size_t t = 0; t < stay_.touches.size(); ++t) {
      if (stay_.touches[t].artefact == artefact_) free.push_back(static_cast<int>(t));
    }
    for (int k = 0; k < bearings; ++k) {
      const int t = add_touch(touch(first_bearing_deg + turn_deg * k / bearings, 40.0));
      if (t >= 0) free.push_back(t);
    }
    add_best(free, {3, 4, 6});
  }

  /// Adds, one by one, the touch that makes det(sum d d') grow most.
  void add_best(const std::vector<int>& free, std::initializer_list<std::size_t> sizes) {
    Eigen::Matrix3d sum = Eigen::Matrix3d::Identity() * 1e-3;
    std::vector<int> chosen;
    while (chosen.size() < *std::max_element(sizes.begin(), sizes.end())) {
      int best = -1;
      double largest = 0.0;
      for (const int t : free) {
        if (std::ranges::find(chosen, t) != chosen.end()) continue;
        const Eigen::Vector3d d = outward(t);
        const double gain = (sum + d * d.transpose()).determinant();
        if (gain <= largest * (1.0 + 1e-9)) continue;
        largest = gain;
        best = t;
      }
      if (best < 0) return;
      chosen.push_back(best);
      const Eigen::Vector3d d = outward(best);
      sum += d * d.transpose();
      if (std::ranges::find(sizes, chosen.size()) != sizes.end()) add_visit(chosen);
    }
  }

  /// Directions square to the axis of a pin or bore, seen from the spindle.
  std::vector<PlannedTouch> round_section(double along_mm) const {
    const Artefact& artefact = machine_.artefacts[artefact_];
    const Eigen::Vector3d axis =
        machine_from_carried_rotation(machine_, state_, artefact.carried_by, stay_.angles_rad) *
        state_.artefacts[artefact_].direction;
    const Eigen::Vector3d tool = tool_axis_in_machine(machine_, state_, stay_.angles_rad);
    std::vector<PlannedTouch> round;
    if (std::abs(axis.dot(tool)) > 0.9) {
      for (int k = 0; k < 6; ++k) {
        round.push_back(
            {artefact_, rad_from_deg(first_bearing_deg + 60.0 * k), 0.0, along_mm, 0.0});
      }
      return round;
    }
    if (artefact.kind == ArtefactKind::bore) return round;
    const Eigen::Vector3d side = axis.cross(tool).normalized();
    const Eigen::Vector3d top = side.cross(axis).normalized();
    for (const double angle : {-90.0, -45.0, 0.0, 45.0, 90.0}) {
      const double phi = rad_from_deg(angle);
      const Eigen::Vector3d out = direction_in_tool(
          machine_, state_, std::sin(phi) * side + std::cos(phi) * top, stay_.angles_rad);
      round.push_back({artefact_, std::atan2(out.y(), out.x()),
                       std::atan2(out.z(), std::hypot(out.x(), out.y())), along_mm, 0.0});
    }
    return round;
  }

  double deep_mm(double length_mm) const {
    const double deep = (1.0 - end_margin) * length_mm;
    if (machine_.artefacts[artefact_].kind != ArtefactKind::bore) return deep;
    return std::min(deep, length_mm - (state_.stylus_radius_mm + watched_clearance_mm +
                                       distances_.rough + 0.01));
  }

  static std::vector<int> joined(std::vector<int> some, const std::vector<int>& others) {
    some.insert(some.end(), others.begin(), others.end());
    return some;
  }

  void add_sections() {
    const double length = machine_.artefacts[artefact_].length_mm;
    const double shallow = end_margin * length;
    std::vector<std::vector<std::vector<int>>> sections;
    for (const double along : {shallow, deep_mm(length)}) {
      if (along < shallow) continue;
      std::vector<int> t;
      for (const PlannedTouch& candidate : round_section(along)) t.push_back(add_touch(candidate));
      if (t.size() == 6) {
        sections.push_back({{t[0], t[2], t[4]}, {t[1], t[3], t[5]}, {t[0], t[3]}, {t[1], t[4]}});
      } else if (t.size() == 5) {
        sections.push_back({{t[0], t[2], t[4]},
                            {t[1], t[2], t[3]},
                            {t[1], t[3]},
                            {t[0], t[4]},
                            {t[0], t[2]},
                            {t[2], t[4]}});
      }
    }
    for (const auto& section : sections) {
      for (const auto& touches : section) add_visit(touches);
    }
    if (sections.size() < 2) return;
    for (const auto& low : sections[0]) {
      for (const auto& high : sections[1]) add_visit(joined(low, high));
    }
  }

  void add_flat() {
    const double radius = 0.5 * machine_.artefacts[artefact_].size_mm * flat_margin;
    std::vector<int> points;
    for (int i = 0; i < 12 && points.size() < 3; ++i) {
      const double around = rad_from_deg(90.0 + 120.0 * (i % 3) + 30.0 * (i / 3));
      const int t = add_touch({artefact_, around, 0.0, 0.0, radius});
      if (t >= 0) points.push_back(t);
    }
    add_visit(points);
  }

  /// One stay on two artefacts shares its station error: the smallest visit of each.
  void join_artefacts() {
    for (std::size_t a = 0; a < firsts_.size(); ++a) {
      for (std::size_t b = a + 1; b < firsts_.size(); ++b) {
        if (firsts_[a].first == firsts_[a].second || firsts_[b].first == firsts_[b].second)
          continue;
        const auto both = joined(visits_[firsts_[a].first], visits_[firsts_[b].first]);
        if (both.size() <= 6) add_visit(both);
      }
    }
  }

  const Machine& machine_;
  const MachineState& state_;
  const ProbingDistances& distances_;
  StayCheck check_;
  Stay stay_;
  std::vector<std::vector<int>> visits_;
  std::vector<std::pair<std::size_t, std::size_t>> firsts_;
  std::string objection_;
  int artefact_ = 0;
};

std::string name_of(const Machine& machine, const std::vector<AxisGrid>& grids,
                    const RotaryAngles& angles_rad) {
  std::string name;
  for (const AxisGrid& grid : grids) {
    name += fmt::format("{}{} {:g}", name.empty() ? "" : " ", machine.rotary[grid.axis].letter,
                        deg_from_rad(angles_rad[grid.axis]));
  }
  return name;
}

double touch_minutes(const Machine& machine, const PlannedStation& station, Plan& plan) {
  plan.stations.assign(1, station);
  return station_minutes(machine, plan, 0);
}

void each_set_of_angles(const std::vector<AxisGrid>& grids,
                        const std::function<void(const RotaryAngles&)>& look) {
  const std::function<void(std::size_t, RotaryAngles)> stand = [&](std::size_t k,
                                                                   RotaryAngles angles) {
    if (k == grids.size()) {
      look(angles);
      return;
    }
    for (const double angle : grids[k].angles_deg) {
      angles[grids[k].axis] = rad_from_deg(angle);
      stand(k + 1, angles);
    }
  };
  stand(0, RotaryAngles{});
}

}  // namespace

std::vector<AxisGrid> angle_grids(const Machine& machine, const std::vector<int>& axes,
                                  const ProbingDistances& distances, double step_deg) {
  std::vector<AxisGrid> grids;
  for (double step = step_deg; step <= 90.0; step *= 1.25) {
    grids.clear();
    double stays = 1.0;
    // The outer axis turns slowest in the list of stays.
    for (auto axis = axes.rbegin(); axis != axes.rend(); ++axis) {
      grids.push_back(grid_of(machine, distances, *axis, step));
      stays *= static_cast<double>(grids.back().angles_deg.size());
    }
    if (stays <= most_stays) break;
  }
  return grids;
}

std::vector<RotaryAngles> corner_angles(const std::vector<AxisGrid>& grids) {
  RotaryAngles low{}, high{};
  for (const AxisGrid& grid : grids) {
    if (grid.angles_deg.empty()) continue;
    low[grid.axis] = std::min(0.0, rad_from_deg(grid.angles_deg.front()));
    high[grid.axis] = std::max(0.0, rad_from_deg(grid.angles_deg.back()));
  }
  return {RotaryAngles{}, low, high};
}

PlannedStation CandidateSet::station(int candidate) const {
  const Candidate& chosen = candidates[static_cast<std::size_t>(candidate)];
  const Stay& stay = stays[static_cast<std::size_t>(chosen.stay)];
  PlannedStation station;
  station.angles_rad = stay.angles_rad;
  for (const int t : chosen.touches) {
    station.touches.push_back(stay.touches[static_cast<std::size_t>(t)]);
  }
  return station;
}

CandidateSet find_candidates(const Machine& machine, const std::vector<int>& axes,
                             const ProbingFeeds& feeds, const ProbingDistances& distances,
                             double step_deg, const std::function<void()>& tick) {
  const MachineState state = nominal_state(machine);
  CandidateSet set;
  set.axes = axes;
  set.grids = angle_grids(machine, axes, distances, step_deg);
  Plan timed;
  timed.feeds = feeds;
  timed.distances = distances;
  each_set_of_angles(set.grids, [&](const RotaryAngles& angles) {
    if (tick) tick();
    StayFinder finder(machine, state, distances, angles);
    const auto visits = finder.find();
    if (visits.empty()) {
      set.left_out.push_back({name_of(machine, set.grids, angles), finder.objection()});
      return;
    }
    const int stay = static_cast<int>(set.stays.size());
    set.stays.push_back(std::move(finder.stay()));
    for (const auto& touches : visits) {
      set.candidates.push_back({stay, touches, 0.0});
      const int made = static_cast<int>(set.candidates.size()) - 1;
      set.candidates.back().touch_minutes = touch_minutes(machine, set.station(made), timed);
    }
  });
  return set;
}

CandidateRows rows_of(const Machine& machine, const CandidateSet& set,
                      const ProbingDistances& distances) {
  Plan all;
  all.distances = distances;
  // Twice: whatever stands at an index position may be visited again.
  for (int round = 0; round < 2; ++round) {
    for (const Stay& stay : set.stays) {
      all.stations.push_back({"", stay.angles_rad, false, stay.touches});
    }
  }
  CandidateRows rows{VisitMaker(machine, nominal_survey(machine, all), VisitOrder::open), {}};
  for (const Candidate& candidate : set.candidates) {
    rows.visits.push_back(rows.maker.visit(candidate.stay, candidate.touches));
  }
  return rows;
}

}  // namespace pivotrace
