#include "pivotrace/plan/check_plan.h"

#include <fmt/format.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/machine/length_datum.h"
#include "pivotrace/machine/tool_axis.h"
#include "pivotrace/plan/foresight.h"
#include "plan/scene.h"
#include "plan/stay_check.h"

namespace pivotrace {

namespace {

constexpr std::array<char, 3> linear_letters = {'X', 'Y', 'Z'};

using Objection = std::optional<std::string>;

/// Share of a move at which nothing was met.
constexpr double beyond_the_end = 2.0;
/// Bodies this near are taken to touch [mm] (common practice, no source).
constexpr double touching_mm = 0.01;
/// The stylus ball meets something before the rest of the probe does where it is so much earlier [mm] (common
/// practice, no source).
constexpr double together_mm = 0.05;
/// Angles beside whole ones: 0.02 mm at 200 mm.
constexpr double beside_angles_rad = 1e-4;

/// Share of a straight move after which a body is nearer than `margin` to another; beyond_the_end
/// when it never is. To 1 / 2^16 of the move.
double share_until_near(ConvexBody moving, const Eigen::Vector3d& way, const ConvexBody& other,
                        double margin) {
  const auto clear_until = [&](double share) {
    moving.sweep_mm = share * way;
    return apart_by(moving, other, margin);
  };
  if (clear_until(1.0)) return beyond_the_end;
  double clear = 0.0, near = 1.0;
  for (int halving = 0; halving < 16; ++halving) {
    const double middle = 0.5 * (clear + near);
    (clear_until(middle) ? clear : near) = middle;
  }
  return near;
}

/// The stylus comes down onto an artefact from above with the tool axis up to 60 deg off Z: the
/// shank then still leads away from the ball (common practice, no source).
constexpr double least_upright = 0.5;
/// Sine of the slope at which a pin still counts as lying, and 1 - cosine at which a flat counts as
/// level: the top is then where it is looked for within 0.02 % and 2 % of the reach (common
/// practice, no source).
constexpr double level = 0.02;

/// Directions further apart than 125 deg (cosine) have their corner too far out: the way over the top
/// is shorter.
constexpr double least_round = -0.57;

/// One station seen from the stylus: bodies at its angles, and the checks of single moves.
class StationWays {
 public:
  StationWays(const Machine& machine, const MachineState& state, const ProbingDistances& distances,
              const RotaryAngles& angles_rad, bool flip)
      : machine_(machine),
        state_(state),
        distances_(distances),
        angles_rad_(angles_rad),
        flip_(flip),
        scene_(scene_at(machine, state, angles_rad)),
        tool_axis_(tool_axis_in_machine(machine, state, angles_rad)) {}

  PlacedTouch place(const PlannedTouch& touch) const {
    return place_touch(machine_, state_, distances_, angles_rad_, touch);
  }
  /// Before a touch of a pass that finds, and of one that measures.
  enum class Gap { wide, close };
  static constexpr std::array<Gap, 2> gaps = {Gap::wide, Gap::close};
  double gap(const PlacedTouch& placed, Gap which = Gap::wide) const {
    return which == Gap::wide ? stand_off_gap_mm(distances_, placed)
                              : approach_gap_mm(distances_, placed);
  }
  Eigen::Vector3d near(const PlacedTouch& placed) const {
    return placed.stand_off_mm(gap(placed, Gap::close));
  }
  Eigen::Vector3d above(const PlacedTouch& placed) const { return placed.above_mm(gap(placed)); }
  /// One lift above the travel plane, where ways to a touch begin and ways from it end.
  Eigen::Vector3d over(const PlacedTouch& placed, Gap which = Gap::wide) const {
    return placed.above_mm(gap(placed, which)) + tool_axis_ * distances_.lift;
  }

  /// Position the control shows for a stylus centre, length datum applied.
  Eigen::Vector3d shown(const Eigen::Vector3d& stylus_mm) const {
    return shown_by_control(machine_, state_.stylus_radius_mm,
                            shown_from_stylus(machine_, state_, stylus_mm, angles_rad_, flip_));
  }

  /// The stylus centre with the control at the safe height, straight above or below `stylus_mm`.
  Eigen::Vector3d at_safe_height(const Eigen::Vector3d& stylus_mm) const {
    return stylus_mm + Eigen::Vector3d(0, 0, distances_.safe_height - shown(stylus_mm).z());
  }

