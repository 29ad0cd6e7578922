#include "estimate/zero_output.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <functional>

namespace pivotrace {

namespace {

/// A direction closer than 30 deg to an axis tells too little of a turn about it (common practice, no
/// source).
constexpr double least_sine = 0.5;

/// One artefact that speaks for the zero of an axis.
struct Witness {
  int artefact = 0;
  bool by_direction = false;
  double u_rad = 0.0;
};

/// A stated direction, seen from an axis.
double sine_to(const RotaryAxis& axis, const Artefact& artefact) {
  return axis.direction.normalized().cross(artefact.direction.normalized()).norm();
}

/// The axis a stated direction speaks for; -1 = none.
int told_by_direction(const Machine& machine, const Artefact& artefact) {
  if (!artefact.direction_u_rad) return -1;
  for (int axis = artefact.carried_by; axis >= 0; --axis) {
    if (machine.rotary[axis].side == AxisSide::tool) continue;
    if (sine_to(machine.rotary[axis], artefact) >= least_sine) return axis;
  }
  return -1;
}

Eigen::Vector3d nominal_arm(const RotaryAxis& axis, const Artefact& artefact) {
  return perpendicular_from_line({axis.centre_mm, axis.direction.normalized()}, artefact.at_mm);
}

/// A place along a pin or a bore is no place: only those along the axis have one across it.
bool told_by_place(const Machine& machine, const Artefact& artefact, int axis) {
  if (!artefact.at_u_mm || artefact.carried_by != axis) return false;
  const RotaryAxis& rotary = machine.rotary[axis];
  if (artefact.kind != ArtefactKind::ball && sine_to(rotary, artefact) >= least_sine) return false;
  return *artefact.at_u_mm < nominal_arm(rotary, artefact).norm();
}

void take_better(std::optional<Witness>& best, const Witness& witness) {
  if (!best || witness.u_rad < best->u_rad) best = witness;
}

std::optional<Witness> best_witness(const Model& model, int axis) {
  const Machine& machine = model.machine();
  const RotaryAxis& rotary = machine.rotary[axis];
  std::optional<Witness> best;
  for (int a = 0; a < static_cast<int>(machine.artefacts.size()); ++a) {
    if (model.layout().place_first[a] < 0) continue;
    const Artefact& artefact = machine.artefacts[a];
    if (told_by_direction(machine, artefact) == axis) {
      take_better(best, {a, true, *artefact.direction_u_rad / sine_to(rotary, artefact)});
    }
    if (told_by_place(machine, artefact, axis)) {
      take_better(best, {a, false, *artefact.at_u_mm / nominal_arm(rotary, artefact).norm()});
    }
  }
  return best;
}

/// Right-handed about the unit vector u, from the part of `from` across it to that of `to`.
double angle_about(const Eigen::Vector3d& u, const Eigen::Vector3d& from,
                   const Eigen::Vector3d& to) {
  return std::atan2(u.dot(from.cross(to)), from.dot(to) - u.dot(from) * u.dot(to));
}

double turned_by(const Model& model, int axis, const Witness& witness,
                 const Eigen::VectorXd& unknowns) {
  const MachineState state = model.state(unknowns);
  const Line& line = state.axis_lines[axis];
  const Artefact& artefact = model.machine().artefacts[witness.artefact];
  const ArtefactPlace& fitted = state.artefacts[witness.artefact];
  if (witness.by_direction) {
    return angle_about(line.direction, artefact.direction.normalized(), fitted.direction);
  }
  return angle_about(line.direction, nominal_arm(model.machine().rotary[axis], artefact),
                     perpendicular_from_line(line, fitted.point_mm));
}

/// Two ball centres nearer than this tell the direction of the spindle badly (common practice, no source).
constexpr double least_way_mm = 10.0;

/// First unknown of the way from the first stylus to this one; -1 where a run-out of either is open.
int way_to_stylus(const Model& model, int stylus) {
  const Layout& layout = model.layout();
  const int first = 5 * (stylus - 1);
  const bool run_outs_known = unknown_of(layout, {EffectKind::other_stylus, first + 3}) >= 0 &&
                              unknown_of(layout, {EffectKind::stylus_offset, 0}) >= 0;
  return run_outs_known ? unknown_of(layout, {EffectKind::other_stylus, first}) : -1;
}

/// The longest way between the ball centres of two styluses, pointing up the spindle.
std::optional<int> longest_way(const Model& model, const Eigen::VectorXd& unknowns) {
  std::optional<int> longest;
  double length = least_way_mm;
  for (int stylus = 1; stylus < static_cast<int>(model.survey().styluses.size()); ++stylus) {
    const int first = way_to_stylus(model, stylus);
    if (first < 0 || unknowns.segment<3>(first).norm() <= length) continue;
    longest = first;
    length = unknowns.segment<3>(first).norm();
  }
  return longest;
}

ZeroOutput told(const Model& model, int axis, const Eigen::VectorXd& unknowns,
                const std::function<double(const Eigen::VectorXd&)>& turned, double further_u,
                const std::string& by) {
  const double sense = turn_sign(model.turns()[axis]);
  const auto zero = [&](const Eigen::VectorXd& x) { return sense * turned(x); };
  const ValueName name = axis_value(model.machine().rotary[axis].letter, ValueKind::zero);
  return {{name, zero(unknowns), differences(unknowns, zero), further_u}, by};
}

std::optional<ZeroOutput> work_zero(const Model& model, int axis, const Eigen::VectorXd& unknowns) {
  const auto witness = best_witness(model, axis);
  if (!witness) return std::nullopt;
  const auto turned = [&](const Eigen::VectorXd& x) { return turned_by(model, axis, *witness, x); };
  return told(model, axis, unknowns, turned, witness->u_rad,
              model.machine().artefacts[witness->artefact].name);
}

std::optional<ZeroOutput> tool_zero(const Model& model, int axis, const Eigen::VectorXd& unknowns) {
  const Eigen::Vector3d spindle = Eigen::Vector3d::UnitZ();
  const RotaryAxis& rotary = model.machine().rotary[axis];
  if (rotary.direction.normalized().cross(spindle).norm() < least_sine) return std::nullopt;
  const auto first = longest_way(model, unknowns);
  if (!first) return std::nullopt;
  const double upwards = unknowns[*first + 2] < 0.0 ? -1.0 : 1.0;
  const auto turned = [&](const Eigen::VectorXd& x) {
    return angle_about(model.state(x).axis_lines[axis].direction, spindle,
                       upwards * x.segment<3>(*first));
  };
  return told(model, axis, unknowns, turned, 0.0, "two styluses at both sides of the spindle");
}

}  // namespace

std::optional<ZeroOutput> zero_output(const Model& model, int axis,
                                      const Eigen::VectorXd& unknowns) {
  if (model.layout().axis_first[axis] < 0) return std::nullopt;
  const bool work = model.machine().rotary[axis].side == AxisSide::work;
  return work ? work_zero(model, axis, unknowns) : tool_zero(model, axis, unknowns);
}

}  // namespace pivotrace
