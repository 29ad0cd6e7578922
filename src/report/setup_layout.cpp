#include "report/setup_layout.h"

#include <algorithm>
#include <cmath>

#include "pivotrace/machine/tool_axis.h"
#include "pivotrace/machine/upward.h"
#include "plan/scene.h"

namespace pivotrace::report {

namespace {

constexpr double side_margin = 40.0;  ///< round the bodies of a view, for labels
constexpr double narrowest_view = 190.0;
constexpr double head_margin = 30.0;
constexpr double title_height = 26.0;
constexpr double between_views = 14.0;
constexpr double close_up_width = 176.0;
constexpr double close_up_height = 180.0;
constexpr double tallest_row = 440.0;
constexpr double tallest_grid = 450.0;
constexpr double px_per_mm_at_full_size = 96.0 / 25.4;
/// How much of a holder is shown at least, and how much of what stands about.
constexpr double holder_shown_mm = 25.0;
constexpr double face_shown_mm = 15.0;
constexpr double surroundings = 0.12;

void include(Eigen::AlignedBox3d& box, const ConvexBody& body) {
  for (int k = 0; k < 3; ++k) {
    for (const double sign : {-1.0, 1.0}) {
      const Eigen::Vector3d d = sign * Eigen::Vector3d::Unit(k);
      box.extend(Eigen::Vector3d(body.support(d) + d * body.radius_mm));
    }
  }
}

void include_probe(Eigen::AlignedBox3d& box, const SetupScene& scene) {
  const auto start = scene.start_mm();
  if (!start) return;
  const Probe& probe = scene.machine.probe;
  const Eigen::Vector3d axis = tool_axis_in_machine(scene.machine, scene.state, scene.first);
  const double length = probe.stylus_length_mm.value_or(0.0) + holder_shown_mm;
  include(box, ball_body(*start, probe.stylus_radius_mm()));
  include(box, rod_body(*start, *start + length * axis, 2.0));
  if (const auto safe = scene.safe_mm()) box.extend(*safe);
}

/// Tools of the other stations, where the head tilts them.
void include_tilted_tools(Eigen::AlignedBox3d& box, const SetupScene& scene) {
  if (scene.machine.tool_chain().empty()) return;
  for (const PlannedStation& station : scene.plan.stations) {
    if (station.touches.empty()) continue;
    const PlacedTouch placed = place_touch(scene.machine, scene.state, scene.plan.distances,
                                           station.angles_rad, station.touches.front());
    const double length = scene.machine.probe.stylus_length_mm.value_or(0.0) + holder_shown_mm;
    box.extend(Eigen::Vector3d(placed.contact_mm() + length * placed.tool_axis));
  }
}

Eigen::AlignedBox3d what_matters(const SetupScene& scene) {
  Eigen::AlignedBox3d box;
  for (const RotaryAngles& angles : scene.places()) {
    for (const SceneBody& solid : scene_at(scene.machine, scene.state, angles)) {
      if (solid.artefact >= 0 || !solid.labelled) include(box, solid.body);
    }
  }
  for (std::size_t i = 0; i < scene.machine.rotary.size(); ++i) {
    const RotaryAxis& axis = scene.machine.rotary[i];
    Eigen::Vector3d point = scene.axis_point_mm(static_cast<int>(i));
    const Eigen::Vector3d u = scene.axis_direction(static_cast<int>(i));
    // The place of the axis that matters lies beside what it carries.
    if (axis.side == AxisSide::work && !box.isEmpty()) point += u.dot(box.center() - point) * u;
    box.extend(point);
  }
  for (const int artefact : scene.touched()) {
    const SetupScene::Stand stand = scene.stand_of(artefact);
    if (stand.face.empty()) continue;
    const double deeper = std::copysign(face_shown_mm, stand.height_mm);
    box.extend(Eigen::Vector3d(stand.at_mm - (stand.height_mm + deeper) * stand.along));
  }
  include_probe(box, scene);
  include_tilted_tools(box, scene);
  return box;
}

/// With as much of what stands about as tells what it is.
Eigen::AlignedBox3d with_surroundings(const SetupScene& scene, const Eigen::AlignedBox3d& matters) {
  Eigen::AlignedBox3d near = matters;
  const Eigen::Vector3d more = Eigen::Vector3d::Constant(surroundings * matters.sizes().maxCoeff());
  near.min() -= more;
  near.max() += more;
  Eigen::AlignedBox3d box = matters;
  for (const SceneBody& solid : scene_at(scene.machine, scene.state, scene.first)) {
    Eigen::AlignedBox3d body;
    include(body, solid.body);
    const Eigen::AlignedBox3d seen = body.intersection(near);
    if (!seen.isEmpty()) box.extend(seen);
  }
  return box;
}

double extent(const Eigen::AlignedBox3d& box, const Eigen::Vector3d& direction) {
  return direction.cwiseAbs().dot(box.sizes());
}

bool looks_along(const SetupScene& scene, const Sight& sight) {
  for (std::size_t i = 0; i < scene.machine.rotary.size(); ++i) {
    const double along = scene.axis_direction(static_cast<int>(i)).dot(sight.towards());
    if (std::abs(along) > 0.9) return true;
  }
  return false;
}

/// What is drawn where, in columns and rows of a third-angle sheet.
struct Grid {
  Sight front;
  std::optional<Sight> side, top;
};

/// The front always; from the right and from above where an axis is seen along itself, one of them at
/// least.
Grid chosen_views(const SetupScene& scene) {
  Grid grid{front_sight(scene.upward), std::nullopt, std::nullopt};
  const Sight side = side_sight(scene.upward);
  const Sight top = top_sight(scene.upward);
  if (looks_along(scene, top)) grid.top = top;
  if (looks_along(scene, side) || !grid.top) grid.side = side;
  return grid;
}

class Arrangement {
 public:
  Arrangement(const SetupScene& scene, double top)
      : grid_(chosen_views(scene)),
        box_(with_surroundings(scene, what_matters(scene))),
        top_(top) {}