  /// Places follow what the program finds, up to `rough` from where the file has them. Only the
  /// safe height stays where it is.
  Objection outside_travel(const Eigen::Vector3d& stylus_mm) const {
    const Eigen::Vector3d p = shown(stylus_mm);
    for (int axis = 0; axis < 3; ++axis) {
      const Range& travel = machine_.linear.travel_mm[axis];
      const bool fixed = axis == 2 && std::abs(p.z() - distances_.safe_height) < 1e-6;
      const double room = fixed ? -1e-9 : distances_.rough;
      if (p[axis] - room >= travel.low && p[axis] + room <= travel.high) continue;
      return fmt::format("{} would have to go to {:.1f} mm{}, its travel is {:.1f} to {:.1f}",
                         linear_letters[axis], p[axis],
                         fixed || room <= 0.0 ? "" : fmt::format(", give or take {:g}", room),
                         travel.low, travel.high);
    }
    return std::nullopt;
  }

  /// Straight move from one stylus centre to another, `wanted_mm` clear of everything; `touched` is
  /// the artefact the stylus ball itself may meet (-1 = none).
  Objection blocked(const Eigen::Vector3d& from, const Eigen::Vector3d& to, double wanted_mm,
                    int touched = -1) const {
    if (Objection outside = outside_travel(to)) return outside;
    for (const ToolBody& part : tool_at(machine_, from, tool_axis_)) {
      ConvexBody swept = part.body;
      swept.sweep_mm = to - from;
      for (const SceneBody& solid : scene_) {
        double clear = wanted_mm;
        if (touched >= 0 && solid.artefact == touched) {
          if (part.part == ToolPart::stylus) continue;
          clear = shank_clearance_mm;
        }
        // The shank starts inside the stylus ball: near the touched surface only the part above it
        // can meet anything the ball does not meet first.
        if (touched >= 0 && solid.artefact == touched && part.part == ToolPart::shank) {
          swept.points.front() += tool_axis_ * machine_.probe.stylus_radius_mm();
        }
        if (!apart_by(swept, solid.body, clear)) {
          return fmt::format("the {} would come within {:.1f} mm of {}", tool_part_word(part.part),
                             clear, solid.name);
        }
      }
    }
    return std::nullopt;
  }

  Objection objection_to(const PlannedTouch& touch) const {
    const PlacedTouch placed = place(touch);
    if (placed.outward.norm() < 0.5) return "the direction of the touch lies along its axis";
    if (placed.reach_mm <= 0.0) return "the stylus does not fit into the bore";
    const Eigen::Vector3d up = above(placed);
    const Eigen::Vector3d stand_off = placed.stand_off_mm(gap(placed));
    const Eigen::Vector3d end = placed.search_end_mm(distances_.rough + distances_.search);
    if (Objection o = blocked(up, over(placed), watched_clearance_mm)) return o;
    if (Objection o = blocked(up, stand_off, watched_clearance_mm)) return o;
    if (Objection o =
            blocked(stand_off, placed.contact_mm(), watched_clearance_mm, touch.artefact)) {
      return o;
    }
    const Eigen::Vector3d near_above = placed.above_mm(gap(placed, Gap::close));
    if (Objection o = blocked(over(placed, Gap::close), near_above, watched_clearance_mm)) return o;
    if (Objection o = blocked(near_above, near(placed), watched_clearance_mm, touch.artefact)) {
      return o;
    }
    return outside_travel(end);
  }

  /// The way to a touch from the one before it on the same target.
  WayBetween way_between(const PlannedTouch& before, const PlannedTouch& touch) const {
    const PlacedTouch from = place(before), to = place(touch);
    if (machine_.artefacts[touch.artefact].kind == ArtefactKind::flat) return WayBetween::over;
    if (to.side < 0.0) {
      const bool free = !blocked(near(from), near(to), watched_clearance_mm, touch.artefact);
      return free ? WayBetween::straight : WayBetween::over;
    }
    if (from.outward.dot(to.outward) < least_round) return WayBetween::over;
    const double away = to.reach_mm + gap(to, Gap::close);
    const Eigen::Vector3d corner = to.centre_mm + away * corner_between(from.outward, to.outward);
    const double rise = to.height_mm - tool_axis_.dot(corner - to.centre_mm);
    const Eigen::Vector3d up = corner + rise * tool_axis_;
    const bool barred =
        blocked(near(from), corner, watched_clearance_mm, touch.artefact) ||
        blocked(corner, near(to), watched_clearance_mm, touch.artefact) ||
        blocked(corner, from.stand_off_mm(gap(from)), watched_clearance_mm, touch.artefact) ||
        blocked(corner, up, watched_clearance_mm) ||
        blocked(up, at_safe_height(up), watched_clearance_mm);
    return barred ? WayBetween::over : WayBetween::round;
  }

