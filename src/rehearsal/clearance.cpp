#include "rehearsal/clearance.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "pivotrace/machine/kinematics.h"
#include "pivotrace/machine/tool_axis.h"
#include "pivotrace/rehearsal/rehearse.h"

namespace pivotrace::rehearsal {

namespace {

/// Bodies that a cheap bound puts further apart than the guard distance and this are not looked at
/// more closely.
constexpr double clear_mm = 1.0;
/// A motion that begins in contact is tried for this part of its way: does it lead out?
constexpr double first_part = 0.01;  // common practice, no source
/// What counts as not getting nearer: round-off of the distances.
constexpr double no_nearer_mm = 1e-6;
/// A shank that was pressed into something is free again after this way, or it goes through:
/// common practice, no source (a stylus gives way by a few mm).
constexpr double pressed_way_mm = 10.0;
/// Clearances that differ by less count as equal, so that every computer reports the same one: the first.
constexpr double equal_mm = 1e-9;
constexpr double golden_section = 0.38196601125010515;
constexpr int refinements = 24;

bool turns(const Posture& from, const Posture& to) { return from.angles_rad != to.angles_rad; }

}  // namespace

Posture between(const Posture& from, const Posture& to, double part) {
  Posture posture;
  posture.shown_mm = from.shown_mm + part * (to.shown_mm - from.shown_mm);
  for (std::size_t i = 0; i < posture.angles_rad.size(); ++i) {
    posture.angles_rad[i] = from.angles_rad[i] + part * (to.angles_rad[i] - from.angles_rad[i]);
    posture.motions_mm[i] = from.motions_mm[i] + part * (to.motions_mm[i] - from.motions_mm[i]);
  }
  return posture;
}

MotionChecker::MotionChecker(const Machine& machine, const MachineState& state,
                             std::vector<ToolSolid> tool, std::vector<WorkSolid> work)
    : machine_(&machine), state_(state), tool_(std::move(tool)), work_(std::move(work)) {}

Eigen::Vector3d MotionChecker::ball_mm(const Posture& posture) const {
  return stylus_in_machine(*machine_, state_, posture.shown_mm, posture.angles_rad) +
         tool_displacement_mm(*machine_, state_, posture.angles_rad, posture.motions_mm);
}

Eigen::Vector3d MotionChecker::tool_axis(const Posture& posture) const {
  return tool_axis_in_machine(*machine_, state_, posture.angles_rad);
}

Eigen::Isometry3d MotionChecker::machine_from_carried_pose(int carried_by,
                                                           const Posture& posture) const {
  Eigen::Isometry3d pose = Eigen::Isometry3d::Identity();
  if (carried_by < 0) return pose;
  pose.linear() = machine_from_carried_rotation(*machine_, state_, carried_by, posture.angles_rad);
  pose.translation() =
      machine_from_carried(*machine_, state_, carried_by, Eigen::Vector3d::Zero(),
                           posture.angles_rad) +
      work_displacement_mm(*machine_, state_, carried_by, posture.angles_rad, posture.motions_mm);
  return pose;
}

Solid MotionChecker::tool_solid(int tool, const Posture& posture) const {
  return tool_[tool].at(ball_mm(posture), tool_axis(posture));
}

Solid MotionChecker::work_solid(int work, const Posture& posture) const {
  Solid solid = work_[work].solid;
  solid.pose = machine_from_carried_pose(work_[work].carried_by, posture) * solid.pose;
  return solid;
}

double MotionChecker::distance_mm(int tool, int work, const Posture& posture) const {
  return solid_distance_mm(tool_solid(tool, posture), work_solid(work, posture));
}

/// Largest way any point of one body can make towards the other during the whole motion [mm].
double MotionChecker::speed_bound_mm(int tool, int work, const Posture& from,
                                     const Posture& to) const {
  double bound = (to.shown_mm - from.shown_mm).norm();
  for (std::size_t i = 0; i < to.motions_mm.size(); ++i) {
    bound += (to.motions_mm[i] - from.motions_mm[i]).norm();
  }
  const auto turn = [&](int axis) {
    return std::fabs(to.angles_rad[axis] - from.angles_rad[axis]);
  };
  // The furthest a point can be from an axis: along the chain of points on the axes further in,
  // none of which the turn of its own axis moves, to the body and through it.
  const auto add_chain = [&](const std::vector<int>& chain, const Eigen::Vector3d& body,
                             double radius) {
    double reach = 0.0;
    Eigen::Vector3d inner = body;
    for (auto axis = chain.rbegin(); axis != chain.rend(); ++axis) {
      const Line& line = state_.axis_lines[*axis];
      const Eigen::Vector3d foot = inner - perpendicular_from_line(line, inner);
      reach += (inner - foot).norm();
      bound += turn(*axis) * (reach + radius);
      inner = foot;
    }
  };
  const WorkSolid& body = work_[work];
  add_chain(machine_->work_chain(body.carried_by), body.solid.centre_mm(),
            body.solid.bounding_radius_mm());
  add_chain(machine_->tool_chain(), state_.stylus_offset_mm, tool_[tool].reach_mm());
  return bound;
}

/// One motion under examination.
class MotionChecker::Check {
 public:
  Check(const MotionChecker& checker, const Posture& from, const Posture& to,
        const MotionRules& rules, double smallest_so_far_mm)
      : checker_(checker),
        from_(from),
        to_(to),
        rules_(rules),
        turning_(turns(from, to)),
        smallest_mm_(smallest_so_far_mm) {
    if (!turning_) fix_work();
    axis_ = checker.tool_axis(from);
    ball_from_ = checker.ball_mm(from);
    ball_to_ = checker.ball_mm(to);
  }

