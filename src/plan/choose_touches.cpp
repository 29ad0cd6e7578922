#include "plan/choose_touches.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/machine/tool_axis.h"
#include "pivotrace/plan/check_plan.h"

namespace pivotrace {

namespace {

/// Share of a pin's or bore's length kept free at both ends of the measured part: common
/// practice, no source.
constexpr double end_margin = 0.15;
/// Where on a flat its points lie, as a share of its radius: common practice, no source.
constexpr double flat_margin = 0.7;
/// A centre direction seen less than this (sum of squared direction parts) is not seen at all:
/// common practice, no source.
constexpr double least_seen = 0.25;

class TouchChooser {
 public:
  TouchChooser(const Machine& machine, const MachineState& state, const ProbingDistances& distances,
               const RotaryAngles& angles_rad, bool flip, int artefact, int equator_touches)
      : machine_(machine),
        state_(state),
        distances_(distances),
        angles_rad_(angles_rad),
        flip_(flip),
        artefact_(artefact),
        equator_touches_(equator_touches) {}

  TouchChoice choose() {
    switch (machine_.artefacts[artefact_].kind) {
      case ArtefactKind::ball: return choose_ball();
      case ArtefactKind::pin:
      case ArtefactKind::bore: return choose_sections();
      case ArtefactKind::flat: return choose_flat();
    }
    return {};
  }

 private:
  PlannedTouch touch(double around_deg, double up_deg, double along_mm = 0.0,
                     double out_mm = 0.0) const {
    return {artefact_, rad_from_deg(around_deg), rad_from_deg(up_deg), along_mm, out_mm};
  }

  bool free(const PlannedTouch& candidate) {
    const auto objection =
        objection_to_touch(machine_, state_, distances_, angles_rad_, flip_, candidate);
    if (objection && objection_.empty()) objection_ = *objection;
    return !objection;
  }

  bool all_free(const std::vector<PlannedTouch>& candidates) {
    for (const PlannedTouch& candidate : candidates) {
      if (!free(candidate)) return false;
    }
    return true;
  }

  Eigen::Vector3d direction(const PlannedTouch& candidate) const {
    return place_touch(machine_, state_, distances_, angles_rad_, candidate).outward;
  }

  /// Adds, one by one, the candidate that makes det(sum d d') grow most.
  std::vector<PlannedTouch> best_of(const std::vector<PlannedTouch>& candidates, int wanted) const {
    std::vector<PlannedTouch> chosen;
    std::vector<bool> used(candidates.size(), false);
    Eigen::Matrix4d information = Eigen::Matrix4d::Identity() * 1e-3;
    for (int k = 0; k < wanted; ++k) {
      int best = -1;
      double best_gain = 0.0;
      for (std::size_t i = 0; i < candidates.size(); ++i) {
        if (used[i]) continue;
        Eigen::Vector4d row;
        row << direction(candidates[i]), 1.0;
        const double gain = (information + row * row.transpose()).determinant();
        if (gain <= best_gain * (1.0 + 1e-9)) continue;
        best_gain = gain;
        best = static_cast<int>(i);
      }
      if (best < 0) break;
      used[best] = true;
      Eigen::Vector4d row;
      row << direction(candidates[best]), 1.0;
      information += row * row.transpose();
    }
    for (std::size_t i = 0; i < candidates.size(); ++i) {
      if (used[i]) chosen.push_back(candidates[i]);
    }
    // Round the artefact, the pole last: no way between two touches leads across it.
    std::stable_sort(chosen.begin(), chosen.end(),
                     [](const PlannedTouch& a, const PlannedTouch& b) {
                       const bool a_pole = a.up_rad > 1.5, b_pole = b.up_rad > 1.5;
                       return a_pole != b_pole ? b_pole : a.around_rad < b.around_rad;
                     });
    return chosen;
  }

  /// Number of centre coordinates these touches see.
  int seen_directions(const std::vector<PlannedTouch>& touches) const {
    Eigen::Matrix3d sum = Eigen::Matrix3d::Zero();
    for (const PlannedTouch& t : touches) sum += direction(t) * direction(t).transpose();
    const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> eigen(sum);
    int seen = 0;
    for (const double value : eigen.eigenvalues()) seen += value > least_seen ? 1 : 0;
    return seen;
  }

  TouchChoice choose_ball() {
    // A quarter step off the machine axes: no touch runs along two slides' directions alone, and the
    // stem side of a ball on a lying stem falls between two touches more often.
    const double step = 360.0 / equator_touches_;
    for (const double first : {step / 4.0, step / 2.0, 0.0, 3.0 * step / 4.0}) {
      std::vector<PlannedTouch> pattern;
      pattern.reserve(static_cast<std::size_t>(equator_touches_) + 1);
      for (int i = 0; i < equator_touches_; ++i) pattern.push_back(touch(first + i * step, 0.0));
      pattern.push_back(touch(0.0, 90.0));
      if (all_free(pattern)) return {pattern, {}};
    }
    std::vector<PlannedTouch> candidates;
    for (const double up : {0.0, 30.0, 60.0}) {
      for (int k = 0; k < 24; ++k) {
        const PlannedTouch candidate = touch(15.0 * k, up);
        if (free(candidate)) candidates.push_back(candidate);
      }
    }
    if (free(touch(0.0, 90.0))) candidates.push_back(touch(0.0, 90.0));
    const std::vector<PlannedTouch> chosen = best_of(candidates, equator_touches_ + 1);
    if (static_cast<int>(chosen.size()) < 4 || seen_directions(chosen) < 3) return {{}, objection_};
    return {chosen, {}};
  }