  /// Straight down in Z from the safe height onto the top of what a touch is about.
  Objection objection_to_feeler(const PlannedTouch& touch) const {
    const PlacedTouch placed = place(touch);
    if (!has_top(touch)) return "it has no top to come down on";
    if (tool_axis_.z() < least_upright) return "the spindle leans too far";
    const Eigen::Vector3d up = Eigen::Vector3d::UnitZ();
    const Eigen::Vector3d contact = placed.centre_mm + placed.reach_mm * up;
    const Eigen::Vector3d near = contact + distances_.clearance * up;
    const Eigen::Vector3d high = at_safe_height(contact);
    if (Objection o = blocked(high, high, rapid_clearance_mm)) return o;
    if (Objection o = blocked(high, near, watched_clearance_mm)) return o;
    if (Objection o = blocked(near, contact, watched_clearance_mm, touch.artefact)) return o;
    return outside_travel(contact - (distances_.rough + distances_.search) * up);
  }

  /// What a straight move meets first.
  enum class Meeting { nothing, stylus_ball, other };
  Meeting first_met(const Eigen::Vector3d& from, const Eigen::Vector3d& to) const {
    double ball = beyond_the_end, other = beyond_the_end;
    for (const ToolBody& part : tool_at(machine_, from, tool_axis_)) {
      const bool is_ball = part.part == ToolPart::stylus;
      for (const SceneBody& solid : scene_) {
        ConvexBody body = part.body;
        // The shank starts inside the stylus ball, which meets first whatever lies ahead.
        if (part.part == ToolPart::shank) {
          body.points.front() += tool_axis_ * machine_.probe.stylus_radius_mm();
        }
        const double margin = part.part == ToolPart::holder ? watched_clearance_mm : touching_mm;
        double& first = is_ball ? ball : other;
        first = std::min(first, share_until_near(body, to - from, solid.body, margin));
      }
    }
    if (ball == beyond_the_end && other == beyond_the_end) return Meeting::nothing;
    // Met as good as together, it is rounding that would tell which came first.
    const double together = together_mm / std::max((to - from).norm(), together_mm);
    return ball + together < other ? Meeting::stylus_ball : Meeting::other;
  }

  /// Down to the first touch of every target, between the touches (and from the last to the first
  /// again, for another pass), and up again.
  Objection objection_to_ways(const std::vector<PlannedTouch>& touches) const {
    for (std::size_t first = 0; first < touches.size();) {
      std::size_t end = first + 1;
      while (end < touches.size() && same_target(machine_, touches[first], touches[end])) ++end;
      for (const Gap which : gaps) {
        if (Objection o = objection_to_pass(touches, first, end, which)) return o;
      }
      if (first > 0) {
        if (Objection o = objection_to_crossing(place(touches[first - 1]), place(touches[first]))) {
          return o;
        }
      }
      first = end;
    }
    return std::nullopt;
  }

  Objection objection_to_pass(const std::vector<PlannedTouch>& touches, std::size_t first,
                              std::size_t end, Gap which) const {
    const Eigen::Vector3d begin = over(place(touches[first]), which);
    const Eigen::Vector3d high = at_safe_height(begin);
    if (Objection o = blocked(high, high, rapid_clearance_mm)) return "at the safe height " + *o;
    if (Objection o = blocked(high, begin, watched_clearance_mm)) return o;
    Eigen::Vector3d last = begin;
    for (std::size_t i = first; i < end; ++i) {
      const PlacedTouch placed = place(touches[i]);
      const Eigen::Vector3d up = placed.above_mm(gap(placed, which));
      if (Objection o = blocked(last, up, watched_clearance_mm)) return o;
      last = over(placed, which);
    }
    if (Objection o = blocked(last, at_safe_height(last), rapid_clearance_mm)) return o;
    return blocked(over(place(touches[end - 1])), begin, watched_clearance_mm);
  }

  /// From one target to the next, at the safe height.
  Objection objection_to_crossing(const PlacedTouch& left, const PlacedTouch& next) const {
    for (const Gap from : gaps) {
      for (const Gap to : gaps) {
        if (Objection o = blocked(at_safe_height(over(left, from)), at_safe_height(over(next, to)),
                                  rapid_clearance_mm)) {
          return o;
        }
      }
    }
    return std::nullopt;
  }

