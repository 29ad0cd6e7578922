#include "pivotrace/machine/upward.h"

#include <algorithm>
#include <optional>

namespace pivotrace {

namespace {

/// Away from the middle of what the same axis carries, or nothing where that is nothing.
std::optional<Eigen::Vector3d> away_from_the_table(const Machine& machine, const Artefact& ball) {
  for (const Obstacle& obstacle : machine.obstacles) {
    if (obstacle.carried_by != ball.carried_by) continue;
    return ball.at_mm - 0.5 * (obstacle.from_mm + obstacle.to_mm);
  }
  return std::nullopt;
}

std::optional<Eigen::Vector3d> held_along(const Machine& machine, const Artefact& artefact) {
  if (artefact.stem) return Eigen::Vector3d(-artefact.stem->direction);
  if (artefact.kind != ArtefactKind::ball) return artefact.direction;
  return away_from_the_table(machine, artefact);
}

bool points_up_y(const Eigen::Vector3d& direction) {
  return direction.y() > 0.0 && direction.y() * direction.y() > 0.5 * direction.squaredNorm();
}

/// The only axis under the work turns about Y.
bool only_turns_about_y(const Machine& machine) {
  int about_y = 0;
  for (const RotaryAxis& axis : machine.rotary) {
    if (axis.side == AxisSide::tool) continue;
    if (axis.along != LinearAxis::Y) return false;
    ++about_y;
  }
  return about_y == 1;
}

}  // namespace

LinearAxis upward_axis(const Machine& machine) {
  if (!only_turns_about_y(machine)) return LinearAxis::Z;
  bool anything = false;
  for (const Artefact& artefact : machine.artefacts) {
    if (artefact.carried_by < 0) continue;
    const auto along = held_along(machine, artefact);
    if (!along) continue;
    if (!points_up_y(*along)) return LinearAxis::Z;
    anything = true;
  }
  return anything ? LinearAxis::Y : LinearAxis::Z;
}

Eigen::Vector3d upward_direction(const Machine& machine) {
  return Eigen::Vector3d::Unit(static_cast<int>(upward_axis(machine)));
}

}  // namespace pivotrace