  MotionReport run() {
    list_pairs();
    while (Pair* pair = first_due()) {
      if (!look_at(*pair)) break;
    }
    refine_smallest();
    return report_;
  }

 private:
  struct Pair {
    int tool = 0;
    int work = 0;
    double speed_mm = 0.0;
    double due = 0.0;  ///< part of the motion at which it must be looked at
    bool counts_for_smallest = false;
  };

  /// Without a turn the work stands still: place it once.
  void fix_work() {
    for (std::size_t w = 0; w < checker_.work_.size(); ++w) {
      fixed_work_.push_back(checker_.work_solid(static_cast<int>(w), from_));
    }
  }

  Solid tool_at(int tool, double part) const {
    if (turning_) return checker_.tool_solid(tool, between(from_, to_, part));
    return checker_.tool_[tool].at(ball_from_ + part * (ball_to_ - ball_from_), axis_);
  }

  Solid work_at(int work, double part) const {
    return turning_ ? checker_.work_solid(work, between(from_, to_, part)) : fixed_work_[work];
  }

  double distance(const Pair& pair, double part) const {
    return solid_distance_mm(tool_at(pair.tool, part), work_at(pair.work, part));
  }

  void list_pairs() {
    for (std::size_t t = 0; t < checker_.tool_.size(); ++t) {
      for (std::size_t w = 0; w < checker_.work_.size(); ++w) {
        const bool is_ball = checker_.tool_[t].is_ball();
        const bool is_holder = checker_.tool_[t].part == ToolPart::holder;
        const int artefact = checker_.work_[w].artefact;
        if (is_ball && rules_.ball_may_touch) continue;
        if (static_cast<int>(w) == rules_.pressed_work && !is_holder) continue;
        const int part_of = checker_.work_[w].part_of;
        if (part_of >= 0 && part_of == rules_.pressed_artefact && !is_holder) continue;
        Pair pair;
        pair.tool = static_cast<int>(t);
        pair.work = static_cast<int>(w);
        pair.speed_mm = checker_.speed_bound_mm(pair.tool, pair.work, from_, to_);
        pair.counts_for_smallest = artefact < 0 || is_holder;
        if (!leads_out_of_contact(pair)) {
          pairs_.push_back(pair);
        } else if (rules_.guard_mm > 0.0 && !report_.near) {
          report_.near = {pair.tool, pair.work, 0.0, std::max(0.0, distance(pair, 0.0))};
        }
      }
    }
  }