 private:
  bool has_top(const PlannedTouch& touch) const {
    const Artefact& artefact = machine_.artefacts[touch.artefact];
    if (artefact.kind == ArtefactKind::ball) return true;
    if (artefact.kind == ArtefactKind::bore) return false;
    const double rise =
        (machine_from_carried_rotation(machine_, state_, artefact.carried_by, angles_rad_) *
         state_.artefacts[touch.artefact].direction)
            .z();
    return artefact.kind == ArtefactKind::pin ? std::abs(rise) < level : rise > 1.0 - level;
  }

  const Machine& machine_;
  const MachineState& state_;
  const ProbingDistances& distances_;
  RotaryAngles angles_rad_;
  bool flip_;
  std::vector<SceneBody> scene_;
  Eigen::Vector3d tool_axis_;
};

Objection outside_rotary_travel(const Machine& machine, const ProbingDistances& distances,
                                const RotaryAngles& angles_rad) {
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    const RotaryAxis& axis = machine.rotary[i];
    const double run_up = rad_from_deg(distances.turn_run_up_deg);
    for (const double angle : {angles_rad[i], angles_rad[i] - run_up}) {
      if (axis.travel_rad.contains(angle, 1e-9)) continue;
      return fmt::format("{} would have to turn to {:.1f} deg, its travel is {:.1f} to {:.1f}",
                         axis.letter, deg_from_rad(angle), deg_from_rad(axis.travel_rad.low),
                         deg_from_rad(axis.travel_rad.high));
    }
  }
  return std::nullopt;
}

/// A turn is looked at in no more steps than this: half a millimetre each at the rim of a machine of 10 m
/// would be fewer.
constexpr int most_turn_steps = 20000;

/// How far from the line of axis `axis` anything can be that comes near the tool, wherever the axes outside
/// it stand: a point of the work further out never meets it, however long an obstacle is said to be.
double tool_radius_mm(const Machine& machine, const MachineState& state,
                      const Eigen::Vector3d& stylus_mm, int axis) {
  double between = 0.0;
  Eigen::Vector3d outer = state.axis_lines[axis].point_mm;
  for (int i = axis; i >= 0; --i) {
    if (machine.rotary[i].side != AxisSide::work) continue;
    between += (state.axis_lines[i].point_mm - outer).norm();
    outer = state.axis_lines[i].point_mm;
  }
  const double tool =
      machine.probe.stylus_length_mm.value_or(0.0) + machine.probe.holder_length_mm.value_or(0.0) +
      machine.probe.holder_diameter_mm.value_or(0.0) + machine.probe.stylus_diameter_mm;
  return between + (stylus_mm - outer).norm() + tool + rapid_clearance_mm;
}

/// Turning from one set of angles to the next with the tool standing still at the safe height. Each
/// step is as far as the proven distance allows at the largest radius that matters, so nothing is
/// stepped over.
Objection objection_to_turn(const Machine& machine, const MachineState& state,
                            const ProbingDistances& distances, const RotaryAngles& from,
                            const RotaryAngles& to, const Eigen::Vector3d& shown_mm) {
  const Eigen::Vector3d shown = shown_inside(machine, state.stylus_radius_mm,
                                             {shown_mm.x(), shown_mm.y(), distances.safe_height});
  const bool tool_turns = [&] {
    for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
      if (machine.rotary[i].side == AxisSide::tool && from[i] != to[i]) return true;
    }
    return false;
  }();
  const Eigen::Vector3d standing = stylus_in_machine(machine, state, shown, from);
  double reach = 1.0;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    if (from[i] == to[i]) continue;
    const int axis = static_cast<int>(i);
    const double length =
        machine.probe.stylus_length_mm.value_or(0.0) + machine.probe.holder_length_mm.value_or(0.0);
    if (machine.rotary[i].side == AxisSide::tool) {
      reach += state.axis_lines[i].point_mm.norm() + length;
      continue;
    }
    const double carried = carried_radius_mm(machine, state, axis);
    reach +=
        tool_turns ? carried : std::min(carried, tool_radius_mm(machine, state, standing, axis));
  }
  double largest = 0.0;
  for (std::size_t i = 0; i < from.size(); ++i)
    largest = std::max(largest, std::abs(to[i] - from[i]));
  if (largest == 0.0) return std::nullopt;
  double done = 0.0;
  for (int step = 0; done < 1.0; ++step) {
    if (step == most_turn_steps) {
      return "whether the turn is clear cannot be shown: something near it is larger than any "
             "machine";
    }
    RotaryAngles now = from;
    for (std::size_t i = 0; i < now.size(); ++i) now[i] += done * (to[i] - from[i]);
    const Eigen::Vector3d stylus = stylus_in_machine(machine, state, shown, now);
    double nearest = 1e9;
    const std::vector<SceneBody> scene = scene_at(machine, state, now);
    for (const ToolBody& part :
         tool_at(machine, stylus, tool_axis_in_machine(machine, state, now))) {
      for (const SceneBody& solid : scene) {
        const double distance = distance_bound_mm(part.body, solid.body, 0.5);
        if (distance < rapid_clearance_mm) {
          return fmt::format("while the rotary axes turn, {} comes within {:.0f} mm of the {}",
                             solid.name, rapid_clearance_mm, tool_part_word(part.part));
        }
        nearest = std::min(nearest, distance);
      }
    }
    const double free_angle = std::max(nearest - rapid_clearance_mm, 0.5) / reach;
    done += free_angle / largest;
  }
  return std::nullopt;
}

