#include "estimate/outputs.h"

#include <Eigen/Dense>
#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

#include "estimate/face_height.h"
#include "estimate/linearisation.h"
#include "estimate/readings.h"
#include "estimate/zero_output.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/machine/length_datum.h"

namespace pivotrace {

namespace {

Line fitted_line(const Model& model, int axis, const Eigen::VectorXd& unknowns) {
  const int first = model.layout().axis_first[axis];
  if (first < 0) return model.axis_chart(axis).nominal();
  return model.axis_chart(axis).line(unknowns.segment<4>(first));
}

/// Components that carry information: both cross directions of a nominally X, Y or Z axis, all
/// three of a tilted one.
std::vector<int> stated_components(const RotaryAxis& axis) {
  if (!axis.along) return {0, 1, 2};
  const int along = static_cast<int>(*axis.along);
  std::vector<int> components;
  for (int k = 0; k < 3; ++k) {
    if (k != along) components.push_back(k);
  }
  return components;
}

/// ISO 230-1 angle of a fitted direction about machine axis k, rad. For a C axis
/// E_A0C = atan2(-u_y, u_z), E_B0C = atan2(u_x, u_z), and cyclically for A and B
/// (ISO 230-1): the rotation about axis k that leans the nominal direction so. Tilted axes: the component k
/// of the small rotation nominal x fitted.
double orientation_rad(const RotaryAxis& axis, const Line& line, int k) {
  if (!axis.along) {
    return axis.direction.normalized().cross(line.direction)[k];
  }
  const int along = static_cast<int>(*axis.along);
  const int other = 3 - along - k;
  // Right-handed about k: e_along turns towards e_k x e_along = +- e_other.
  const double hand = (k + 1) % 3 == along ? 1.0 : -1.0;
  return std::atan2(hand * line.direction[other], line.direction[along]);
}

Eigen::VectorXd by_unknowns(const Eigen::VectorXd& at,
                            const std::function<double(const Eigen::VectorXd&)>& function) {
  return differences(at, function);
}

/// Inside, lines of the tool side are counted from the stylus centre; on screens and in files from the
/// position the control shows, which may be that of the tip.
Eigen::Vector3d centre_from_shown_mm(const Model& model, int axis) {
  const Machine& machine = model.machine();
  if (machine.rotary[axis].side == AxisSide::work) return Eigen::Vector3d::Zero();
  return datum_to_centre_mm(machine.probe.length_datum, machine.probe.stylus_radius_mm());
}

/// `line` of the tool side counted from the position shown, its point in the quoted plane again.
Line counted_from_shown(const Model& model, int axis, Line line) {
  const Eigen::Vector3d datum_mm = centre_from_shown_mm(model, axis);
  if (datum_mm.isZero()) return line;
  line.point_mm += datum_mm;
  const RotaryAxis& rotary = model.machine().rotary[axis];
  line.point_mm = pierce_plane(line, rotary.direction, rotary.quote_at_mm);
  return line;
}

Output centre_output(const Model& model, int axis, int k, const Eigen::VectorXd& unknowns) {
  const RotaryAxis& rotary = model.machine().rotary[axis];
  Output output;
  output.name = axis_value(rotary.letter, ValueKind::centre, static_cast<LinearAxis>(k));
  output.value = fitted_line(model, axis, unknowns).point_mm[k];
  output.by_unknown = Eigen::VectorXd::Zero(unknowns.size());
  const int first = model.layout().axis_first[axis];
  const CrossPair& cross = model.axis_chart(axis).cross();
  output.by_unknown[first] = cross.first[k];
  output.by_unknown[first + 1] = cross.second[k];
  if (centre_from_shown_mm(model, axis).isZero()) return output;
  const auto coordinate = [&](const Eigen::VectorXd& x) {
    return counted_from_shown(model, axis, fitted_line(model, axis, x)).point_mm[k];
  };
  output.value = coordinate(unknowns);
  output.by_unknown = by_unknowns(unknowns, coordinate);
  return output;
}

Output orientation_output(const Model& model, int axis, int k, const Eigen::VectorXd& unknowns) {
  const RotaryAxis& rotary = model.machine().rotary[axis];
  const auto angle = [&](const Eigen::VectorXd& x) {
    return orientation_rad(rotary, fitted_line(model, axis, x), k);
  };
  return {axis_value(rotary.letter, ValueKind::orientation, static_cast<LinearAxis>(k)),
          angle(unknowns), by_unknowns(unknowns, angle)};
}

Estimate stated(const Output& output, const Uncertainty& uncertainty) {
  return uncertainty.estimate(output.value, output.by_unknown,
                              {output.further_u, Eigen::Vector3d::Zero()});
}

NamedEstimate named(const Output& output, const Uncertainty& uncertainty) {
  return {output.name, stated(output, uncertainty)};
}

/// Lean from nominal. Its derivative is taken along the lean itself, and along the first cross
/// direction where there is no lean at all.
Estimate lean_estimate(const Model& model, int axis, const Adjusted& adjusted,
                       const Uncertainty& uncertainty) {
  const int first = model.layout().axis_first[axis];
  const Eigen::Vector2d tilt = adjusted.unknowns.segment<2>(first + 2);
  Eigen::VectorXd by_unknown = Eigen::VectorXd::Zero(adjusted.unknowns.size());
  by_unknown.segment<2>(first + 2) =
      tilt.norm() > 0.0 ? Eigen::Vector2d(tilt.normalized()) : Eigen::Vector2d::UnitX();
  return uncertainty.estimate(std::atan(tilt.norm()), by_unknown);
}

void add_pivot_lengths(const Model& model, int axis, const Adjusted& adjusted,
                       const Uncertainty& uncertainty, AxisResult& result) {
  const auto arm_to = [&](const Eigen::Vector3d& tool_point, const Eigen::VectorXd& x) {
    return perpendicular_from_line(fitted_line(model, axis, x), tool_point).norm();
  };
  const auto to_stylus = [&](const Eigen::VectorXd& x) {
    return arm_to(Eigen::Vector3d::Zero(), x);
  };
  Beside beside;
  const Eigen::Vector3d arm =
      perpendicular_from_line(fitted_line(model, axis, adjusted.unknowns), Eigen::Vector3d::Zero());
  if (arm.norm() > 0.0) beside.by_stylus = arm.normalized();
  result.pivot_to_stylus = uncertainty.estimate(to_stylus(adjusted.unknowns),
                                                by_unknowns(adjusted.unknowns, to_stylus), beside);
  const Probe& probe = model.machine().probe;
  if (!probe.gauge_length_mm) return;
  const Eigen::Vector3d gauge_point(0.0, 0.0, *probe.gauge_length_mm);
  const auto to_gauge = [&](const Eigen::VectorXd& x) { return arm_to(gauge_point, x); };
  result.pivot_to_gauge =
      uncertainty.estimate(to_gauge(adjusted.unknowns), by_unknowns(adjusted.unknowns, to_gauge));
}

AxisResult axis_result(const Model& model, int axis, const Adjusted& adjusted,
                       const Uncertainty& uncertainty) {
  const RotaryAxis& rotary = model.machine().rotary[axis];
  AxisResult result;
  result.letter = rotary.letter;
  result.side = rotary.side;
  result.along = rotary.along;
  result.nominal = counted_from_shown(model, axis, model.axis_chart(axis).nominal());
  result.quoted_at_mm = rotary.quote_at_mm;
  result.turn = model.turns()[axis];
  result.estimated = model.layout().axis_first[axis] >= 0;
  result.line = counted_from_shown(model, axis, fitted_line(model, axis, adjusted.unknowns));
  if (!result.estimated) return result;
  for (const int k : stated_components(rotary)) {
    result.centre.push_back(named(centre_output(model, axis, k, adjusted.unknowns), uncertainty));
    result.orientation.push_back(
        named(orientation_output(model, axis, k, adjusted.unknowns), uncertainty));
  }
  result.lean = lean_estimate(model, axis, adjusted, uncertainty);
  if (const auto zero = zero_output(model, axis, adjusted.unknowns)) {
    result.zero = stated(zero->output, uncertainty);
    result.zero_by = zero->by;
  }
  if (rotary.side == AxisSide::tool) {
    add_pivot_lengths(model, axis, adjusted, uncertainty, result);
  }
  return result;
}

/// From the first line to the second along their common normal; of parallels from the point of the first.
Eigen::Vector3d way_between(const Line& first, const Line& second) {
  const CommonNormal normal = common_normal(first, second);
  if (!normal.parallel) return normal.foot_on_second_mm - normal.foot_on_first_mm;
  return -perpendicular_from_line(second, first.point_mm);
}

/// Whether the way between two axes has a part along coordinate k that is more than their leans make of
/// it: the common normal of the nominal lines, or what lies across parallel ones.
bool runs_along(const Model& model, int first, int second, int k) {
  constexpr double least_share = 1e-3;
  const Eigen::Vector3d u = model.axis_chart(first).nominal().direction;
  const Eigen::Vector3d across = u.cross(model.axis_chart(second).nominal().direction);
  const double share = across.norm() > least_share ? std::abs(across.normalized()[k])
                                                   : std::sqrt(std::max(0.0, 1.0 - u[k] * u[k]));
  return share > least_share;
}

AxisPairResult pair_result(const Model& model, int first, int second, const Adjusted& adjusted,
                           const Uncertainty& uncertainty) {
  AxisPairResult result;
  result.first = model.machine().rotary[first].letter;
  result.second = model.machine().rotary[second].letter;
  const auto normal_at = [&](const Eigen::VectorXd& x) {
    return common_normal(fitted_line(model, first, x), fitted_line(model, second, x));
  };
  const auto stated = [&](const std::function<double(const CommonNormal&)>& pick) {
    const auto value = [&](const Eigen::VectorXd& x) { return pick(normal_at(x)); };
    return uncertainty.estimate(value(adjusted.unknowns), by_unknowns(adjusted.unknowns, value));
  };
  result.parallel = normal_at(adjusted.unknowns).parallel;
  result.distance = stated([](const CommonNormal& n) { return n.signed_distance_mm; });
  result.crossing = stated([](const CommonNormal& n) { return n.crossing_rad; });
  for (int k = 0; k < 3; ++k) {
    if (!runs_along(model, first, second, k)) continue;
    const auto offset = [&](const Eigen::VectorXd& x) {
      return way_between(fitted_line(model, first, x), fitted_line(model, second, x))[k];
    };
    result.offset[k] =
        uncertainty.estimate(offset(adjusted.unknowns), by_unknowns(adjusted.unknowns, offset));
  }
  if (result.parallel) return result;
  for (int k = 0; k < 3; ++k) {
    const double datum_mm = centre_from_shown_mm(model, first)[k];
    result.foot_on_first[k] =
        stated([&](const CommonNormal& n) { return n.foot_on_first_mm[k] + datum_mm; });
    result.foot_on_second[k] =
        stated([&](const CommonNormal& n) { return n.foot_on_second_mm[k] + datum_mm; });
  }
  return result;
}

void add_diameter(const Model& model, int artefact, const Adjusted& adjusted,
                  const Uncertainty& uncertainty, ArtefactResult& result) {
  const int group = model.layout().radius_group[artefact];
  if (group < 0) return;
  const RadiusGroup& radius = model.layout().radius_groups[group];
  const double effective = 2.0 * adjusted.unknowns[radius.unknown];
  Eigen::VectorXd by_unknown = Eigen::VectorXd::Zero(adjusted.unknowns.size());
  by_unknown[radius.unknown] = 2.0;
  result.effective_diameter = uncertainty.estimate(effective, by_unknown);
  const Eigen::Index g = group;
  result.diameter_free = model.radius_prior().precision(g, g) == 0.0;
  const Probe& probe = model.machine().probe;
  if (!probe.stylus_diameter_u_mm) return;
  // With the stylus radius r behind all sums rho_h = R_h + s_h r, r given the sums has the mean
  // (w_r r0 + sum w_h s_h (rho_h - R_h0)) / W and the variance 1 / W, W = w_r + sum w_h: what the touches
  // know of the sum does not say how much of it is stylus.
  const RadiusPrior& prior = model.radius_prior();
  const double total = prior.stylus_precision + prior.artefact_precision.sum();
  const double sign = radius.inside ? -1.0 : 1.0;
  double stylus_radius = probe.stylus_radius_mm();
  const auto& groups = model.layout().radius_groups;
  for (std::size_t h = 0; h < groups.size(); ++h) {
    const auto k = static_cast<Eigen::Index>(h);
    const double gain = prior.artefact_precision[k] * prior.sign[k] / total;
    stylus_radius += gain * (adjusted.unknowns[groups[h].unknown] - prior.mean_mm[k]);
    by_unknown[groups[h].unknown] -= 2.0 * sign * gain;
  }
  const Estimate diameter = uncertainty.estimate(effective - 2.0 * sign * stylus_radius, by_unknown,
                                                 {2.0 / std::sqrt(total), Eigen::Vector3d::Zero()});
  result.diameter = diameter;
}

ArtefactResult artefact_result(const Model& model, int artefact, const Adjusted& adjusted,
                               const Uncertainty& uncertainty) {
  const Artefact& nominal = model.machine().artefacts[artefact];
  const ArtefactPlace place = model.state(adjusted.unknowns).artefacts[artefact];
  ArtefactResult result;
  result.name = nominal.name;
  result.kind = nominal.kind;
  for (const Touch& touch : model.survey().touches) result.touches += touch.artefact == artefact;
  for (int k = 0; k < 3; ++k) {
    const auto coordinate = [&](const Eigen::VectorXd& x) {
      return model.state(x).artefacts[artefact].point_mm[k];
    };
    result.position[k] =
        uncertainty.estimate(place.point_mm[k], by_unknowns(adjusted.unknowns, coordinate));
  }
  if (nominal.kind != ArtefactKind::ball) result.direction = place.direction;
  for (const Output& height : face_heights(model, artefact, adjusted.unknowns)) {
    result.heights.push_back(named(height, uncertainty));
  }
  add_diameter(model, artefact, adjusted, uncertainty, result);
  return result;
}

/// Mean displacement of one artefact at one station that explains its gaps: least squares over the
/// outward normals. `seen` projects on the directions the touches hold (a pin says nothing along
/// itself).
struct Displacement {
  Eigen::Vector3d moved_mm = Eigen::Vector3d::Zero();
  Eigen::Matrix3d seen = Eigen::Matrix3d::Zero();
};

Displacement displacement(const Eigen::MatrixXd& normals, const Eigen::VectorXd& gaps) {
  const Eigen::Matrix3d normal_matrix = normals.transpose() * normals;
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> eigen(normal_matrix);
  constexpr double weakest = 0.05;  // one touch at 13 deg from the plane of the others
  Displacement result;
  for (int k = 0; k < 3; ++k) {
    if (eigen.eigenvalues()[k] < weakest) continue;
    const Eigen::Vector3d direction = eigen.eigenvectors().col(k);
    result.seen += direction * direction.transpose();
    result.moved_mm +=
        direction * (direction.dot(normals.transpose() * gaps) / eigen.eigenvalues()[k]);
  }
  return result;
}

/// The axis line as it stands in the machine at these angles: carried by the axes outside it.
Line line_in_machine(const Model& model, const MachineState& state, int axis,
                     const RotaryAngles& angles_rad) {
  const Machine& machine = model.machine();
  if (machine.rotary[axis].side == AxisSide::tool) return state.axis_lines[axis];
  const std::vector<int> outer = machine.work_chain(axis - 1);
  const int carrier = outer.empty() ? -1 : outer.back();
  const Line& line = state.axis_lines[axis];
  return {machine_from_carried(machine, state, carrier, line.point_mm, angles_rad),
          machine_from_carried_rotation(machine, state, carrier, angles_rad) * line.direction};
}

/// Innermost estimated axis that moves this artefact against the stylus; -1 = none.
int reference_axis(const Model& model, int artefact) {
  const Machine& machine = model.machine();
  int found = -1;
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    if (model.layout().axis_first[axis] < 0) continue;
    const bool carries = machine.rotary[axis].side == AxisSide::tool ||
                         static_cast<int>(axis) <= machine.artefacts[artefact].carried_by;
    if (carries) found = static_cast<int>(axis);
  }
  return found;
}

void resolve_components(const Model& model, const MachineState& state, const Station& stay,
                        int artefact, int axis, const Displacement& displaced,
                        StationResult& result) {
  const Machine& machine = model.machine();
  Line line = line_in_machine(model, state, axis, stay.angles_rad);
  Eigen::Vector3d where =
      machine_from_carried(machine, state, machine.artefacts[artefact].carried_by,
                           state.artefacts[artefact].point_mm, stay.angles_rad);
  if (machine.rotary[axis].side == AxisSide::tool) {
    where = stylus_in_machine(machine, state, Eigen::Vector3d::Zero(), stay.angles_rad);
  }
  const Eigen::Vector3d arm = perpendicular_from_line(line, where);
  if (arm.norm() < 1e-6) return;
  const Eigen::Vector3d radial = arm.normalized();
  constexpr double well_seen = 0.95;  // share of a direction that the touches hold
  const auto component = [&](const Eigen::Vector3d& direction) {
    if (direction.dot(displaced.seen * direction) < well_seen) return not_run;
    result.resolved = true;
    return displaced.moved_mm.dot(direction);
  };
  result.radial_mm = component(radial);
  result.axial_mm = component(line.direction);
  result.tangential_mm = component(line.direction.cross(radial));
}

}  // namespace