  /// A straight move away from a body it touches. The distance of convex bodies is a convex function
  /// of the way: if it does not fall at first it never does. How deep two overlapping bodies are
  /// in each other is not known, but the part of a straight way on which they overlap is one piece:
  /// free at some place, free from there on.
  bool leads_out_of_contact(const Pair& pair) const {
    if (turning_) return false;
    const double at_start = distance(pair, 0.0);
    if (at_start > contact_threshold_mm) return false;
    if (at_start < 0.0 && !checker_.tool_[pair.tool].is_ball()) {
      return distance(pair, std::min(1.0, pressed_way_mm / pair.speed_mm)) > 0.0;
    }
    return distance(pair, first_part) >= at_start - no_nearer_mm &&
           distance(pair, 1.0) >= at_start - no_nearer_mm;
  }

  Pair* first_due() {
    Pair* first = nullptr;
    for (Pair& pair : pairs_) {
      if (pair.due <= 1.0 && (first == nullptr || pair.due < first->due)) first = &pair;
    }
    return first;
  }

  /// False when the motion ends in a contact here.
  bool look_at(Pair& pair) {
    const double distance_mm = bounded_distance(pair);
    if (distance_mm < contact_threshold_mm) {
      report_.contact = {pair.tool, pair.work, pair.due, distance_mm};
      return false;
    }
    const bool guarding = rules_.guard_mm > 0.0 && !report_.near;
    if (guarding && distance_mm < rules_.guard_mm) {
      report_.near = {pair.tool, pair.work, pair.due, distance_mm};
    }
    double free_mm = distance_mm - missed_contact_mm;
    if (guarding && !report_.near) free_mm = distance_mm - rules_.guard_mm + missed_contact_mm;
    if (pair.speed_mm <= 0.0) {
      pair.due = std::numeric_limits<double>::infinity();
    } else {
      const double next = pair.due + free_mm / pair.speed_mm;
      pair.due = pair.due < 1.0 && next > 1.0 ? 1.0 : next;
    }
    return true;
  }

  /// The distance, or a lower bound where that is enough to go on with.
  double bounded_distance(const Pair& pair) {
    const Solid tool = tool_at(pair.tool, pair.due);
    const Solid work = work_at(pair.work, pair.due);
    const double bound = separation_bound_mm(tool, work);
    const bool may_be_smallest = pair.counts_for_smallest && bound < smallest_mm_;
    if (bound > rules_.guard_mm + clear_mm && !may_be_smallest) return bound;
    const double distance_mm = solid_distance_mm(tool, work);
    if (pair.counts_for_smallest && distance_mm < smallest_mm_ - equal_mm) {
      smallest_mm_ = distance_mm;
      report_.smallest = {pair.tool, pair.work, pair.due, distance_mm};
    }
    return distance_mm;
  }

  /// Looks between the samples round the smallest clearance (golden section).
  void refine_smallest() {
    if (!report_.smallest) return;
    Nearness& smallest = *report_.smallest;
    Pair pair{.tool = smallest.tool, .work = smallest.work};
    const double speed = checker_.speed_bound_mm(pair.tool, pair.work, from_, to_);
    if (speed <= 0.0) return;
    const double window = smallest.distance_mm / speed;
    const double last = report_.contact ? report_.contact->part : 1.0;
    double low = std::max(0.0, smallest.part - window);
    double high = std::min(last, smallest.part + window);
    for (int i = 0; i < refinements; ++i) {
      const double a = low + golden_section * (high - low);
      const double b = high - golden_section * (high - low);
      (distance(pair, a) < distance(pair, b) ? high : low) =
          distance(pair, a) < distance(pair, b) ? b : a;
    }
    const double part = 0.5 * (low + high);
    const double distance_mm = distance(pair, part);
    if (distance_mm < smallest.distance_mm - equal_mm) {
      smallest.part = part;
      smallest.distance_mm = distance_mm;
    }
  }

  const MotionChecker& checker_;
  Posture from_;
  Posture to_;
  MotionRules rules_;
  bool turning_;
  double smallest_mm_;
  Eigen::Vector3d axis_;
  Eigen::Vector3d ball_from_;
  Eigen::Vector3d ball_to_;
  std::vector<Solid> fixed_work_;
  std::vector<Pair> pairs_;
  MotionReport report_;
};

MotionReport MotionChecker::check(const Posture& from, const Posture& to, const MotionRules& rules,
                                  double smallest_so_far_mm) const {
  return Check(*this, from, to, rules, smallest_so_far_mm).run();
}

}  // namespace pivotrace::rehearsal