/// One axis after the other, outermost first, each by way of the angle it is reached from.
Objection objection_to_turns(const Machine& machine, const MachineState& state,
                             const ProbingDistances& distances, const RotaryAngles& from,
                             const RotaryAngles& to, const Eigen::Vector3d& shown_mm) {
  RotaryAngles now = from;
  for (std::size_t i = 0; i < from.size(); ++i) {
    if (from[i] == to[i]) continue;
    for (const double angle : {to[i] - rad_from_deg(distances.turn_run_up_deg), to[i]}) {
      RotaryAngles next = now;
      next[i] = angle;
      if (Objection o = objection_to_turn(machine, state, distances, now, next, shown_mm)) return o;
      now = next;
    }
  }
  return std::nullopt;
}

/// Where the stylus would really be with the control showing what `planned` wants, the rotary axes
/// standing at other angles.
class MistakenWays {
 public:
  MistakenWays(const Machine& machine, const MachineState& state, const StationWays& planned,
               const StationWays& real, const RotaryAngles& real_rad, bool flip)
      : machine_(machine),
        state_(state),
        planned_(planned),
        real_(real),
        real_rad_(real_rad),
        flip_(flip) {}

  StationWays::Meeting first_met(const Eigen::Vector3d& from, const Eigen::Vector3d& to) const {
    return real_.first_met(really(from), really(to));
  }

 private:
  Eigen::Vector3d really(const Eigen::Vector3d& stylus_mm) const {
    const Eigen::Vector3d shown =
        shown_inside(machine_, state_.stylus_radius_mm, planned_.shown(stylus_mm));
    return stylus_in_machine(machine_, state_, shown, real_rad_, flip_);
  }

  const Machine& machine_;
  const MachineState& state_;
  const StationWays& planned_;
  const StationWays& real_;
  const RotaryAngles& real_rad_;
  bool flip_;
};

/// Whether the way to the first touch, or the feeler before it, ends without harm.
bool wrong_turn_is_felt(const StationWays& planned, const MistakenWays& mistaken,
                        const ProbingDistances& distances, const PlannedTouch& touch,
                        bool watched) {
  using Meeting = StationWays::Meeting;
  const PlacedTouch placed = planned.place(touch);
  if (!watched && !planned.objection_to_feeler(touch)) {
    const Eigen::Vector3d up = Eigen::Vector3d::UnitZ();
    const Eigen::Vector3d contact = placed.centre_mm + placed.reach_mm * up;
    const Eigen::Vector3d end = contact - (distances.rough + distances.search) * up;
    return mistaken.first_met(planned.at_safe_height(contact), end) != Meeting::other;
  }
  const auto felt_on_the_way = [&](StationWays::Gap gap) {
    const double wide = planned.gap(placed, gap);
    const Eigen::Vector3d over = planned.over(placed, gap), stand_off = placed.stand_off_mm(wide);
    const std::array<Eigen::Vector3d, 4> stops = {planned.at_safe_height(over), over,
                                                  placed.above_mm(wide), stand_off};
    for (std::size_t i = 1; i < stops.size(); ++i) {
      const Meeting met = mistaken.first_met(stops[i - 1], stops[i]);
      if (met == Meeting::stylus_ball && watched) return true;
      if (met != Meeting::nothing) return false;
    }
    const Eigen::Vector3d end = placed.search_end_mm(distances.rough + distances.search);
    return mistaken.first_met(stand_off, end) != Meeting::other;
  };
  return felt_on_the_way(StationWays::Gap::wide) &&
         (!watched || felt_on_the_way(StationWays::Gap::close));
}