std::vector<Output> axis_outputs(const Model& model, const Eigen::VectorXd& unknowns) {
  std::vector<Output> outputs;
  for (std::size_t axis = 0; axis < model.machine().rotary.size(); ++axis) {
    if (model.layout().axis_first[axis] < 0) continue;
    const std::vector<int> components = stated_components(model.machine().rotary[axis]);
    for (const int k : components) {
      outputs.push_back(centre_output(model, static_cast<int>(axis), k, unknowns));
    }
    for (const int k : components) {
      outputs.push_back(orientation_output(model, static_cast<int>(axis), k, unknowns));
    }
  }
  return outputs;
}

std::vector<Output> stated_outputs(const Model& model, const Eigen::VectorXd& unknowns) {
  std::vector<Output> outputs = axis_outputs(model, unknowns);
  for (std::size_t axis = 0; axis < model.machine().rotary.size(); ++axis) {
    if (auto zero = zero_output(model, static_cast<int>(axis), unknowns)) {
      outputs.push_back(std::move(zero->output));
    }
  }
  return outputs;
}

Eigen::VectorXd axis_values(const Model& model, const Eigen::VectorXd& unknowns) {
  std::vector<double> values;
  for (std::size_t axis = 0; axis < model.machine().rotary.size(); ++axis) {
    if (model.layout().axis_first[axis] < 0) continue;
    const RotaryAxis& rotary = model.machine().rotary[axis];
    const Line line = fitted_line(model, static_cast<int>(axis), unknowns);
    const std::vector<int> components = stated_components(rotary);
    for (const int k : components) values.push_back(line.point_mm[k]);
    for (const int k : components) values.push_back(orientation_rad(rotary, line, k));
  }
  return Eigen::Map<Eigen::VectorXd>(values.data(), static_cast<Eigen::Index>(values.size()));
}