  SetupLayout at_largest_scale() const {
    SetupLayout layout;
    for (const double step : {0.2, 0.25, 0.4, 0.5, 0.75, 1.0,  1.25, 1.5,  2.0,  2.5,  3.0,
                              4.0, 5.0,  6.0, 8.0, 10.0, 12.5, 15.0, 20.0, 25.0, 50.0, 100.0}) {
      layout = at_scale(step);
      if (fits(layout)) break;
    }
    return layout;
  }

 private:
  double width_of(const Sight& sight, double px_per_mm) const {
    return std::max(narrowest_view, px_per_mm * extent(box_, sight.right) + 2.0 * side_margin);
  }
  double height_of(const Sight& sight, double px_per_mm) const {
    return px_per_mm * extent(box_, sight.up) + 2.0 * head_margin;
  }

  Window window(const Sight& sight, double left, double top, double px_per_mm) const {
    return {sight,
            {left, top, left + width_of(sight, px_per_mm), top + height_of(sight, px_per_mm)},
            box_.center(),
            px_per_mm};
  }

  SetupLayout at_scale(double drawing_scale) const {
    const double px = px_per_mm_at_full_size / drawing_scale;
    SetupLayout layout;
    layout.drawing_scale = drawing_scale;
    double front_top = top_ + title_height;
    if (grid_.top) front_top += height_of(*grid_.top, px) + between_views + title_height;
    const Window front = window(grid_.front, 0.0, front_top, px);
    layout.windows.push_back(front);
    const double right = front.paper.right + between_views;
    if (grid_.side) layout.windows.push_back(window(*grid_.side, right, front_top, px));
    if (grid_.top) layout.windows.push_back(window(*grid_.top, 0.0, top_ + title_height, px));
    place_close_up(layout, right);
    layout.bottom = std::max(front.paper.bottom, layout.close_up.bottom);
    return layout;
  }

  /// In the corner that three views leave free where it is tall enough, else beside the views, else under
  /// them.
  void place_close_up(SetupLayout& layout, double right_of_front) const {
    double left = right_of_front;
    double top = top_ + title_height;
    if (grid_.top && grid_.side) {
      const Box& side = layout.windows[1].paper;
      if (top + close_up_height + title_height > side.top) {
        left = side.right + between_views;
        top = side.top;
      }
    } else if (!grid_.top) {
      left = layout.windows.back().paper.right + between_views;
      if (left + close_up_width > figure_width) {
        left = 0.0;
        top = layout.windows.front().paper.bottom + title_height;
      }
    }
    layout.close_up = {left, top, left + close_up_width, top + close_up_height};
  }

  bool fits(const SetupLayout& layout) const {
    double right = layout.close_up.right;
    for (const Window& window : layout.windows) right = std::max(right, window.paper.right);
    const double tallest = grid_.top ? tallest_grid : tallest_row;
    return right <= figure_width && layout.bottom - top_ <= tallest;
  }