/// A place straight down from the safe height that tells a wrong turn from a right one.
std::optional<Eigen::Vector3d> empty_place(const StationWays& planned, const StationWays& real,
                                           const ProbingDistances& distances,
                                           const PlannedTouch& touch) {
  if (real.objection_to_feeler(touch)) return std::nullopt;
  const PlacedTouch placed = real.place(touch);
  const Eigen::Vector3d up = Eigen::Vector3d::UnitZ();
  const Eigen::Vector3d contact = placed.centre_mm + placed.reach_mm * up;
  const Eigen::Vector3d end = contact - (distances.rough + distances.search) * up;
  const Eigen::Vector3d high = planned.at_safe_height(contact);
  if (planned.blocked(high, high, rapid_clearance_mm)) return std::nullopt;
  if (planned.blocked(high, end, watched_clearance_mm)) return std::nullopt;
  return planned.shown(end);
}

Problem station_problem(const PlannedStation& station, ProblemNumber number,
                        const std::string& what) {
  return {number,
          fmt::format("station {}: {}", station.label, what),
          {},
          number == ProblemNumber::cannot_plan
              ? "set `self_find = false`, or let another station be the first"
              : "move or leave out this station, or set up artefact and obstacles differently"};
}

void check_numbers(const Plan& plan, Problems& problems) {
  const ProbingDistances& d = plan.distances;
  const auto complain = [&](const std::string& what, const std::string& advice) {
    problems.push_back({ProblemNumber::out_of_range, what, {}, advice});
  };
  if (!(plan.feeds.find > 0 && plan.feeds.measure > 0 && plan.feeds.position > 0)) {
    complain("feeds must be above 0", "common: find 300, measure 30, position 1500 mm/min");
  }
  if (plan.feeds.measure > plan.feeds.find) {
    complain("the measuring feed is faster than the finding feed", "measure slowly");
  }
  if (!(d.clearance > 0 && d.back_off > 0 && d.search > 0 && d.lift > 0 && d.limit > 0 &&
        d.agreement > 0) ||
      d.rough < 0) {
    complain(
        "clearance, back_off, search, lift, limit and agreement must be above 0, rough not "
        "negative",
        "see the [distances] of a plan made by `pivotrace plan`");
  }
  if (d.clearance + d.lift < rapid_clearance_mm) {
    complain("clearance and lift together are too small: rapid moves up start that far away",
             fmt::format("make them at least {} mm together", rapid_clearance_mm));
  }
  if (!(d.approach > 0)) complain("approach must be above 0", "common: 1.5 mm");
  if (d.back_off > d.clearance) {
    complain("back_off is larger than clearance", "back off less than the clearance");
  }
}

}  // namespace

struct StayCheck::Ways {
  const Machine& machine;
  const ProbingDistances& distances;
  const RotaryAngles angles_rad;
  const StationWays at;
  const Eigen::Vector3d tool_axis;
};

StayCheck::StayCheck(const Machine& machine, const MachineState& state,
                     const ProbingDistances& distances, const RotaryAngles& angles_rad, bool flip)
    : ways_(new Ways{machine, distances, angles_rad,
                     StationWays(machine, state, distances, angles_rad, flip),
                     tool_axis_in_machine(machine, state, angles_rad)}) {}
StayCheck::~StayCheck() = default;

std::optional<std::string> StayCheck::objection_to_angles() const {
  if (Objection o = outside_rotary_travel(ways_->machine, ways_->distances, ways_->angles_rad)) {
    return o;
  }
  if (ways_->tool_axis.z() < -1e-9) return "the spindle would point upwards";
  return std::nullopt;
}

std::optional<std::string> StayCheck::objection_to(const PlannedTouch& touch) const {
  return ways_->at.objection_to(touch);
}

std::optional<std::string> StayCheck::objection_to_ways(
    const std::vector<PlannedTouch>& touches) const {
  return ways_->at.objection_to_ways(touches);
}

bool StayCheck::can_start_at(const PlannedTouch& place) const {
  return ways_->tool_axis.z() > 1.0 - 1e-9 &&
         ways_->machine.artefacts[place.artefact].kind != ArtefactKind::flat &&
         !ways_->at.objection_to_feeler(place);
}

std::optional<std::string> objection_to_touch(const Machine& machine, const MachineState& state,
                                              const ProbingDistances& distances,
                                              const RotaryAngles& angles_rad, bool flip,
                                              const PlannedTouch& touch) {
  return StationWays(machine, state, distances, angles_rad, flip).objection_to(touch);
}

