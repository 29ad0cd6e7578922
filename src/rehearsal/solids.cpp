#include "rehearsal/solids.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "pivotrace/geometry/rotation.h"
#include "rehearsal/library_distance.h"

namespace pivotrace::rehearsal {

namespace {

Eigen::Isometry3d pose(const Eigen::Vector3d& centre_mm, const Eigen::Matrix3d& rotation) {
  Eigen::Isometry3d result = Eigen::Isometry3d::Identity();
  result.linear() = rotation;
  result.translation() = centre_mm;
  return result;
}

Solid ball(const Eigen::Vector3d& centre_mm, double radius_mm) {
  Solid solid;
  solid.pose.translation() = centre_mm;
  solid.radius_mm = radius_mm;
  return solid;
}

/// Flat-ended, from one end of its axis to the other.
Solid cylinder(const Eigen::Vector3d& from_mm, const Eigen::Vector3d& to_mm, double radius_mm) {
  Solid solid;
  solid.shape = SolidShape::cylinder;
  const Eigen::Vector3d along = to_mm - from_mm;
  solid.half_length_mm = 0.5 * along.norm();
  solid.radius_mm = radius_mm;
  solid.pose = pose(0.5 * (from_mm + to_mm), z_to(along.normalized()));
  return solid;
}

Solid box(const Eigen::Vector3d& one_mm, const Eigen::Vector3d& other_mm) {
  Solid solid;
  solid.shape = SolidShape::box;
  solid.half_sides_mm = 0.5 * (other_mm - one_mm).cwiseAbs();
  solid.pose.translation() = 0.5 * (one_mm + other_mm);
  return solid;
}

class WorkSolids {
 public:
  WorkSolids(const Machine& machine, const MachineState& state)
      : machine_(machine), state_(state) {}

  std::vector<WorkSolid> build() {
    for (std::size_t i = 0; i < machine_.artefacts.size(); ++i) add_artefact(static_cast<int>(i));
    for (const Obstacle& obstacle : machine_.obstacles) add_obstacle(obstacle);
    return std::move(solids_);
  }

 private:
  void add(const std::string& name, int carried_by, int artefact, const Solid& solid) {
    solids_.push_back({name, carried_by, artefact, solid, artefact});
  }

  void add_artefact(int index) {
    const Artefact& artefact = machine_.artefacts[index];
    const ArtefactPlace& place = state_.artefacts[index];
    switch (artefact.kind) {
      case ArtefactKind::ball:
        add(artefact.name, artefact.carried_by, index, ball(place.point_mm, place.radius_mm));
        break;
      case ArtefactKind::pin:
        add(artefact.name, artefact.carried_by, index,
            cylinder(place.point_mm, place.point_mm + artefact.length_mm * place.direction,
                     place.radius_mm));
        break;
      case ArtefactKind::bore: add_bore(artefact, place, index); break;
      case ArtefactKind::flat:
        add(artefact.name, artefact.carried_by, index,
            cylinder(place.point_mm - assumed_wall_mm * place.direction, place.point_mm,
                     0.5 * artefact.size_mm));
        break;
    }
    if (artefact.stem) add_stem(artefact, place, index);
  }

  /// From the ball's centre; for other kinds from `at`. Its first part lies inside a ball.
  void add_stem(const Artefact& artefact, const ArtefactPlace& place, int index) {
    const Stem& stem = *artefact.stem;
    if (stem.length_mm <= 0.0 || stem.diameter_mm <= 0.0) return;
    add(artefact.name + " stem", artefact.carried_by, -1,
        cylinder(place.point_mm, place.point_mm + stem.length_mm * stem.direction.normalized(),
                 0.5 * stem.diameter_mm));
    solids_.back().part_of = index;
  }

  /// A ring of flat staves round the bore and a floor at its depth.
  void add_bore(const Artefact& artefact, const ArtefactPlace& place, int index) {
    const Eigen::Matrix3d rotation = z_to(place.direction);
    const double outer = place.radius_mm + assumed_wall_mm;
    const double half_width = outer * std::tan(std::numbers::pi / bore_staves);
    for (int k = 0; k < bore_staves; ++k) {
      const double phi = 2.0 * std::numbers::pi * k / bore_staves;
      const Eigen::Matrix3d turn =
          rotation * Eigen::AngleAxisd(phi, Eigen::Vector3d::UnitZ()).toRotationMatrix();
      Solid stave;
      stave.shape = SolidShape::box;
      stave.half_sides_mm = {0.5 * assumed_wall_mm, half_width, 0.5 * artefact.length_mm};
      const double to_middle = place.radius_mm + 0.5 * assumed_wall_mm;
      stave.pose = pose(
          place.point_mm - 0.5 * artefact.length_mm * place.direction + to_middle * turn.col(0),
          turn);
      add(artefact.name, artefact.carried_by, index, stave);
    }
    const Eigen::Vector3d bottom = place.point_mm - artefact.length_mm * place.direction;
    add(artefact.name + " floor", artefact.carried_by, -1,
        cylinder(bottom - assumed_wall_mm * place.direction, bottom, outer));
  }

  void add_obstacle(const Obstacle& obstacle) {
    add(obstacle.name, obstacle.carried_by, -1,
        obstacle.shape == ObstacleShape::box
            ? box(obstacle.from_mm, obstacle.to_mm)
            : cylinder(obstacle.from_mm, obstacle.to_mm, 0.5 * obstacle.diameter_mm));
  }

