#include "plan/scene.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>

#include "pivotrace/geometry/rotation.h"

namespace pivotrace {

namespace {

/// Flat plates that stand for the round wall of a bore.
constexpr int wall_plates = 24;

class SceneBuilder {
 public:
  SceneBuilder(const Machine& machine, const MachineState& state, const RotaryAngles& angles_rad)
      : machine_(machine), state_(state), angles_rad_(angles_rad) {}

  std::vector<SceneBody> build() {
    for (std::size_t i = 0; i < machine_.artefacts.size(); ++i) add_artefact(static_cast<int>(i));
    for (const Obstacle& obstacle : machine_.obstacles) add_obstacle(obstacle);
    return std::move(bodies_);
  }

 private:
  Eigen::Vector3d placed(const Eigen::Vector3d& at_zero, int carrier) const {
    return machine_from_carried(machine_, state_, carrier, at_zero, angles_rad_);
  }

  void add(ConvexBody body, const std::string& name, int artefact, int carrier) {
    for (Eigen::Vector3d& point : body.points) point = placed(point, carrier);
    bodies_.push_back({std::move(body), name, artefact, true, carrier});
  }

  void add_artefact(int index) {
    const Artefact& artefact = machine_.artefacts[index];
    const ArtefactPlace& place = state_.artefacts[index];
    const int carrier = artefact.carried_by;
    const Eigen::Vector3d& at = place.point_mm;
    const Eigen::Vector3d& along = place.direction;
    switch (artefact.kind) {
      case ArtefactKind::ball:
        add(ball_body(at, place.radius_mm), artefact.name, index, carrier);
        break;
      case ArtefactKind::pin:
        add(cylinder_body(at, at + along * std::max(1.0, artefact.length_mm), place.radius_mm),
            artefact.name, index, carrier);
        break;
      case ArtefactKind::bore: add_wall(artefact, place, index); break;
      case ArtefactKind::flat:
        add(cylinder_body(at - along * assumed_wall_mm, at, 0.5 * std::max(1.0, artefact.size_mm)),
            artefact.name, index, carrier);
        break;
    }
    if (artefact.stem) {
      const Eigen::Vector3d direction = artefact.stem->direction.normalized();
      add(rod_body(at, at + direction * artefact.stem->length_mm, 0.5 * artefact.stem->diameter_mm),
          "stem of " + artefact.name, -1, carrier);
      bodies_.back().labelled = false;
    }
  }

  void add_wall(const Artefact& artefact, const ArtefactPlace& place, int index) {
    const CrossPair pair = cross_pair(place.direction);
    const double outer = place.radius_mm + assumed_wall_mm;
    const double half_width = outer * std::tan(std::numbers::pi / wall_plates);
    const Eigen::Vector3d down = -place.direction * std::max(1.0, artefact.length_mm);
    for (int k = 0; k < wall_plates; ++k) {
      const double phi = 2.0 * std::numbers::pi * k / wall_plates;
      const Eigen::Vector3d out = pair.first * std::cos(phi) + pair.second * std::sin(phi);
      const Eigen::Vector3d side = place.direction.cross(out);
      ConvexBody plate;
      for (const double radius : {place.radius_mm, outer}) {
        for (const double width : {-half_width, half_width}) {
          const Eigen::Vector3d edge = place.point_mm + out * radius + side * width;
          plate.points.push_back(edge);
          plate.points.push_back(edge + down);
        }
      }
      add(std::move(plate), artefact.name, index, artefact.carried_by);
    }
    // Below the usable depth nobody says what there is: a floor, for all the planner knows.
    const Eigen::Vector3d bottom = place.point_mm + down;
    add(cylinder_body(bottom, bottom - assumed_wall_mm * place.direction, outer),
        "floor of " + artefact.name, -1, artefact.carried_by);
  }

  void add_obstacle(const Obstacle& obstacle) {
    if (obstacle.shape == ObstacleShape::cylinder) {
      add(cylinder_body(obstacle.from_mm, obstacle.to_mm, 0.5 * obstacle.diameter_mm),
          obstacle.name, -1, obstacle.carried_by);
      return;
    }
    ConvexBody box;
    for (const double x : {obstacle.from_mm.x(), obstacle.to_mm.x()}) {
      for (const double y : {obstacle.from_mm.y(), obstacle.to_mm.y()}) {
        for (const double z : {obstacle.from_mm.z(), obstacle.to_mm.z()}) {
          box.points.emplace_back(x, y, z);
        }
      }
    }
    add(std::move(box), obstacle.name, -1, obstacle.carried_by);
  }

  const Machine& machine_;
  const MachineState& state_;
  const RotaryAngles& angles_rad_;
  std::vector<SceneBody> bodies_;
};

}  // namespace

std::vector<SceneBody> scene_at(const Machine& machine, const MachineState& state,
                                const RotaryAngles& angles_rad) {
  return SceneBuilder(machine, state, angles_rad).build();
}

std::vector<ToolBody> tool_at(const Machine& machine, const Eigen::Vector3d& stylus_mm,
                              const Eigen::Vector3d& tool_axis) {
  const Probe& probe = machine.probe;
  std::vector<ToolBody> tool = {{ball_body(stylus_mm, probe.stylus_radius_mm()), ToolPart::stylus}};
  const double length = probe.stylus_length_mm.value_or(0.0);
  const Eigen::Vector3d top = stylus_mm + tool_axis * length;
  if (length > 0.0) {
    // Without a stated shank the ball's own diameter is the safe guess.
    const double shank = probe.shank_diameter_mm.value_or(probe.stylus_diameter_mm);
    tool.push_back({rod_body(stylus_mm, top, 0.5 * shank), ToolPart::shank});
  }
  if (probe.holder_diameter_mm && probe.holder_length_mm) {
    tool.push_back({cylinder_body(top, top + tool_axis * *probe.holder_length_mm,
                                  0.5 * *probe.holder_diameter_mm),
                    ToolPart::holder});
  }
  return tool;
}

double carried_radius_mm(const Machine& machine, const MachineState& state, int axis) {
  double radius = 0.0;
  const Line& line = state.axis_lines[axis];
  const auto reach = [&](const Eigen::Vector3d& point, double around) {
    radius = std::max(radius, perpendicular_from_line(line, point).norm() + around);
  };
  for (std::size_t i = 0; i < machine.artefacts.size(); ++i) {
    const Artefact& artefact = machine.artefacts[i];
    if (artefact.carried_by < axis) continue;
    const double size = std::max({state.artefacts[i].radius_mm + assumed_wall_mm,
                                  artefact.length_mm, 0.5 * artefact.size_mm + assumed_wall_mm});
    reach(state.artefacts[i].point_mm, size);
    if (artefact.stem) {
      reach(state.artefacts[i].point_mm + artefact.stem->direction * artefact.stem->length_mm,
            artefact.stem->diameter_mm);
    }
  }
  for (const Obstacle& obstacle : machine.obstacles) {
    if (obstacle.carried_by < axis) continue;
    const double across = obstacle.shape == ObstacleShape::cylinder
                              ? 0.5 * obstacle.diameter_mm
                              : (obstacle.to_mm - obstacle.from_mm).norm();
    reach(obstacle.from_mm, across);
    reach(obstacle.to_mm, across);
  }
  return radius;
}

}  // namespace pivotrace
