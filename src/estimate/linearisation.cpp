// Gaps and derivatives are those of `contact`, by every component of points and directions. Here they
// meet the unknowns: how lines and places may move, and what the optional effects do.
#include "estimate/linearisation.h"

#include <Eigen/Geometry>

#include "estimate/readings.h"
#include "pivotrace/contact/eigen.h"
#include "pivotrace/machine/kinematics.h"

namespace pivotrace {

using contact::as_eigen;
using contact::dot;
using contact::from_eigen;

namespace {

LineMoves moves_of(const LineChart& chart, const LineParameters& p) {
  const contact::NearLine<double>& line = chart.near_line();
  const contact::Lean<double> lean = chart.lean(p);
  return {line.first, line.second, contact::by_tilt(lean, line.first),
          contact::by_tilt(lean, line.second)};
}

}  // namespace

Linearisation::Linearisation(const Model& model, const Eigen::VectorXd& unknowns)
    : model_(model),
      unknowns_(unknowns),
      state_(model.state(unknowns)),
      chain_at_zero_(pivotrace::chain_at_zero(model.machine(), state_)),
      axis_moves_(model.layout().axis_first.size()),
      place_moves_(model.layout().place_first.size()) {
  const Layout& layout = model.layout();
  for (std::size_t axis = 0; axis < layout.axis_first.size(); ++axis) {
    const int first = layout.axis_first[axis];
    if (first < 0) continue;
    axis_moves_[axis] = moves_of(model.axis_charts_[axis], unknowns.segment<4>(first));
  }
  for (std::size_t a = 0; a < layout.place_first.size(); ++a) {
    const int first = layout.place_first[a];
    const ArtefactKind kind = model.machine().artefacts[a].kind;
    if (first < 0 || kind == ArtefactKind::ball) continue;
    LineParameters p = LineParameters::Zero();
    p.tail<2>() = unknowns.segment<2>(first + (kind == ArtefactKind::flat ? 1 : 2));
    place_moves_[a] = moves_of(model.place_charts_[a], p);
  }
}

void Linearisation::evaluate(int station, const double* nuisance, StationBlock& block,
                             const std::vector<Effect>& common) const {
  const Station& stay = model_.survey().stations[station];
  const int rows = model_.readings(station);
  block.gap.resize(rows);
  block.by_unknown.setZero(rows, model_.layout().unknowns);
  block.by_nuisance.setZero(rows, model_.nuisances());
  block.by_common.setZero(rows, static_cast<Eigen::Index>(common.size()));
  const double* const off = errors_.empty() ? nuisance : errors_[station].data();
  const contact::Chain<double> chain = station_chain(station, off);
  int row = 0;
  for (int t = 0; t < stay.touch_count; ++t) {
    const Touch& touch = model_.survey().touches[stay.first_touch + t];
    evaluate_touch(touch, chain, off, row, block, common);
    row += readings_of(touch);
  }
  fill_shared(station, block);
  take_errors_back(station, block);
}

void Linearisation::take_errors_back(int station, StationBlock& block) const {
  if (errors_.empty()) return;
  const Eigen::Index columns = block.by_nuisance.cols();
  block.gap -=
      block.by_nuisance * Eigen::Map<const Eigen::VectorXd>(errors_[station].data(), columns);
}

// With R the turns of the axes outside, the slides seen from the work move by -R m, the tool by +R m.
Eigen::MatrixXd Linearisation::by_motion(int station, int axis, const StationBlock& block) const {
  const Station& stay = model_.survey().stations[station];
  const Machine& machine = model_.machine();
  const bool tool = machine.rotary[axis].side == AxisSide::tool;
  Eigen::Matrix3d moved = Eigen::Matrix3d::Identity() * (tool ? 1.0 : -1.0);
  for (int outer = axis - 1; outer >= 0; --outer) {
    if (machine.rotary[outer].side != machine.rotary[axis].side) continue;
    for (int k = 0; k < 3; ++k) {
      moved.col(k) = turned(Eigen::Vector3d(moved.col(k)), state_.axis_lines[outer].direction,
                            turn_sign(state_.turns[outer]) * stay.angles_rad[outer]);
    }
  }
  Eigen::MatrixXd columns = block.by_nuisance.leftCols<3>() * moved;
  int row = 0;
  for (int t = 0; t < stay.touch_count; ++t) {
    const Touch& touch = model_.survey().touches[stay.first_touch + t];
    const int rows = readings_of(touch);
    if (!feels(machine, touch, axis)) columns.middleRows(row, rows).setZero();
    row += rows;
  }
  return columns;
}

void Linearisation::fill_shared(int station, StationBlock& block) const {
  const std::vector<int>& ids = model_.shared().of_station[station];
  block.by_shared.resize(block.gap.size(), static_cast<Eigen::Index>(ids.size()));
  Eigen::MatrixXd motion;
  int motion_axis = -1;
  for (std::size_t j = 0; j < ids.size(); ++j) {
    const SharedEffect& effect = model_.shared().all[ids[j]];
    auto column = block.by_shared.col(static_cast<Eigen::Index>(j));
    if (effect.component < 0) {
      column = block.by_nuisance.col(3 + effect.axis);
      continue;
    }
    // The three components follow one another.
    if (effect.axis != motion_axis) motion = by_motion(station, effect.axis, block);
    motion_axis = effect.axis;
    column = motion.col(effect.component);
  }
}

contact::Chain<double> Linearisation::station_chain(int station, const double* nuisance) const {
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
  contact::Chain<double> chain = chain_at_zero_;
  stand_at(chain, angles);
  return chain;
}

Eigen::Vector3d Linearisation::stylus_in_carried(const Touch& touch,
                                                 const RotaryAngles& angles_rad) const {
  contact::Chain<double> chain = chain_at_zero_;
  stand_at(chain, angles_rad);
  const int carrier = model_.machine().artefacts[touch.artefact].carried_by;
  return as_eigen(contact::stylus_in_carried(chain, carrier, reading(touch, nullptr)));
}

Eigen::Vector3d Linearisation::outward_in_spindle(const Touch& touch,
                                                  const contact::Chain<double>& chain) const {
  const Artefact& artefact = model_.machine().artefacts[touch.artefact];
  return as_eigen(contact::gap_gradient(
                      chain, artefact.carried_by, reading(touch, nullptr), artefact.kind,
                      contact_place(state_.artefacts[touch.artefact]), state_.stylus_radius_mm)
                      .chain.by_offset);
}

/// Slides and stylus as the unknown effects leave them. Lobing of a touch acts on the gap, not here, so
/// the direction passed to it does not matter.
contact::Reading<double> Linearisation::reading(const Touch& touch, const double* nuisance) const {
  Eigen::Vector3d shown = touch.shown_mm;
  Eigen::Vector3d offset = state_.stylus_offset_mm;
  if (nuisance != nullptr) shown += Eigen::Map<const Eigen::Vector3d>(nuisance);
  const Layout& layout = model_.layout();
  for (std::size_t k = 0; k < layout.effects.size(); ++k) {
    const EffectOnTouch on_touch =
        effect_on_touch(layout.effects[k], touch, Eigen::Vector3d::UnitX(), model_.context());
    const double amount = unknowns_[layout.effects_first + static_cast<int>(k)];
    shown += amount * on_touch.shown;
    offset += amount * on_touch.arm;
  }
  return {from_eigen(shown), from_eigen(offset), touch.flip};
}

/// One reading with everything its row of derivatives is made of.
struct Linearisation::Row {
  const Touch& touch;
  int index;
  contact::Surface<double> surface;
  contact::ChainGradient<double> chain;
};

void Linearisation::evaluate_touch(const Touch& touch, const contact::Chain<double>& chain,
                                   const double* nuisance, int row, StationBlock& block,
                                   const std::vector<Effect>& common) const {
  const Artefact& artefact = model_.machine().artefacts[touch.artefact];
  const contact::Place<double> place = contact_place(state_.artefacts[touch.artefact]);
  const contact::Reading<double> at = reading(touch, nuisance);
  const int last = artefact.carried_by;
  const contact::Journey<double> journey = contact::travel(chain, last, at);
  const auto write = [&](int index, const contact::Surface<double>& surface) {
    write_row(
        {touch, index, surface, contact::pulled_back(chain, last, at, journey, surface.outward)},
        block, common);
  };
  if (touch.kind != TouchKind::centre) {
    write(row, contact::surface(artefact.kind, place, state_.stylus_radius_mm,
                                journey.stylus_in_carried));
    return;
  }
  for (int r = 0; r < 3; ++r) {
    contact::Surface<double> component;
    component.outward[r] = 1.0;
    component.gap = journey.stylus_in_carried[r] - place.point[r];
    write(row + r, component);
  }
}

void Linearisation::write_row(const Row& at, StationBlock& block,
                              const std::vector<Effect>& common) const {
  const Layout& layout = model_.layout();
  auto by_unknown = block.by_unknown.row(at.index);
  auto by_nuisance = block.by_nuisance.row(at.index);
  by_nuisance.head<3>() = as_eigen(at.chain.by_shown).transpose();
  for (std::size_t axis = 0; axis < layout.axis_first.size(); ++axis) {
    by_nuisance[3 + axis] = at.chain.by_angle[axis];
    const int first = layout.axis_first[axis];
    if (first < 0) continue;
    const LineMoves& moves = axis_moves_[axis];
    by_unknown[first] = dot(at.chain.by_axis_point[axis], moves.shift_first);
    by_unknown[first + 1] = dot(at.chain.by_axis_point[axis], moves.shift_second);
    by_unknown[first + 2] = dot(at.chain.by_axis_direction[axis], moves.tilt_first);
    by_unknown[first + 3] = dot(at.chain.by_axis_direction[axis], moves.tilt_second);
  }
  write_place(at, by_unknown);
  const int group = layout.radius_group[at.touch.artefact];
  if (group >= 0) by_unknown[layout.radius_groups[group].unknown] = at.surface.by_radius;
  block.gap[at.index] = at.surface.gap;
  if (!layout.effects.empty() || !common.empty()) write_effects(at, block, common);
}

void Linearisation::write_place(
    const Row& at, Eigen::Ref<Eigen::RowVectorXd, 0, Eigen::InnerStride<>> by_unknown) const {
  const int artefact = at.touch.artefact;
  const int first = model_.layout().place_first[artefact];
  const LineMoves& moves = place_moves_[artefact];
  const contact::Vec3<double> by_point = -at.surface.outward;
  const contact::Vec3<double>& by_direction = at.surface.by_direction;
  switch (model_.machine().artefacts[artefact].kind) {
    case ArtefactKind::ball: by_unknown.segment<3>(first) = as_eigen(by_point).transpose(); break;
    case ArtefactKind::pin:
    case ArtefactKind::bore:
      by_unknown[first] = dot(by_point, moves.shift_first);
      by_unknown[first + 1] = dot(by_point, moves.shift_second);
      by_unknown[first + 2] = dot(by_direction, moves.tilt_first);
      by_unknown[first + 3] = dot(by_direction, moves.tilt_second);
      break;
    case ArtefactKind::flat:
      by_unknown[first] = dot(by_point, model_.place_charts_[artefact].near_line().direction);
      by_unknown[first + 1] = dot(by_direction, moves.tilt_first);
      by_unknown[first + 2] = dot(by_direction, moves.tilt_second);
      break;
  }
}

void Linearisation::write_effects(const Row& at, StationBlock& block,
                                  const std::vector<Effect>& common) const {
  const Layout& layout = model_.layout();
  const auto amount = [&](const EffectOnTouch& on_touch) {
    double derivative = as_eigen(at.chain.by_shown).dot(on_touch.shown) +
                        as_eigen(at.chain.by_offset).dot(on_touch.arm) + on_touch.gap;
    for (std::size_t axis = 0; axis < layout.axis_first.size(); ++axis) {
      derivative += at.chain.by_angle[axis] * on_touch.angles[axis];
    }
    return derivative;
  };
  // The outward normal in the frame of the spindle is the derivative by the offset of the stylus.
  const auto on_this_touch = [&](const Effect& effect) {
    return effect_on_touch(effect, at.touch, as_eigen(at.chain.by_offset), model_.context());
  };
  for (std::size_t k = 0; k < layout.effects.size(); ++k) {
    const EffectOnTouch on_touch = on_this_touch(layout.effects[k]);
    const int unknown = layout.effects_first + static_cast<int>(k);
    block.by_unknown(at.index, unknown) = amount(on_touch);
    block.gap[at.index] += unknowns_[unknown] * on_touch.gap;
  }
  for (std::size_t k = 0; k < common.size(); ++k) {
    block.by_common(at.index, static_cast<Eigen::Index>(k)) = amount(on_this_touch(common[k]));
  }
}

double sum_of_squared_gaps(const Model& model, const Eigen::VectorXd& unknowns) {
  const Linearisation at(model, unknowns);
  StationBlock block;
  double sum = 0.0;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    at.evaluate(static_cast<int>(s), nullptr, block);
    sum += block.gap.squaredNorm();
  }
  return sum;
}

}  // namespace pivotrace