std::vector<AxisResult> axis_results(const Model& model, const Adjusted& adjusted,
                                     const Uncertainty& uncertainty) {
  std::vector<AxisResult> results;
  for (std::size_t axis = 0; axis < model.machine().rotary.size(); ++axis) {
    results.push_back(axis_result(model, static_cast<int>(axis), adjusted, uncertainty));
  }
  return results;
}

std::vector<AxisPairResult> axis_pair_results(const Model& model, const Adjusted& adjusted,
                                              const Uncertainty& uncertainty) {
  std::vector<AxisPairResult> results;
  const auto& rotary = model.machine().rotary;
  for (std::size_t first = 0; first < rotary.size(); ++first) {
    for (std::size_t second = first + 1; second < rotary.size(); ++second) {
      // Across the machine the two lines live in different frames: no common normal to state.
      if (rotary[first].side != rotary[second].side) continue;
      if (model.layout().axis_first[first] < 0 || model.layout().axis_first[second] < 0) continue;
      results.push_back(pair_result(model, static_cast<int>(first), static_cast<int>(second),
                                    adjusted, uncertainty));
    }
  }
  return results;
}

std::vector<ArtefactResult> artefact_results(const Model& model, const Adjusted& adjusted,
                                             const Uncertainty& uncertainty) {
  std::vector<ArtefactResult> results;
  for (std::size_t a = 0; a < model.machine().artefacts.size(); ++a) {
    if (model.layout().place_first[a] < 0) continue;
    results.push_back(artefact_result(model, static_cast<int>(a), adjusted, uncertainty));
  }
  return results;
}