  /// Directions square to the artefact's axis, counted from the tool axis.
  std::vector<PlannedTouch> round_candidates(double along_mm) {
    const Artefact& artefact = machine_.artefacts[artefact_];
    const Eigen::Vector3d axis =
        machine_from_carried_rotation(machine_, state_, artefact.carried_by, angles_rad_) *
        state_.artefacts[artefact_].direction;
    const Eigen::Vector3d tool = tool_axis_in_machine(machine_, state_, angles_rad_);
    const bool upright = std::abs(axis.dot(tool)) > 0.9;
    std::vector<PlannedTouch> candidates;
    if (upright) {
      const double step = 360.0 / equator_touches_;
      for (int i = 0; i < equator_touches_; ++i) {
        candidates.push_back(touch(step / 4.0 + i * step, 0.0, along_mm));
      }
      return candidates;
    }
    if (artefact.kind == ArtefactKind::bore) {
      if (objection_.empty()) objection_ = "the bore does not open towards the spindle";
      return {};
    }
    // A lying pin: round it over the top, from one side to the other.
    const Eigen::Vector3d side = axis.cross(tool).normalized();
    const Eigen::Vector3d top = side.cross(axis).normalized();
    const int count = std::max(3, equator_touches_ - 2);
    for (int i = 0; i < count; ++i) {
      const double angle = std::numbers::pi * (static_cast<double>(i) / (count - 1) - 0.5);
      const Eigen::Vector3d out = direction_in_tool(
          machine_, state_, std::sin(angle) * side + std::cos(angle) * top, angles_rad_);
      PlannedTouch t{artefact_, std::atan2(out.y(), out.x()),
                     std::atan2(out.z(), std::hypot(out.x(), out.y())), along_mm, 0.0};
      candidates.push_back(t);
    }
    return candidates;
  }

  /// The second section; in a bore the stylus ball must keep off the floor, wherever within `rough`
  /// that is.
  double deep_section_mm(double length_mm) const {
    const double deep = (1.0 - end_margin) * length_mm;
    if (machine_.artefacts[artefact_].kind != ArtefactKind::bore) return deep;
    const double off_the_floor =
        state_.stylus_radius_mm + watched_clearance_mm + distances_.rough + 0.01;
    return std::min(deep, length_mm - off_the_floor);
  }

  TouchChoice choose_sections() {
    const double length = machine_.artefacts[artefact_].length_mm;
    std::vector<PlannedTouch> chosen;
    const double shallow_mm = end_margin * length;
    for (const double along_mm : {shallow_mm, deep_section_mm(length)}) {
      if (along_mm < shallow_mm) continue;
      std::vector<PlannedTouch> candidates;
      for (const PlannedTouch& candidate : round_candidates(along_mm)) {
        if (free(candidate)) candidates.push_back(candidate);
      }
      if (candidates.size() < 3 || seen_directions(candidates) < 2) continue;
      chosen.insert(chosen.end(), candidates.begin(), candidates.end());
    }
    return {chosen, chosen.empty() ? objection_ : std::string()};
  }

  TouchChoice choose_flat() {
    const double radius = 0.5 * machine_.artefacts[artefact_].size_mm * flat_margin;
    std::vector<PlannedTouch> chosen;
    for (int i = 0; i < 12 && chosen.size() < 3; ++i) {
      // Three points a third of a turn apart first, then whatever else is free.
      const int turns = i / 3;
      const double around = 90.0 + 120.0 * (i % 3) + 30.0 * turns;
      const PlannedTouch candidate = touch(around, 0.0, 0.0, radius);
      if (free(candidate)) chosen.push_back(candidate);
    }
    return {chosen, chosen.empty() ? objection_ : std::string()};
  }

  const Machine& machine_;
  const MachineState& state_;
  const ProbingDistances& distances_;
  const RotaryAngles& angles_rad_;
  bool flip_;
  int artefact_;
  int equator_touches_;
  std::string objection_;
};

}  // namespace

TouchChoice choose_touches(const Machine& machine, const MachineState& state,
                           const ProbingDistances& distances, const RotaryAngles& angles_rad,
                           bool flip, int artefact, int equator_touches) {
  return TouchChooser(machine, state, distances, angles_rad, flip, artefact, equator_touches)
      .choose();
}

}  // namespace pivotrace