std::optional<std::string> objection_to_feeler(const Machine& machine, const MachineState& state,
                                               const ProbingDistances& distances,
                                               const RotaryAngles& angles_rad, bool flip,
                                               const PlannedTouch& place) {
  return StationWays(machine, state, distances, angles_rad, flip).objection_to_feeler(place);
}

std::optional<std::string> objection_to_self_find(const Machine& machine, const MachineState& state,
                                                  const Plan& plan) {
  const PlannedStation& first = plan.stations.front();
  if (first.touches.empty()) return "the first station has no touches";
  if (tool_axis_in_machine(machine, state, first.angles_rad).z() < 1.0 - 1e-9) {
    return "the spindle leans at the first station";
  }
  const ArtefactKind kind = machine.artefacts[first.touches.front().artefact].kind;
  if (kind == ArtefactKind::flat) return "the top of a flat does not tell where it is";
  return objection_to_feeler(machine, state, plan.distances, first.angles_rad, first.flip,
                             first.touches.front());
}

std::optional<std::string> objection_to_station(const Machine& machine, const MachineState& state,
                                                const ProbingDistances& distances,
                                                const PlannedStation& station) {
  if (Objection o = outside_rotary_travel(machine, distances, station.angles_rad)) return o;
  const StationWays ways(machine, state, distances, station.angles_rad, station.flip);
  if (tool_axis_in_machine(machine, state, station.angles_rad).z() < -1e-9) {
    return "the spindle would point upwards";
  }
  for (std::size_t i = 0; i < station.touches.size(); ++i) {
    if (Objection o = ways.objection_to(station.touches[i])) {
      return fmt::format("touch {}: {}", i + 1, *o);
    }
  }
  return ways.objection_to_ways(station.touches);
}

std::vector<WayBetween> ways_between(const Machine& machine, const MachineState& state,
                                     const ProbingDistances& distances,
                                     const PlannedStation& station) {
  const StationWays ways(machine, state, distances, station.angles_rad, station.flip);
  std::vector<WayBetween> between;
  for (std::size_t i = 0; i < station.touches.size(); ++i) {
    const bool first = i == 0 || !same_target(machine, station.touches[i - 1], station.touches[i]);
    between.push_back(first ? WayBetween::over
                            : ways.way_between(station.touches[i - 1], station.touches[i]));
  }
  return between;
}

Eigen::Vector3d corner_between(const Eigen::Vector3d& from_out, const Eigen::Vector3d& to_out) {
  return (from_out + to_out) / (1.0 + from_out.dot(to_out));
}

WrongTurn wrong_turn_at(const Machine& machine, const MachineState& state,
                        const ProbingDistances& distances, const RotaryAngles& before_rad,
                        const PlannedStation& station, bool watched) {
  RotaryAngles wrong_rad = station.angles_rad;
  bool tool_turns = false;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    wrong_rad[i] = 2.0 * before_rad[i] - station.angles_rad[i];
    tool_turns |= machine.rotary[i].side == AxisSide::tool && wrong_rad[i] != before_rad[i];
  }
  if (station.touches.empty() || wrong_rad == station.angles_rad) return {};
  const StationWays planned(machine, state, distances, station.angles_rad, station.flip);
  const PlannedTouch& touch = station.touches.front();
  WrongTurn found;
  // At whole angles bodies may just touch, and rounding would tell what is met: it has to be felt beside them.
  for (const double beside_rad : {-beside_angles_rad, beside_angles_rad}) {
    RotaryAngles beside = wrong_rad;
    for (std::size_t i = 0; i < machine.rotary.size(); ++i) beside[i] += beside_rad;
    const StationWays real(machine, state, distances, beside, station.flip);
    const MistakenWays mistaken(machine, state, planned, real, beside, station.flip);
    found.felt = found.felt && wrong_turn_is_felt(planned, mistaken, distances, touch, watched);
  }
  if (!found.felt && watched && !tool_turns) {
    const StationWays real(machine, state, distances, wrong_rad, station.flip);
    found.empty_shown_mm = empty_place(planned, real, distances, touch);
  }
  return found;
}

