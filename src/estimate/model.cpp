#include "estimate/model.h"

#include <Eigen/Eigenvalues>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

#include "estimate/readings.h"
#include "pivotrace/contact/eigen.h"

namespace pivotrace {

namespace {

/// Two stations stand at the same angle when they differ by less than this: far below any encoder.
constexpr double same_angle_rad = 1e-9;

LinearAxis nearest_axis(const Eigen::Vector3d& direction) {
  Eigen::Index largest = 0;
  direction.cwiseAbs().maxCoeff(&largest);
  return static_cast<LinearAxis>(largest);
}

/// `name` once for each direction square to a line.
void name_across(std::vector<Unknown>& names, Unknown name, const CrossPair& cross) {
  for (const Eigen::Vector3d& direction : {cross.first, cross.second}) {
    name.direction = nearest_axis(direction);
    names.push_back(name);
  }
}

/// The four unknowns of a line: its point, then its tilt.
void name_line(std::vector<Unknown>& names, Unknown name, const CrossPair& cross) {
  for (const UnknownKind kind : {UnknownKind::centre, UnknownKind::lean}) {
    name.kind = kind;
    name_across(names, name, cross);
  }
}

void name_place(std::vector<Unknown>& names, const Artefact& artefact, const CrossPair& cross) {
  Unknown name;
  name.artefact = artefact.name;
  switch (artefact.kind) {
    case ArtefactKind::ball:
      name.kind = UnknownKind::position;
      for (const LinearAxis axis : {LinearAxis::X, LinearAxis::Y, LinearAxis::Z}) {
        name.direction = axis;
        names.push_back(name);
      }
      break;
    case ArtefactKind::pin:
    case ArtefactKind::bore: name_line(names, name, cross); break;
    case ArtefactKind::flat:
      name.kind = UnknownKind::height;
      names.push_back(name);
      name.kind = UnknownKind::lean;
      name_across(names, name, cross);
      break;
  }
}

}  // namespace

double RandomModel::sigma(int group) const {
  if (group == touch_group) return touch_sigma_mm;
  if (group == station_group) return station_sigma_mm;
  const int axis = axis_of_group(group);
  if (is_index_group(group)) return index_sigma_rad[axis];
  return is_repeat_group(group) ? index_repeat_sigma_rad[axis] : axis_motion_sigma_mm[axis];
}

void RandomModel::scale_variance(int group, double factor) {
  const double by = std::sqrt(factor);
  const int axis = axis_of_group(group);
  if (group == touch_group) {
    touch_sigma_mm *= by;
  } else if (group == station_group) {
    station_sigma_mm *= by;
  } else if (is_index_group(group)) {
    index_sigma_rad[axis] *= by;
  } else if (is_repeat_group(group)) {
    index_repeat_sigma_rad[axis] *= by;
  } else {
    axis_motion_sigma_mm[axis] *= by;
  }
}

namespace {

bool is_of_survey(const Effect& effect) {
  return effect.kind == EffectKind::indicator_zero || effect.kind == EffectKind::other_stylus;
}

/// Those asked for and those this survey brings; what a larger survey brought stays behind.
std::vector<Effect> with_effects_of(const Survey& survey, std::vector<Effect> effects) {
  std::erase_if(effects, is_of_survey);
  for (const Effect& effect : effects_of_survey(survey)) {
    add_once(effects, effect);
  }
  return effects;
}

}  // namespace

int unknown_of(const Layout& layout, const Effect& effect) {
  const auto found = std::find(layout.effects.begin(), layout.effects.end(), effect);
  if (found == layout.effects.end()) return -1;
  return layout.effects_first + static_cast<int>(found - layout.effects.begin());
}

EffectName name_of(const Machine& machine, const Effect& effect) {
  if (effect.kind == EffectKind::index_wave) {
    return {effect.kind, effect.index % 4, machine.rotary[effect.index / 4].letter};
  }
  if (effect.kind != EffectKind::reversal) return {effect.kind, effect.index, '\0'};
  return {effect.kind, 0, machine.rotary[effect.index].letter};
}

Model::Model(const Machine& machine, const Survey& survey, const std::vector<Effect>& effects)
    : machine_(machine), survey_(survey), context_(effect_context(machine, survey)) {
  for (const RotaryAxis& axis : machine.rotary) {
    axis_charts_.emplace_back(Line{axis.centre_mm, axis.direction.normalized()});
    turns_.push_back(axis.positive_turn);
  }
  for (const Artefact& artefact : machine.artefacts) {
    place_charts_.emplace_back(Line{artefact.at_mm, artefact.direction.normalized()});
  }
  find_turned_axes();
  shared_ = shared_effects(machine, survey, axis_turned_, context_.reached_from);
  lay_out_axes();
  lay_out_artefacts();
  lay_out_radii();
  layout_.effects = with_effects_of(survey, effects);
  layout_.effects_first = layout_.unknowns;
  for (const Effect& effect : layout_.effects) {
    layout_.names.push_back({UnknownKind::effect, '\0', "", {}, name_of(machine, effect)});
  }
  layout_.unknowns += static_cast<int>(layout_.effects.size());
  build_prior();
  for (const Station& station : survey.stations) {
    int readings = 0;
    for (int t = 0; t < station.touch_count; ++t) {
      readings += readings_of(survey.touches[station.first_touch + t]);
    }
    station_readings_.push_back(readings);
    total_readings_ += readings;
  }
}

void Model::find_turned_axes() {
  axis_turned_.assign(machine_.rotary.size(), false);
  for (std::size_t axis = 0; axis < machine_.rotary.size(); ++axis) {
    for (const Station& station : survey_.stations) {
      const double first = survey_.stations.front().angles_rad[axis];
      if (std::abs(station.angles_rad[axis] - first) > same_angle_rad) axis_turned_[axis] = true;
    }
  }
}

void Model::lay_out_axes() {
  layout_.axis_first.assign(machine_.rotary.size(), -1);
  for (std::size_t axis = 0; axis < machine_.rotary.size(); ++axis) {
    if (!axis_turned_[axis]) continue;
    layout_.axis_first[axis] = layout_.unknowns;
    layout_.unknowns += 4;
    Unknown name;
    name.axis = machine_.rotary[axis].letter;
    name_line(layout_.names, name, axis_charts_[axis].cross());
  }
}

void Model::lay_out_artefacts() {
  layout_.place_first.assign(machine_.artefacts.size(), -1);
  for (std::size_t a = 0; a < machine_.artefacts.size(); ++a) {
    const bool touched =
        std::any_of(survey_.touches.begin(), survey_.touches.end(),
                    [&](const Touch& t) { return t.artefact == static_cast<int>(a); });
    if (!touched) continue;
    const Artefact& artefact = machine_.artefacts[a];
    layout_.place_first[a] = layout_.unknowns;
    name_place(layout_.names, artefact, place_charts_[a].cross());
    layout_.unknowns = static_cast<int>(layout_.names.size());
  }
}

void Model::lay_out_radii() {
  layout_.radius_group.assign(machine_.artefacts.size(), -1);
  for (const Touch& touch : survey_.touches) {
    const Artefact& artefact = machine_.artefacts[touch.artefact];
    int& group = layout_.radius_group[touch.artefact];
    // The zero of an indicator holds whatever the diameter is off by.
    if (group >= 0 || touch.kind != TouchKind::touch || artefact.kind == ArtefactKind::flat)
      continue;
    const int owner = artefact.diameter_as >= 0 ? artefact.diameter_as : touch.artefact;
    const bool inside = artefact.kind == ArtefactKind::bore;
    for (std::size_t g = 0; g < layout_.radius_groups.size(); ++g) {
      const RadiusGroup& known = layout_.radius_groups[g];
      if (known.owner == owner && known.inside == inside) group = static_cast<int>(g);
    }
    if (group >= 0) continue;
    group = static_cast<int>(layout_.radius_groups.size());
    layout_.radius_groups.push_back({owner, inside, layout_.unknowns++});
    layout_.names.push_back(
        {UnknownKind::effective_radius, '\0', machine_.artefacts[owner].name, {}, {}});
  }
}

// The stylus radius r is common to all groups: rho_g = R_g + s_g r (s = -1 in a bore). With
// precisions w_g of R_g and w_r of r (0 = unknown), minimising over r leaves
// precision = diag(w) - (w s)(w s)' / (sum w s^2 + w_r). Derived here.
void Model::build_prior() {
  const auto groups = static_cast<Eigen::Index>(layout_.radius_groups.size());
  prior_.mean_mm.resize(groups);
  prior_.precision = Eigen::MatrixXd::Zero(groups, groups);
  prior_.root.resize(0, groups);
  if (groups == 0) return;
  const MachineState nominal = nominal_state(machine_);
  Eigen::VectorXd weight = Eigen::VectorXd::Zero(groups);
  Eigen::VectorXd sign(groups);
  for (Eigen::Index g = 0; g < groups; ++g) {
    const RadiusGroup& group = layout_.radius_groups[g];
    const Artefact& owner = machine_.artefacts[group.owner];
    sign[g] = group.inside ? -1.0 : 1.0;
    prior_.mean_mm[g] =
        nominal.artefacts[group.owner].radius_mm + sign[g] * nominal.stylus_radius_mm;
    if (owner.diameter_mm && owner.diameter_u_mm) {
      // A diameter stated without doubt (u = 0) still gets a nanometre, to stay invertible.
      const double u = std::max(0.5 * *owner.diameter_u_mm, 1e-6);
      weight[g] = 1.0 / (u * u);
    }
  }
  double stylus_weight = 0.0;
  if (machine_.probe.stylus_diameter_u_mm) {
    const double u = std::max(0.5 * *machine_.probe.stylus_diameter_u_mm, 1e-6);
    stylus_weight = 1.0 / (u * u);
  }
  prior_.artefact_precision = weight;
  prior_.sign = sign;
  prior_.stylus_precision = stylus_weight;
  const double total = weight.sum() + stylus_weight;
  if (weight.sum() <= 0.0) return;
  const Eigen::VectorXd signed_weight = weight.cwiseProduct(sign);
  prior_.precision = weight.asDiagonal();
  prior_.precision -= signed_weight * signed_weight.transpose() / total;
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(prior_.precision);
  const double limit = 1e-12 * eigen.eigenvalues().cwiseAbs().maxCoeff();
  const Eigen::Index rank = (eigen.eigenvalues().array() > limit).count();
  prior_.root.resize(rank, groups);
  for (Eigen::Index k = 0; k < rank; ++k) {
    const Eigen::Index column = groups - 1 - k;
    prior_.root.row(k) =
        std::sqrt(eigen.eigenvalues()[column]) * eigen.eigenvectors().col(column).transpose();
  }
}

Eigen::VectorXd Model::unknowns_from(const MachineState& state) const {
  Eigen::VectorXd x = Eigen::VectorXd::Zero(layout_.unknowns);
  for (std::size_t axis = 0; axis < axis_charts_.size(); ++axis) {
    if (layout_.axis_first[axis] < 0) continue;
    x.segment<4>(layout_.axis_first[axis]) = axis_charts_[axis].parameters(state.axis_lines[axis]);
  }
  for (std::size_t a = 0; a < place_charts_.size(); ++a) {
    const int first = layout_.place_first[a];
    if (first < 0) continue;
    const ArtefactPlace& place = state.artefacts[a];
    const Line line{place.point_mm, place.direction};
    switch (machine_.artefacts[a].kind) {
      case ArtefactKind::ball:
        x.segment<3>(first) = place.point_mm - machine_.artefacts[a].at_mm;
        break;
      case ArtefactKind::pin:
      case ArtefactKind::bore: x.segment<4>(first) = place_charts_[a].parameters(line); break;
      case ArtefactKind::flat: {
        const Eigen::Vector3d& normal = place_charts_[a].nominal().direction;
        const Eigen::Vector3d& at = place_charts_[a].nominal().point_mm;
        // Height of the face above `at`, measured along the nominal normal.
        x[first] = place.direction.dot(place.point_mm - at) / place.direction.dot(normal);
        x.segment<2>(first + 1) = place_charts_[a].parameters(line).tail<2>();
        break;
      }
    }
  }
  for (const RadiusGroup& group : layout_.radius_groups) {
    x[group.unknown] = state.artefacts[group.owner].radius_mm +
                       (group.inside ? -1.0 : 1.0) * state.stylus_radius_mm;
  }
  return x;
}

MachineState Model::state(const Eigen::VectorXd& unknowns) const {
  MachineState state = nominal_state(machine_);
  state.turns = turns_;
  for (std::size_t axis = 0; axis < axis_charts_.size(); ++axis) {
    if (layout_.axis_first[axis] < 0) continue;
    const LineParameters p = unknowns.segment<4>(layout_.axis_first[axis]);
    state.axis_lines[axis] = axis_charts_[axis].line(p);
  }
  for (std::size_t a = 0; a < place_charts_.size(); ++a) {
    const int first = layout_.place_first[a];
    if (first < 0) continue;
    ArtefactPlace& place = state.artefacts[a];
    switch (machine_.artefacts[a].kind) {
      case ArtefactKind::ball:
        place.point_mm = machine_.artefacts[a].at_mm + unknowns.segment<3>(first);
        break;
      case ArtefactKind::pin:
      case ArtefactKind::bore: {
        const Line line = place_charts_[a].line(unknowns.segment<4>(first));
        place.point_mm = line.point_mm;
        place.direction = line.direction;
        break;
      }
      case ArtefactKind::flat: {
        LineParameters p = LineParameters::Zero();
        p.tail<2>() = unknowns.segment<2>(first + 1);
        place.direction = contact::as_eigen(place_charts_[a].lean(p).direction);
        place.point_mm =
            machine_.artefacts[a].at_mm + unknowns[first] * place_charts_[a].nominal().direction;
        break;
      }
    }
    const int group = layout_.radius_group[a];
    if (group >= 0) {
      const RadiusGroup& radius = layout_.radius_groups[group];
      place.radius_mm =
          unknowns[radius.unknown] - (radius.inside ? -1.0 : 1.0) * state.stylus_radius_mm;
    }
  }
  return state;
}

}  // namespace pivotrace
