#include "report/rehearsal_scene.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "pivotrace/geometry/rotation.h"

namespace pivotrace::report {

namespace {

using rehearsal::Solid;
using rehearsal::SolidShape;

constexpr int round_points = 48;
/// Places looked at on a part of the probe to find the one nearest to a body.
constexpr int rings = 40;

std::vector<Eigen::Vector3d> box_corners(const Solid& solid) {
  std::vector<Eigen::Vector3d> points;
  for (int k = 0; k < 8; ++k) {
    const Eigen::Vector3d corner((k & 1) != 0 ? 1.0 : -1.0, (k & 2) != 0 ? 1.0 : -1.0,
                                 (k & 4) != 0 ? 1.0 : -1.0);
    points.emplace_back(solid.pose * corner.cwiseProduct(solid.half_sides_mm));
  }
  return points;
}

/// Rings of points on a ball or a cylinder, its rims among them.
std::vector<Eigen::Vector3d> ring_points(const Solid& solid, int count) {
  std::vector<Eigen::Vector3d> points;
  for (int ring = 0; ring <= count; ++ring) {
    const double part = 2.0 * ring / count - 1.0;
    const bool ball = solid.shape == SolidShape::ball;
    const double height = part * (ball ? solid.radius_mm : solid.half_length_mm);
    const double radius =
        ball ? solid.radius_mm * std::sqrt(std::max(0.0, 1.0 - part * part)) : solid.radius_mm;
    for (int k = 0; k < round_points; ++k) {
      const double phi = 2.0 * std::numbers::pi * k / round_points;
      points.emplace_back(solid.pose *
                          Eigen::Vector3d(radius * std::cos(phi), radius * std::sin(phi), height));
    }
  }
  return points;
}

/// Point of a surface below a point outside of it: down the slope of the distance.
Eigen::Vector3d nearest_on(const Solid& solid, const Eigen::Vector3d& at) {
  constexpr double step_mm = 1e-4;
  Eigen::Vector3d slope;
  for (int k = 0; k < 3; ++k) {
    const Eigen::Vector3d step = step_mm * Eigen::Vector3d::Unit(k);
    slope[k] = rehearsal::point_distance_mm(solid, at + step) -
               rehearsal::point_distance_mm(solid, at - step);
  }
  return at - rehearsal::point_distance_mm(solid, at) * slope.normalized();
}

}  // namespace

std::vector<Eigen::Vector3d> outline_points(const Solid& solid) {
  if (solid.shape == SolidShape::box) return box_corners(solid);
  return ring_points(solid, solid.shape == SolidShape::ball ? rings : 1);
}

rehearsal::MotionChecker motion_checker(const Machine& machine, const MachineState& state,
                                        double spindle_rad) {
  std::vector<std::string> ignored;
  rehearsal::MotionChecker checker(machine, state, rehearsal::tool_solids(machine, state, ignored),
                                   rehearsal::work_solids(machine, state));
  checker.set_stylus_offset(
      turned<double>(state.stylus_offset_mm, Eigen::Vector3d::UnitZ(), spindle_rad));
  return checker;
}

RehearsalScene::RehearsalScene(const Machine& machine, const MachineState& state,
                               const PictureSubject& subject) {
  const rehearsal::MotionChecker checker =
      motion_checker(machine, state, subject.moment.spindle_rad);
  const rehearsal::Posture posture{subject.moment.real_mm, subject.moment.real_rad};
  tool_axis_ = checker.tool_axis(posture);
  list(checker, posture, subject);
  find_gap();
}

void RehearsalScene::list(const rehearsal::MotionChecker& checker,
                          const rehearsal::Posture& posture, const PictureSubject& subject) {
  for (std::size_t w = 0; w < checker.work().size(); ++w) {
    const rehearsal::WorkSolid& body = checker.work()[w];
    const char* look = body.artefact >= 0 ? "artefact-pale" : body.carried_by < 0 ? "bed" : "body";
    shapes_.push_back({checker.work_solid(static_cast<int>(w), posture), body.name, look,
                       body.name == subject.body});
  }
  for (std::size_t t = 0; t < checker.tool().size(); ++t) {
    const rehearsal::ToolSolid& part = checker.tool()[t];
    shapes_.push_back({checker.tool_solid(static_cast<int>(t), posture), tool_part_word(part.part),
                       "probe", part.part == subject.tool_part});
  }
}

void RehearsalScene::find_gap() {
  double nearest = std::numeric_limits<double>::infinity();
  for (const Shape& part : shapes_) {
    if (!part.outstanding || !part.is_tool()) continue;
    for (const Shape& body : shapes_) {
      if (!body.outstanding || body.is_tool()) continue;
      for (const Eigen::Vector3d& at : ring_points(part.solid, rings)) {
        const double distance = rehearsal::point_distance_mm(body.solid, at);
        if (distance >= nearest) continue;
        nearest = distance;
        gap_ = {at, nearest_on(body.solid, at)};
      }
    }
  }
}

void draw_shapes(Svg& svg, const Window& window, const std::vector<Shape>& shapes) {
  const Eigen::Vector3d towards = window.sight.towards();
  std::vector<const Shape*> order;
  for (const Shape& shape : shapes) order.push_back(&shape);
  std::stable_sort(order.begin(), order.end(), [&](const Shape* a, const Shape* b) {
    if (a->outstanding != b->outstanding) return b->outstanding;
    return towards.dot(a->solid.centre_mm()) < towards.dot(b->solid.centre_mm());
  });
  for (const Shape* shape : order) {
    const Outline outline = clipped(window.outline(outline_points(shape->solid)), window.paper);
    if (outline.size() < 3) continue;
    svg.polygon(outline, shape->outstanding ? "outstanding" : std::string_view(shape->look));
    if (shape->look != "bed") continue;
    for (const auto& [from, to] : hatching(outline, 11.0)) svg.line(from, to, "hatch");
  }
}

}  // namespace pivotrace::report
