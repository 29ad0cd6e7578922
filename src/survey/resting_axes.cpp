#include "pivotrace/survey/resting_axes.h"

#include <Eigen/Geometry>
#include <cmath>
#include <numbers>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/rotation.h"

namespace pivotrace {

namespace {

/// Keeps the draws of the axes apart from those of the touches, which use stream 0.
constexpr std::uint64_t axes_stream = 4711;

const double one_position_rad = rad_from_deg(1.0);

/// Another number for every place of an axis: a machine met again has the same error there, and its own
/// wherever it was not looked at before.
std::uint64_t stream_of_place(int axis, double angle_rad, int side) {
  constexpr std::uint64_t places_a_turn = 360000;
  const double turn = std::remainder(angle_rad, 2.0 * std::numbers::pi) / (2.0 * std::numbers::pi);
  const auto place =
      static_cast<std::uint64_t>(std::llround((turn + 1.0) * places_a_turn)) % places_a_turn;
  return axes_stream + 1 + (place * 3 + static_cast<std::uint64_t>(side + 1)) * max_rotary_axes +
         static_cast<std::uint64_t>(axis);
}

}  // namespace

AxisMotions no_motion() {
  AxisMotions motions;
  motions.fill(Eigen::Vector3d::Zero());
  return motions;
}

RestingAxes::RestingAxes(const SurveyTruth& truth, const SurveyNoise& noise)
    : truth_(truth), noise_(noise), random_(noise.seed, axes_stream) {}

RestingAxes::Position RestingAxes::drawn(int axis, double angle_rad, int side,
                                         RandomStream& random) const {
  Position made{axis, angle_rad, side, noise_.index_sigma_rad[axis] * random.normal(), {}};
  for (double& component : made.motion_mm) {
    component = noise_.axis_motion_sigma_mm[axis] * random.normal();
  }
  return made;
}

const RestingAxes::Position& RestingAxes::position(int axis, double angle_rad, int side) {
  for (const Position& known : positions_) {
    const double apart = std::remainder(known.angle_rad - angle_rad, 2.0 * std::numbers::pi);
    if (known.axis == axis && known.side == side && std::abs(apart) <= one_position_rad) {
      return known;
    }
  }
  if (noise_.axes_seed) {
    RandomStream of_place(*noise_.axes_seed, stream_of_place(axis, angle_rad, side));
    positions_.push_back(drawn(axis, angle_rad, side, of_place));
  } else {
    positions_.push_back(drawn(axis, angle_rad, side, random_));
  }
  return positions_.back();
}

void RestingAxes::arrive(int axis, double angle_rad, int side) {
  const Position& here = position(axis, angle_rad, side);
  errors_rad_[axis] = here.error_rad + side * truth_.reversal_rad[axis] +
                      index_wave_rad(truth_, axis, angle_rad) +
                      noise_.index_repeat_sigma_rad[axis] * random_.normal();
  motions_mm_[axis] = here.motion_mm;
}

namespace {

Eigen::Vector3d displacement(const std::vector<int>& chain, const MachineState& state,
                             const RotaryAngles& angles_rad, const AxisMotions& motions) {
  Eigen::Vector3d moved = Eigen::Vector3d::Zero();
  for (auto axis = chain.rbegin(); axis != chain.rend(); ++axis) {
    moved = motions[*axis] + turned<double>(moved, state.axis_lines[*axis].direction,
                                            turn_sign(state.turns[*axis]) * angles_rad[*axis]);
  }
  return moved;
}

}  // namespace

Eigen::Vector3d work_displacement_mm(const Machine& machine, const MachineState& state, int last,
                                     const RotaryAngles& angles_rad, const AxisMotions& motions) {
  return displacement(machine.work_chain(last), state, angles_rad, motions);
}

Eigen::Vector3d tool_displacement_mm(const Machine& machine, const MachineState& state,
                                     const RotaryAngles& angles_rad, const AxisMotions& motions) {
  return displacement(machine.tool_chain(), state, angles_rad, motions);
}

}  // namespace pivotrace
