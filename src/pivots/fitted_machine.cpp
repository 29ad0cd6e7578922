#include "pivots/fitted_machine.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

namespace pivotrace {

namespace {

/// Steps of the differences: far above round-off, far below any curvature of the kinematics.
constexpr double shift_step_mm = 1e-3;
constexpr double turn_step_rad = 1e-6;

double standard(const Estimate& estimate, Covariance kind) {
  return kind == Covariance::absolute ? estimate.u_absolute : estimate.u;
}

double expanded(const Estimate& estimate, Covariance kind) {
  return kind == Covariance::absolute ? estimate.U95_absolute : estimate.U95;
}

}  // namespace

FittedMachine::FittedMachine(const FitResult& result) : joint_(result.covariance) {
  machine_.name = result.machine_name;
  for (std::size_t i = 0; i < result.axes.size() && i < max_rotary_axes; ++i) {
    const AxisResult& axis = result.axes[i];
    RotaryAxis rotary;
    rotary.letter = axis.letter;
    rotary.side = axis.side;
    rotary.along = axis.along;
    rotary.direction = axis.nominal.direction;
    rotary.centre_mm = axis.nominal.point_mm;
    rotary.quote_at_mm = axis.quoted_at_mm;
    rotary.positive_turn = axis.turn;
    machine_.rotary.push_back(rotary);
    fitted_.axis_lines.push_back(axis.line);
    fitted_.turns.push_back(axis.turn);
    nominal_lines_.push_back(axis.nominal);
    if (!axis.estimated) continue;
    for (const NamedEstimate& centre : axis.centre) {
      parameters_.push_back({static_cast<int>(i), centre.estimate, centre.name});
    }
    for (const NamedEstimate& angle : axis.orientation) {
      parameters_.push_back({static_cast<int>(i), angle.estimate, angle.name});
    }
  }
}

MachineState FittedMachine::nominal() const {
  MachineState state = fitted_;
  state.axis_lines = nominal_lines_;
  return state;
}

MachineState FittedMachine::centres_only() const {
  MachineState state = fitted_;
  for (std::size_t i = 0; i < state.axis_lines.size(); ++i) {
    state.axis_lines[i].direction = nominal_lines_[i].direction;
  }
  return state;
}

int FittedMachine::last_work_axis() const {
  for (int i = static_cast<int>(machine_.rotary.size()) - 1; i >= 0; --i) {
    if (machine_.rotary[i].side == AxisSide::work) return i;
  }
  return -1;
}

MachineState FittedMachine::moved(const Parameter& parameter, double step) const {
  MachineState state = fitted_;
  Line& line = state.axis_lines[parameter.axis];
  const Eigen::Vector3d unit = Eigen::Vector3d::Unit(component(parameter.name));
  if (is_angle(parameter.name)) {
    line.direction = (line.direction + step * unit.cross(line.direction)).normalized();
  } else {
    line.point_mm += step * unit;
  }
  return state;
}

Eigen::MatrixXd FittedMachine::parameter_covariance(Covariance kind) const {
  const auto size = static_cast<Eigen::Index>(parameters_.size());
  const Eigen::MatrixXd& joint = kind == Covariance::absolute ? joint_.absolute : joint_.repeatable;
  std::vector<Eigen::Index> place(parameters_.size(), -1);
  for (std::size_t i = 0; i < parameters_.size(); ++i) {
    const auto name = std::find(joint_.names.begin(), joint_.names.end(), parameters_[i].name);
    const Eigen::Index index = name - joint_.names.begin();
    if (name != joint_.names.end() && index < joint.rows()) place[i] = index;
  }
  Eigen::MatrixXd covariance = Eigen::MatrixXd::Zero(size, size);
  for (Eigen::Index i = 0; i < size; ++i) {
    for (Eigen::Index k = 0; k < size; ++k) {
      if (place[i] >= 0 && place[k] >= 0) {
        covariance(i, k) = joint(place[i], place[k]);
      } else if (i == k) {
        // Not in the joint covariance: its own uncertainty, taken as independent.
        const double u = standard(parameters_[i].estimate, kind);
        covariance(i, i) = u * u;
      }
    }
  }
  return covariance;
}

Eigen::MatrixXd FittedMachine::covariance_of(
    const std::function<Eigen::VectorXd(const MachineState&)>& g, Covariance kind) const {
  const Eigen::Index rows = g(fitted_).size();
  Eigen::MatrixXd jacobian(rows, static_cast<Eigen::Index>(parameters_.size()));
  for (std::size_t i = 0; i < parameters_.size(); ++i) {
    const double step = is_angle(parameters_[i].name) ? turn_step_rad : shift_step_mm;
    jacobian.col(static_cast<Eigen::Index>(i)) =
        (g(moved(parameters_[i], step)) - g(moved(parameters_[i], -step))) / (2.0 * step);
  }
  return jacobian * parameter_covariance(kind) * jacobian.transpose();
}

double FittedMachine::coverage_factor(Covariance kind) const {
  // 97.5 % quantile of the normal distribution, from memory.
  constexpr double normal_95 = 1.959963985;
  double factor = normal_95;
  for (const Parameter& parameter : parameters_) {
    const double u = standard(parameter.estimate, kind);
    const double U95 = expanded(parameter.estimate, kind);
    if (u > 0.0 && std::isfinite(U95)) factor = std::max(factor, U95 / u);
  }
  return factor;
}

}  // namespace pivotrace
