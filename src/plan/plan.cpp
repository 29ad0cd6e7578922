#include "pivotrace/plan/plan.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdint>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/rotation.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/machine/length_datum.h"
#include "pivotrace/machine/tool_axis.h"

namespace pivotrace {

namespace {

/// Height the stylus stands above the top of the artefact when the operator has jogged it there:
/// common practice, no source.
constexpr double jog_height_mm = 2.0;

/// What was touched may move that far while the stylus stands beside it, and the next move must still
/// come away from it [mm]: common practice, no source.
constexpr double unnoticed_mm = 3.0;

Eigen::Vector3d unit_from(double around_rad, double up_rad) {
  return {std::cos(up_rad) * std::cos(around_rad), std::cos(up_rad) * std::sin(around_rad),
          std::sin(up_rad)};
}

/// The point of the artefact a touch is about, carried frame.
Eigen::Vector3d point_in_carried(ArtefactKind kind, const ArtefactPlace& place,
                                 const PlannedTouch& touch) {
  switch (kind) {
    case ArtefactKind::ball: return place.point_mm;
    case ArtefactKind::pin: return place.point_mm + touch.along_mm * place.direction;
    case ArtefactKind::bore: return place.point_mm - touch.along_mm * place.direction;
    case ArtefactKind::flat: {
      const CrossPair pair = cross_pair(place.direction);
      return place.point_mm + touch.out_mm * (std::cos(touch.around_rad) * pair.first +
                                              std::sin(touch.around_rad) * pair.second);
    }
  }
  return place.point_mm;
}

Eigen::Vector3d square_to(const Eigen::Vector3d& v, const Eigen::Vector3d& axis) {
  const Eigen::Vector3d square = v - axis * axis.dot(v);
  return square.norm() < 1e-6 ? Eigen::Vector3d::Zero() : square.normalized();
}

/// 64-bit FNV-1a, a public-domain hash (Fowler, Noll, Vo; constants from memory).
std::uint64_t hash_of(const std::string& text) {
  std::uint64_t hash = 14695981039346656037ULL;
  for (const char c : text) {
    hash ^= static_cast<unsigned char>(c);
    hash *= 1099511628211ULL;
  }
  return hash;
}

/// Everything that shapes the program, with more digits than any control carries.
std::string essence_of(const Plan& plan) {
  const ProbingDistances& d = plan.distances;
  std::string text = fmt::format(
      "{}|{}|{:.3f} {:.3f} {:.3f}|{:.6f} {:.6f} {:.6f} {:.6f} {:.6f} {:.6f} {:.6f} {:.6f} {:.6f} "
      "{:.4f}",
      plan.machine_name, plan.self_find ? 1 : 0, plan.feeds.find, plan.feeds.measure,
      plan.feeds.position, d.clearance, d.rough, d.approach, d.search, d.back_off, d.lift, d.limit,
      d.agreement, d.safe_height, d.turn_run_up_deg);
  for (const PlannedStation& station : plan.stations) {
    text += fmt::format("|{} {}", station.label, station.flip ? 1 : 0);
    for (const double angle : station.angles_rad)
      text += fmt::format(" {:.5f}", deg_from_rad(angle));
    for (const PlannedTouch& t : station.touches) {
      text += fmt::format(";{} {:.4f} {:.4f} {:.5f} {:.5f}", t.artefact, deg_from_rad(t.around_rad),
                          deg_from_rad(t.up_rad), t.along_mm, t.out_mm);
    }
  }
  return text;
}

}  // namespace

const char* word_of(Purpose purpose) {
  switch (purpose) {
    case Purpose::commissioning: return "commissioning";
    case Purpose::periodic_check: return "check";
    case Purpose::after_crash: return "crash";
    case Purpose::minutes: return "minutes";
  }
  return "check";
}

int Plan::touch_count() const {
  int count = 0;
  for (const PlannedStation& station : stations) count += static_cast<int>(station.touches.size());
  return count;
}

Eigen::Vector3d PlacedTouch::stand_off_mm(double gap_mm) const {
  return centre_mm + (reach_mm + side * gap_mm) * outward;
}

Eigen::Vector3d PlacedTouch::above_mm(double gap_mm) const {
  const Eigen::Vector3d stand_off = stand_off_mm(gap_mm);
  return stand_off + tool_axis * (height_mm - tool_axis.dot(stand_off - centre_mm));
}

Eigen::Vector3d PlacedTouch::search_end_mm(double beyond_mm) const {
  return centre_mm + (reach_mm - side * beyond_mm) * outward;
}

PlacedTouch place_touch(const Machine& machine, const MachineState& state,
                        const ProbingDistances& distances, const RotaryAngles& angles_rad,
                        const PlannedTouch& touch) {
  const Artefact& artefact = machine.artefacts[touch.artefact];
  const ArtefactPlace& place = state.artefacts[touch.artefact];
  const int carrier = artefact.carried_by;
  const Eigen::Matrix3d machine_from_carried_turn =
      machine_from_carried_rotation(machine, state, carrier, angles_rad);
  PlacedTouch placed;
  placed.kind = artefact.kind;
  placed.centre_mm = machine_from_carried(
      machine, state, carrier, point_in_carried(artefact.kind, place, touch), angles_rad);
  const Eigen::Matrix3d tool_turn = tool_rotation(machine, state, angles_rad);
  placed.tool_axis = tool_turn * Eigen::Vector3d::UnitZ();
  placed.outward = tool_turn * unit_from(touch.around_rad, touch.up_rad);
  const Eigen::Vector3d axis = machine_from_carried_turn * place.direction;
  const double gap = distances.clearance + distances.rough;
  switch (artefact.kind) {
    case ArtefactKind::ball: placed.reach_mm = place.radius_mm + state.stylus_radius_mm; break;
    case ArtefactKind::pin:
      placed.outward = square_to(placed.outward, axis);
      placed.reach_mm = place.radius_mm + state.stylus_radius_mm;
      break;
    case ArtefactKind::bore:
      placed.outward = square_to(placed.outward, axis);
      placed.reach_mm = place.radius_mm - state.stylus_radius_mm;
      placed.side = -1.0;
      break;
    case ArtefactKind::flat:
      placed.outward = axis;
      placed.reach_mm = state.stylus_radius_mm;
      break;
  }
  placed.height_mm =
      (placed.side > 0.0 ? placed.reach_mm + gap : touch.along_mm + gap) + distances.lift;
  return placed;
}

double stand_off_gap_mm(const ProbingDistances& distances, const PlacedTouch& placed) {
  const double gap = distances.clearance + distances.rough;
  return placed.side > 0.0 ? gap : std::min(gap, placed.reach_mm);
}

double widest_approach_mm(const ProbingDistances& distances) {
  const double off_the_surface = distances.limit + distances.back_off + unnoticed_mm;
  return std::min(distances.clearance + distances.rough,
                  std::max(distances.approach, off_the_surface));
}

double approach_gap_mm(const ProbingDistances& distances, const PlacedTouch& placed) {
  if (placed.kind == ArtefactKind::pin || placed.kind == ArtefactKind::flat) {
    return stand_off_gap_mm(distances, placed);
  }
  const double gap = widest_approach_mm(distances);
  return placed.side > 0.0 ? gap : std::min(gap, placed.reach_mm);
}

Eigen::Vector3d start_position_mm(const Machine& machine, const Plan& plan) {
  const MachineState state = nominal_state(machine);
  const PlannedStation& station = plan.stations.front();
  const PlacedTouch placed =
      place_touch(machine, state, plan.distances, station.angles_rad, station.touches.front());
  const Eigen::Vector3d stylus =
      plan.self_find
          ? Eigen::Vector3d(placed.centre_mm + placed.tool_axis * (placed.reach_mm + jog_height_mm))
          : placed.above_mm(stand_off_gap_mm(plan.distances, placed));
  Eigen::Vector3d shown =
      shown_by_control(machine, state.stylus_radius_mm,
                       shown_from_stylus(machine, state, stylus, station.angles_rad, station.flip));
  if (!plan.self_find) shown.z() = plan.distances.safe_height;
  return shown;
}

std::string identity_of(const Plan& plan) {
  return fmt::format("{:08x}", hash_of(essence_of(plan)) & 0xffffffffULL);
}

int identity_number_of(const Plan& plan) {
  return static_cast<int>(hash_of(essence_of(plan)) % 900000ULL) + 100000;
}

}  // namespace pivotrace