std::vector<StationResult> station_results(const Model& model, const Adjusted& adjusted) {
  const Linearisation at(model, adjusted.unknowns);
  std::vector<StationResult> results;
  StationBlock block;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    const Station& stay = model.survey().stations[s];
    at.evaluate(static_cast<int>(s), nullptr, block);
    for (std::size_t a = 0; a < model.machine().artefacts.size(); ++a) {
      std::vector<int> rows;
      int touches = 0;
      int row = 0;
      for (int t = 0; t < stay.touch_count; ++t) {
        const Touch& touch = model.survey().touches[stay.first_touch + t];
        const int count = readings_of(touch);
        if (touch.artefact == static_cast<int>(a)) {
          ++touches;
          for (int r = 0; r < count; ++r) rows.push_back(row + r);
        }
        row += count;
      }
      if (touches == 0) continue;
      StationResult result;
      result.label = stay.label;
      result.angles_rad = stay.angles_rad;
      result.touches = touches;
      result.artefact = model.machine().artefacts[a].name;
      const int axis = reference_axis(model, static_cast<int>(a));
      if (axis >= 0) {
        result.axis = model.machine().rotary[axis].letter;
        Eigen::MatrixXd normals(rows.size(), 3);
        Eigen::VectorXd gaps(rows.size());
        for (std::size_t r = 0; r < rows.size(); ++r) {
          normals.row(r) = block.by_nuisance.row(rows[r]).head<3>();
          gaps[r] = block.gap[rows[r]];
        }
        resolve_components(model, at.state(), stay, static_cast<int>(a), axis,
                           displacement(normals, gaps), result);
      }
      results.push_back(result);
    }
  }
  return results;
}

void fill_deviation_ranges(const std::vector<StationResult>& stations,
                           std::vector<AxisResult>& axes) {
  for (AxisResult& axis : axes) {
    const auto range = [&](double StationResult::*component) {
      double low = std::numeric_limits<double>::infinity();
      double high = -low;
      int count = 0;
      for (const StationResult& station : stations) {
        if (!station.resolved || station.excluded || station.axis != axis.letter) continue;
        if (std::isnan(station.*component)) continue;
        low = std::min(low, station.*component);
        high = std::max(high, station.*component);
        ++count;
      }
      return count >= 2 ? high - low : not_run;
    };
    axis.ranges = {range(&StationResult::radial_mm), range(&StationResult::tangential_mm),
                   range(&StationResult::axial_mm)};
  }
}

}  // namespace pivotrace