  const Machine& machine_;
  const MachineState& state_;
  std::vector<WorkSolid> solids_;
};

double cylinder_distance(const Solid& solid, const Eigen::Vector3d& local) {
  const double out = local.head<2>().norm() - solid.radius_mm;
  const double over = std::fabs(local.z()) - solid.half_length_mm;
  if (out <= 0.0 && over <= 0.0) return std::max(out, over);
  return std::hypot(std::max(out, 0.0), std::max(over, 0.0));
}

double box_distance(const Solid& solid, const Eigen::Vector3d& local) {
  const Eigen::Vector3d over = local.cwiseAbs() - solid.half_sides_mm;
  const double inside = std::min(over.maxCoeff(), 0.0);
  return over.cwiseMax(0.0).norm() + inside;
}

/// Half the length of the shadow of a solid on a line of direction `n` (unit).
double half_shadow_mm(const Solid& solid, const Eigen::Vector3d& n) {
  const Eigen::Vector3d local = solid.pose.linear().transpose() * n;
  switch (solid.shape) {
    case SolidShape::ball: return solid.radius_mm;
    case SolidShape::cylinder:
      return std::fabs(local.z()) * solid.half_length_mm + local.head<2>().norm() * solid.radius_mm;
    case SolidShape::box: return local.cwiseAbs().dot(solid.half_sides_mm);
  }
  return 0.0;
}

/// Widest gap of the shadows on lines that `first` suggests.
double gap_along_own_axes_mm(const Solid& first, const Solid& second) {
  const Eigen::Vector3d apart = second.centre_mm() - first.centre_mm();
  double widest = -std::numeric_limits<double>::infinity();
  const auto look_along = [&](const Eigen::Vector3d& n) {
    const double gap =
        std::fabs(apart.dot(n)) - half_shadow_mm(first, n) - half_shadow_mm(second, n);
    widest = std::max(widest, gap);
  };
  if (first.shape == SolidShape::box) {
    for (int k = 0; k < 3; ++k) look_along(first.pose.linear().col(k));
    return widest;
  }
  const Eigen::Vector3d axis = first.pose.linear().col(2);
  look_along(axis);
  const Eigen::Vector3d beside = apart - axis * axis.dot(apart);
  if (beside.norm() > 0.0) look_along(beside.normalized());
  return widest;
}

}  // namespace

double separation_bound_mm(const Solid& a, const Solid& b) {
  if (a.shape == SolidShape::ball || b.shape == SolidShape::ball) return solid_distance_mm(a, b);
  return std::max(gap_along_own_axes_mm(a, b), gap_along_own_axes_mm(b, a));
}

Eigen::Matrix3d z_to(const Eigen::Vector3d& direction) {
  const CrossPair cross = cross_pair(direction);
  Eigen::Matrix3d rotation;
  rotation << cross.first, cross.second, direction;
  return rotation;
}

double Solid::bounding_radius_mm() const {
  switch (shape) {
    case SolidShape::ball: return radius_mm;
    case SolidShape::cylinder: return std::hypot(radius_mm, half_length_mm);
    case SolidShape::box: return half_sides_mm.norm();
  }
  return 0.0;
}

std::vector<WorkSolid> work_solids(const Machine& machine, const MachineState& state) {
  return WorkSolids(machine, state).build();
}

Solid ToolSolid::at(const Eigen::Vector3d& ball_mm, const Eigen::Vector3d& tool_axis) const {
  if (is_ball()) return ball(ball_mm, radius_mm);
  return cylinder(ball_mm + from_mm * tool_axis, ball_mm + (from_mm + length_mm) * tool_axis,
                  radius_mm);
}

double ToolSolid::reach_mm() const {
  return is_ball() ? radius_mm : std::hypot(from_mm + length_mm, radius_mm);
}

std::vector<ToolSolid> tool_solids(const Machine& machine, const MachineState& state,
                                   std::vector<std::string>& notes) {
  const Probe& probe = machine.probe;
  std::vector<ToolSolid> parts = {{ToolPart::stylus, state.stylus_radius_mm, 0.0, 0.0}};
  if (!probe.stylus_length_mm) {
    notes.emplace_back("stylus length not stated: shank and holder were not checked");
    return parts;
  }
  if (probe.shank_diameter_mm) {
    parts.push_back(
        {ToolPart::shank, 0.5 * *probe.shank_diameter_mm, 0.0, *probe.stylus_length_mm});
  } else {
    notes.emplace_back("shank diameter not stated: the shank was not checked");
  }
  if (probe.holder_diameter_mm && probe.holder_length_mm) {
    parts.push_back({ToolPart::holder, 0.5 * *probe.holder_diameter_mm, *probe.stylus_length_mm,
                     *probe.holder_length_mm});
  } else {
    notes.emplace_back("holder size not stated: the holder was not checked");
  }
  return parts;
}

double point_distance_mm(const Solid& solid, const Eigen::Vector3d& point_mm) {
  if (solid.shape == SolidShape::ball) {
    return (point_mm - solid.centre_mm()).norm() - solid.radius_mm;
  }
  const Eigen::Vector3d local = solid.pose.inverse(Eigen::Isometry) * point_mm;
  return solid.shape == SolidShape::cylinder ? cylinder_distance(solid, local)
                                             : box_distance(solid, local);
}

double solid_distance_mm(const Solid& a, const Solid& b) {
  if (a.shape == SolidShape::ball) return point_distance_mm(b, a.centre_mm()) - a.radius_mm;
  if (b.shape == SolidShape::ball) return point_distance_mm(a, b.centre_mm()) - b.radius_mm;
  return library_distance_mm(a, b);
}

}  // namespace pivotrace::rehearsal