std::optional<std::string> objection_to_way(const Machine& machine, const MachineState& state,
                                            const ProbingDistances& distances,
                                            const PlannedStation& before,
                                            const PlannedStation& station) {
  const StationWays ways(machine, state, distances, before.angles_rad, before.flip);
  const StationWays next(machine, state, distances, station.angles_rad, station.flip);
  for (const StationWays::Gap gap : StationWays::gaps) {
    const Eigen::Vector3d left = ways.shown(ways.over(ways.place(before.touches.back()), gap));
    if (Objection o = objection_to_turns(machine, state, distances, before.angles_rad,
                                         station.angles_rad, left)) {
      return o;
    }
    // Sideways at the safe height with the axes already turned: from the old place to the new.
    const Eigen::Vector3d old_shown =
        shown_inside(machine, state.stylus_radius_mm, {left.x(), left.y(), distances.safe_height});
    const Eigen::Vector3d from =
        stylus_in_machine(machine, state, old_shown, station.angles_rad, station.flip);
    const Eigen::Vector3d to =
        next.at_safe_height(next.over(next.place(station.touches.front()), gap));
    if (const Objection o = next.blocked(from, to, rapid_clearance_mm)) {
      return "on the way there at the safe height " + *o;
    }
  }
  return std::nullopt;
}

Problems check_plan(const Machine& machine, const Plan& plan) {
  Problems problems;
  check_numbers(plan, problems);
  if (!problems.empty()) return problems;
  if (plan.touch_count() == 0) {
    return {{ProblemNumber::cannot_plan, "this plan has no touches", {}, "add stations"}};
  }
  const MachineState state = nominal_state(machine);
  const PlannedStation* before = nullptr;
  for (const PlannedStation& station : plan.stations) {
    if (const Objection o = objection_to_station(machine, state, plan.distances, station)) {
      problems.push_back(station_problem(station, ProblemNumber::collision, *o));
      continue;
    }
    if (before != nullptr) {
      if (const Objection o = objection_to_way(machine, state, plan.distances, *before, station)) {
        problems.push_back(station_problem(station, ProblemNumber::collision, *o));
      }
    }
    before = &station;
  }
  if (plan.self_find) {
    if (const Objection o = objection_to_self_find(machine, state, plan)) {
      problems.push_back(
          station_problem(plan.stations.front(), ProblemNumber::cannot_plan,
                          "the first artefact cannot be found from a jogged position: " + *o));
    }
  }
  return problems;
}

double safe_height_mm(const Machine& machine, const MachineState& state,
                      const ProbingDistances& distances, const std::vector<RotaryAngles>& angles) {
  // Everything is looked at on a grid between the extremes of each axis; what can rise between two
  // grid angles is covered by the radius times half a step.
  constexpr double step_rad = 5.0 * std::numbers::pi / 180.0;
  RotaryAngles low = angles.front(), high = angles.front();
  for (const RotaryAngles& a : angles) {
    for (std::size_t i = 0; i < a.size(); ++i) {
      low[i] = std::min(low[i], a[i] - rad_from_deg(distances.turn_run_up_deg));
      high[i] = std::max(high[i], a[i]);
    }
  }
  double top = -1e9, tool_bottom = 1e9;
  const Eigen::Vector3d down = -Eigen::Vector3d::UnitZ();
  const std::function<void(std::size_t, RotaryAngles)> visit = [&](std::size_t axis,
                                                                   RotaryAngles now) {
    if (axis == machine.rotary.size()) {
      for (const SceneBody& solid : scene_at(machine, state, now)) {
        top = std::max(top, solid.body.support(-down).z() + solid.body.radius_mm);
      }
      const Eigen::Vector3d stylus =
          stylus_in_machine(machine, state, Eigen::Vector3d::Zero(), now);
      for (const ToolBody& part :
           tool_at(machine, stylus, tool_axis_in_machine(machine, state, now))) {
        tool_bottom = std::min(tool_bottom, part.body.support(down).z() - part.body.radius_mm);
      }
      return;
    }
    const double span = std::min(high[axis] - low[axis], 2.0 * std::numbers::pi);
    const int steps = static_cast<int>(std::ceil(span / step_rad));
    for (int i = 0; i <= steps; ++i) {
      now[axis] = low[axis] + (steps == 0 ? 0.0 : span * i / steps);
      visit(axis + 1, now);
    }
  };
  visit(0, low);
  double between = 0.0;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    if (machine.rotary[i].side == AxisSide::work && high[i] > low[i]) {
      const double radius = carried_radius_mm(machine, state, static_cast<int>(i));
      between += radius * (1.0 - std::cos(0.5 * step_rad));
    }
  }
  const double of_centre = top + between + rapid_clearance_mm + distances.rough +
                           distances.clearance + distances.lift - tool_bottom;
  const double of_datum =
      of_centre - centre_above_datum(machine.probe.length_datum, state.stylus_radius_mm);
  return std::min(std::ceil(of_datum), machine.linear.travel_mm[2].high);
}

}  // namespace pivotrace