  Grid grid_;
  Eigen::AlignedBox3d box_;
  double top_;
};

}  // namespace

SetupScene::SetupScene(const Machine& machine_file, const Plan& made)
    : machine(machine_file),
      plan(made),
      state(nominal_state(machine_file)),
      upward(upward_axis(machine_file)) {
  if (!plan.stations.empty()) first = plan.stations.front().angles_rad;
}

std::optional<Eigen::Vector3d> SetupScene::start_mm() const {
  if (plan.touch_count() == 0) return std::nullopt;
  return stylus_in_machine(machine, state, start_position_mm(machine, plan), first);
}

Eigen::Vector3d SetupScene::axis_point_mm(int axis) const {
  const Line& line = state.axis_lines[static_cast<std::size_t>(axis)];
  if (machine.rotary[static_cast<std::size_t>(axis)].side == AxisSide::tool) {
    if (plan.touch_count() == 0) return line.point_mm;
    return line.point_mm + start_position_mm(machine, plan);
  }
  const std::vector<int> chain = machine.work_chain(axis);
  const int carrier = chain.size() < 2 ? -1 : chain[chain.size() - 2];
  return machine_from_carried(machine, state, carrier, line.point_mm, first);
}

Eigen::Vector3d SetupScene::axis_direction(int axis) const {
  const Line& line = state.axis_lines[static_cast<std::size_t>(axis)];
  if (machine.rotary[static_cast<std::size_t>(axis)].side == AxisSide::tool) return line.direction;
  const std::vector<int> chain = machine.work_chain(axis);
  const int carrier = chain.size() < 2 ? -1 : chain[chain.size() - 2];
  return machine_from_carried_rotation(machine, state, carrier, first) * line.direction;
}

std::vector<RotaryAngles> SetupScene::places() const {
  std::vector<RotaryAngles> places = {first};
  for (const PlannedStation& station : plan.stations) {
    if (std::find(places.begin(), places.end(), station.angles_rad) == places.end()) {
      places.push_back(station.angles_rad);
    }
  }
  return places;
}

std::optional<Eigen::Vector3d> SetupScene::safe_mm() const {
  if (plan.touch_count() == 0) return std::nullopt;
  Eigen::Vector3d shown = start_position_mm(machine, plan);
  shown.z() = plan.distances.safe_height;
  return stylus_in_machine(machine, state, shown, first);
}

Eigen::Vector3d SetupScene::artefact_mm(int artefact, const RotaryAngles& angles_rad) const {
  const auto index = static_cast<std::size_t>(artefact);
  const Artefact& one = machine.artefacts[index];
  Eigen::Vector3d point = state.artefacts[index].point_mm;
  if (one.kind == ArtefactKind::pin) {
    point += 0.5 * one.length_mm * state.artefacts[index].direction;
  }
  return machine_from_carried(machine, state, one.carried_by, point, angles_rad);
}

std::set<int> SetupScene::touched() const {
  std::set<int> touched;
  for (const PlannedStation& station : plan.stations) {
    for (const PlannedTouch& touch : station.touches) touched.insert(touch.artefact);
  }
  return touched;
}

SetupScene::Stand SetupScene::stand_of(int artefact) const {
  const auto index = static_cast<std::size_t>(artefact);
  const Artefact& one = machine.artefacts[index];
  Stand stand;
  stand.along = one.carried_by < 0 ? upward_direction(machine) : axis_direction(one.carried_by);
  stand.at_mm = artefact_mm(artefact, first);
  if (one.kind == ArtefactKind::pin) {  // its free end, which a rule reaches
    stand.at_mm = machine_from_carried(
        machine, state, one.carried_by,
        state.artefacts[index].point_mm + one.length_mm * state.artefacts[index].direction, first);
  }
  for (const SceneBody& solid : scene_at(machine, state, first)) {
    if (solid.carried_by != one.carried_by || solid.artefact >= 0 || !solid.labelled) continue;
    for (const double sign : {1.0, -1.0}) {
      const double face = stand.along.dot(solid.body.support(sign * stand.along));
      const double height = sign * (stand.along.dot(stand.at_mm) - face);
      const bool nearer = stand.face.empty() || height < std::abs(stand.height_mm);
      if (height <= 0.0 || !nearer) continue;
      stand.face = solid.name;
      stand.height_mm = sign * height;
    }
  }
  return stand;
}

Eigen::Vector3d SetupScene::out_from_axis_mm(int artefact) const {
  const int axis = machine.artefacts[static_cast<std::size_t>(artefact)].carried_by;
  if (axis < 0) return Eigen::Vector3d::Zero();
  const Line line{axis_point_mm(axis), axis_direction(axis)};
  return perpendicular_from_line(line, stand_of(artefact).at_mm);
}

SetupLayout lay_out(const SetupScene& scene, double top) {
  return Arrangement(scene, top).at_largest_scale();
}

}  // namespace pivotrace::report
