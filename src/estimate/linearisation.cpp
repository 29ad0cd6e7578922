// Gaps and their derivatives in closed form. The chain of rotations is differentiated step by step:
//   p' = c + R (p - c):  dp'/dp = R,  dp'/dc = I - R,  dp'/dt = s u x R(p - c),
//   d(R v)/du . du = sin t (du x v) + (1 - cos t)(du (u.v) + u (du.v))     (Rodrigues, derived here)
#include "estimate/linearisation.h"

#include <Eigen/Geometry>
#include <cmath>

#include "pivotrace/geometry/rotation.h"
#include "pivotrace/machine/kinematics.h"

namespace pivotrace {

/// Derivatives of a point that travels along the chain.
struct PointJet {
  Eigen::Vector3d value = Eigen::Vector3d::Zero();
  std::array<Eigen::Matrix<double, 3, 4>, max_rotary_axes> by_line;
  Eigen::Matrix<double, 3, max_rotary_axes> by_angle;
  Eigen::Matrix3d by_shown;
  Eigen::Matrix3d by_arm;
  std::array<bool, max_rotary_axes> seen{};
};

/// Gap, its gradient and its derivatives by the artefact's own unknowns.
struct SurfaceJet {
  double gap = 0.0;
  Eigen::Vector3d gradient = Eigen::Vector3d::Zero();  ///< by the stylus centre, carried frame
  Eigen::Vector3d by_point = Eigen::Vector3d::Zero();
  Eigen::Vector3d by_direction = Eigen::Vector3d::Zero();
  double by_radius = 0.0;  ///< by the effective radius
};

namespace {

using Tilts = Eigen::Matrix<double, 3, 2>;

/// d (R(angle) v) / d (tilts), 3x2.
Tilts turned_by_tilt(const Eigen::Vector3d& v, const Eigen::Vector3d& u, double angle_rad,
                     const Tilts& u_by_tilt) {
  const double sine = std::sin(angle_rad);
  const double versine = 1.0 - std::cos(angle_rad);
  const double along = u.dot(v);
  Tilts by_tilt;
  for (int k = 0; k < 2; ++k) {
    const Eigen::Vector3d du = u_by_tilt.col(k);
    by_tilt.col(k) = sine * du.cross(v) + versine * (du * along + u * du.dot(v));
  }
  return by_tilt;
}

/// One rotation of a chain at one station. `sense` is +1 forwards, -1 for the inverse.
struct Turn {
  int axis = 0;
  double sign_by_command = 1.0;  ///< d(body angle used)/d(commanded angle)
  double angle_rad = 0.0;
  Eigen::Matrix3d rotation;
};

}  // namespace

struct Linearisation::Frame {
  std::array<Turn, max_rotary_axes> turns;
  int tool_turns = 0;   ///< the first ones: tool side, innermost first
  int total_turns = 0;  ///< then the work side, outermost first
  std::array<int, max_rotary_axes> work_axis_order{};
};

Linearisation::Linearisation(const Model& model, const Eigen::VectorXd& unknowns)
    : model_(model), unknowns_(unknowns), state_(model.state(unknowns)) {
  const Layout& layout = model.layout();
  for (std::size_t axis = 0; axis < layout.axis_first.size(); ++axis) {
    Tilts by_tilt = Tilts::Zero();
    if (layout.axis_first[axis] >= 0) {
      by_tilt =
          model.axis_charts_[axis].direction_by_tilt(unknowns.segment<4>(layout.axis_first[axis]));
    }
    axis_by_tilt_.push_back(by_tilt);
  }
  for (std::size_t a = 0; a < layout.place_first.size(); ++a) {
    Tilts by_tilt = Tilts::Zero();
    const int first = layout.place_first[a];
    if (first >= 0 && model.machine().artefacts[a].kind != ArtefactKind::ball) {
      const bool flat = model.machine().artefacts[a].kind == ArtefactKind::flat;
      LineParameters<double> p = LineParameters<double>::Zero();
      p.tail<2>() = unknowns.segment<2>(first + (flat ? 1 : 2));
      by_tilt = model.place_charts_[a].direction_by_tilt(p);
    }
    place_by_tilt_.push_back(by_tilt);
  }
}

Linearisation::Frame Linearisation::frame(const RotaryAngles& angles_rad) const {
  Frame frame;
  const Machine& machine = model_.machine();
  const auto add_turn = [&](int axis, double sense) {
    Turn turn;
    turn.axis = axis;
    turn.sign_by_command = sense * turn_sign(state_.turns[axis]);
    turn.angle_rad = turn.sign_by_command * angles_rad[axis];
    turn.rotation = rotation_matrix(state_.axis_lines[axis].direction, turn.angle_rad);
    frame.turns[frame.total_turns++] = turn;
  };
  const int axes = static_cast<int>(machine.rotary.size());
  for (int axis = axes - 1; axis >= 0; --axis) {
    if (machine.rotary[axis].side == AxisSide::tool) add_turn(axis, 1.0);
  }
  frame.tool_turns = frame.total_turns;
  for (int axis = 0; axis < axes; ++axis) {
    if (machine.rotary[axis].side == AxisSide::work) add_turn(axis, -1.0);
  }
  return frame;
}

namespace {

/// Carries a point and all its derivatives through one rotation.
void pass_through(const Turn& turn, const Line& line, const Tilts& by_tilt, const CrossPair& cross,
                  PointJet& point) {
  const Eigen::Vector3d arm = point.value - line.point_mm;
  const Eigen::Vector3d turned_arm = turn.rotation * arm;
  for (int other = 0; other < max_rotary_axes; ++other) {
    if (!point.seen[other]) continue;
    point.by_line[other] = turn.rotation * point.by_line[other];
    point.by_angle.col(other) = turn.rotation * point.by_angle.col(other);
  }
  point.by_shown = turn.rotation * point.by_shown;
  point.by_arm = turn.rotation * point.by_arm;
  Eigen::Matrix<double, 3, 4>& by_line = point.by_line[turn.axis];
  by_line.col(0) = cross.first - turn.rotation * cross.first;
  by_line.col(1) = cross.second - turn.rotation * cross.second;
  by_line.rightCols<2>() = turned_by_tilt(arm, line.direction, turn.angle_rad, by_tilt);
  point.by_angle.col(turn.axis) = turn.sign_by_command * line.direction.cross(turned_arm);
  point.seen[turn.axis] = true;
  point.value = line.point_mm + turned_arm;
}

SurfaceJet surface(ArtefactKind kind, const ArtefactPlace& place, double stylus_radius_mm,
                   const Eigen::Vector3d& p) {
  SurfaceJet jet;
  jet.gap = gap_mm(kind, place, stylus_radius_mm, p);
  jet.gradient = outward_normal(kind, place, p);
  jet.by_point = -jet.gradient;
  const Eigen::Vector3d arm = p - place.point_mm;
  switch (kind) {
    case ArtefactKind::ball: jet.by_radius = -1.0; break;
    case ArtefactKind::pin:
      jet.by_radius = -1.0;
      jet.by_direction = -jet.gradient * place.direction.dot(arm);
      break;
    case ArtefactKind::bore:
      jet.by_radius = 1.0;
      jet.by_direction = -jet.gradient * place.direction.dot(arm);
      break;
    case ArtefactKind::flat: jet.by_direction = arm; break;
  }
  return jet;
}

}  // namespace

void Linearisation::evaluate(int station, const double* nuisance, StationBlock& block,
                             const std::vector<Effect>& common) const {
  const Station& stay = model_.survey().stations[station];
  const int rows = model_.readings(station);
  block.gap.resize(rows);
  block.by_unknown.setZero(rows, model_.layout().unknowns);
  block.by_nuisance.setZero(rows, model_.nuisances());
  block.by_common.setZero(rows, static_cast<Eigen::Index>(common.size()));
  const Frame shared = station_frame(station, nuisance);
  int row = 0;
  for (int t = 0; t < stay.touch_count; ++t) {
    const Touch& touch = model_.survey().touches[stay.first_touch + t];
    evaluate_touch(touch, shared, nuisance, row, block, common);
    row += touch.kind == TouchKind::centre ? 3 : 1;
  }
}

Linearisation::Frame Linearisation::station_frame(int station, const double* nuisance) const {
  RotaryAngles angles = model_.survey().stations[station].angles_rad;
  const Layout& layout = model_.layout();
  for (std::size_t axis = 0; axis < model_.machine().rotary.size(); ++axis) {
    if (nuisance != nullptr) angles[axis] += nuisance[3 + axis];
  }
  for (std::size_t k = 0; k < layout.effects.size(); ++k) {
    const Effect& effect = layout.effects[k];
    if (effect.kind != EffectKind::reversal) continue;
    angles[effect.index] += unknowns_[layout.effects_first + static_cast<int>(k)] *
                            model_.context().reached_from[station][effect.index];
  }
  return frame(angles);
}

/// Slides and arm as the unknown effects leave them. Lobing acts on the gap, not here, so the
/// direction passed to it does not matter.
struct Linearisation::Placed {
  Eigen::Vector3d shown;
  Eigen::Vector3d arm;
};

Linearisation::Placed Linearisation::placed(const Touch& touch, const double* nuisance) const {
  Placed placed{touch.shown_mm, state_.stylus_offset_mm};
  if (nuisance != nullptr) placed.shown += Eigen::Map<const Eigen::Vector3d>(nuisance);
  const Layout& layout = model_.layout();
  for (std::size_t k = 0; k < layout.effects.size(); ++k) {
    const EffectOnTouch on_touch =
        effect_on_touch(layout.effects[k], touch, Eigen::Vector3d::UnitX(), model_.context());
    const double amount = unknowns_[layout.effects_first + static_cast<int>(k)];
    placed.shown += amount * on_touch.shown;
    placed.arm += amount * on_touch.arm;
  }
  return placed;
}

/// The stylus centre in the carried frame, with its derivatives and the rotations it went through.
struct Linearisation::Carried {
  PointJet point;
  Eigen::Matrix3d carried_from_machine = Eigen::Matrix3d::Identity();
  Eigen::Matrix3d machine_from_spindle = Eigen::Matrix3d::Identity();
};

Linearisation::Carried Linearisation::carry(const Touch& touch, const Frame& frame,
                                            const double* nuisance) const {
  Carried carried;
  PointJet& point = carried.point;
  const Placed start = placed(touch, nuisance);
  const double side = touch.flip ? -1.0 : 1.0;
  point.by_shown.setZero();
  point.by_arm = Eigen::Vector3d(side, side, 1.0).asDiagonal();
  point.value = point.by_arm * start.arm;
  carried.machine_from_spindle = point.by_arm;
  const auto pass = [&](const Turn& turn) {
    pass_through(turn, state_.axis_lines[turn.axis], axis_by_tilt_[turn.axis],
                 model_.axis_charts_[turn.axis].cross(), point);
  };
  for (int k = 0; k < frame.tool_turns; ++k) {
    pass(frame.turns[k]);
    carried.machine_from_spindle = frame.turns[k].rotation * carried.machine_from_spindle;
  }
  point.value += start.shown;
  point.by_shown.setIdentity();
  const int last = model_.machine().artefacts[touch.artefact].carried_by;
  for (int k = frame.tool_turns; k < frame.total_turns; ++k) {
    const Turn& turn = frame.turns[k];
    if (turn.axis > last) continue;
    pass(turn);
    carried.carried_from_machine = turn.rotation * carried.carried_from_machine;
  }
  return carried;
}

void Linearisation::evaluate_touch(const Touch& touch, const Frame& frame, const double* nuisance,
                                   int row, StationBlock& block,
                                   const std::vector<Effect>& common) const {
  const Carried carried = carry(touch, frame, nuisance);
  const ArtefactPlace& place = state_.artefacts[touch.artefact];
  if (touch.kind == TouchKind::touch) {
    const ArtefactKind kind = model_.machine().artefacts[touch.artefact].kind;
    const SurfaceJet jet = surface(kind, place, state_.stylus_radius_mm, carried.point.value);
    write_row(touch, carried, jet, row, block, common);
    return;
  }
  for (int r = 0; r < 3; ++r) {
    SurfaceJet jet;
    jet.gradient = Eigen::Vector3d::Unit(r);
    jet.gap = carried.point.value[r] - place.point_mm[r];
    jet.by_point = -jet.gradient;
    write_row(touch, carried, jet, row + r, block, common);
  }
}

void Linearisation::write_row(const Touch& touch, const Carried& carried, const SurfaceJet& jet,
                              int row, StationBlock& block,
                              const std::vector<Effect>& common) const {
  const Layout& layout = model_.layout();
  const PointJet& point = carried.point;
  auto by_unknown = block.by_unknown.row(row);
  auto by_nuisance = block.by_nuisance.row(row);
  by_nuisance.head<3>() = jet.gradient.transpose() * point.by_shown;
  for (std::size_t axis = 0; axis < layout.axis_first.size(); ++axis) {
    if (!point.seen[axis]) continue;
    by_nuisance[3 + axis] = jet.gradient.dot(point.by_angle.col(axis));
    if (layout.axis_first[axis] < 0) continue;
    by_unknown.segment<4>(layout.axis_first[axis]) = jet.gradient.transpose() * point.by_line[axis];
  }
  write_place(touch.artefact, jet, by_unknown);
  const int group = layout.radius_group[touch.artefact];
  if (group >= 0) by_unknown[layout.radius_groups[group].unknown] = jet.by_radius;
  block.gap[row] = jet.gap;
  if (!layout.effects.empty() || !common.empty()) {
    write_effects(touch, carried, jet, row, block, common);
  }
}

void Linearisation::write_place(
    int artefact, const SurfaceJet& jet,
    Eigen::Ref<Eigen::RowVectorXd, 0, Eigen::InnerStride<>> by_unknown) const {
  const int first = model_.layout().place_first[artefact];
  const LineChart& chart = model_.place_charts_[artefact];
  const Eigen::RowVector2d by_lean = jet.by_direction.transpose() * place_by_tilt_[artefact];
  switch (model_.machine().artefacts[artefact].kind) {
    case ArtefactKind::ball: by_unknown.segment<3>(first) = jet.by_point; break;
    case ArtefactKind::pin:
    case ArtefactKind::bore:
      by_unknown[first] = jet.by_point.dot(chart.cross().first);
      by_unknown[first + 1] = jet.by_point.dot(chart.cross().second);
      by_unknown.segment<2>(first + 2) = by_lean;
      break;
    case ArtefactKind::flat:
      by_unknown[first] = jet.by_point.dot(chart.nominal().direction);
      by_unknown.segment<2>(first + 1) = by_lean;
      break;
  }
}

void Linearisation::write_effects(const Touch& touch, const Carried& carried, const SurfaceJet& jet,
                                  int row, StationBlock& block,
                                  const std::vector<Effect>& common) const {
  const Layout& layout = model_.layout();
  const Eigen::RowVector3d by_shown = jet.gradient.transpose() * carried.point.by_shown;
  const Eigen::RowVector3d by_arm = jet.gradient.transpose() * carried.point.by_arm;
  const Eigen::Vector3d outward_in_spindle = carried.machine_from_spindle.transpose() *
                                             carried.carried_from_machine.transpose() *
                                             jet.gradient;
  const auto amount = [&](const EffectOnTouch& on_touch) {
    double derivative = by_shown.dot(on_touch.shown) + by_arm.dot(on_touch.arm) + on_touch.gap;
    for (std::size_t axis = 0; axis < layout.axis_first.size(); ++axis) {
      derivative +=
          block.by_nuisance(row, 3 + static_cast<Eigen::Index>(axis)) * on_touch.angles[axis];
    }
    return derivative;
  };
  const auto on_this_touch = [&](const Effect& effect) {
    return effect_on_touch(effect, touch, outward_in_spindle, model_.context());
  };
  for (std::size_t k = 0; k < layout.effects.size(); ++k) {
    const EffectOnTouch on_touch = on_this_touch(layout.effects[k]);
    const int unknown = layout.effects_first + static_cast<int>(k);
    block.by_unknown(row, unknown) = amount(on_touch);
    block.gap[row] += unknowns_[unknown] * on_touch.gap;
  }
  for (std::size_t k = 0; k < common.size(); ++k) {
    block.by_common(row, static_cast<Eigen::Index>(k)) = amount(on_this_touch(common[k]));
  }
}

}  // namespace pivotrace
