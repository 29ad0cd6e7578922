#include "estimate/typing_slips.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/kinematics.h"

namespace pivotrace {

namespace {

using finding::TypingSlip;
using Kind = TypingSlip::Kind;

struct Trial {
  TypingSlip slip;
  double left_mm = 0.0;  ///< distance from where the others put the centre, were this the slip
};

/// Where the others put the centre of one row.
class Row {
 public:
  Row(const Model& model, const Survey& survey, const MachineState& state, const Touch& touch)
      : machine_(model.machine()),
        state_(state),
        touch_(touch),
        angles_(survey.stations[touch.station].angles_rad) {}

  const Eigen::Vector3d& shown() const { return touch_.shown_mm; }
  const RotaryAngles& angles() const { return angles_; }
  char letter(int axis) const { return machine_.rotary[axis].letter; }
  int axes() const { return static_cast<int>(machine_.rotary.size()); }

  /// Distance of the centre from its place, were `shown` and `angles` right.
  Eigen::Vector3d off(const Eigen::Vector3d& shown_mm, const RotaryAngles& angles) const {
    const Artefact& artefact = machine_.artefacts[touch_.artefact];
    const Eigen::Vector3d place = machine_from_carried(
        machine_, state_, artefact.carried_by, state_.artefacts[touch_.artefact].point_mm, angles);
    return stylus_in_machine(machine_, state_, shown_mm, angles, touch_.flip) - place;
  }

  double radius_mm(int axis) const {
    const Artefact& artefact = machine_.artefacts[touch_.artefact];
    const Eigen::Vector3d place = machine_from_carried(
        machine_, state_, artefact.carried_by, state_.artefacts[touch_.artefact].point_mm, angles_);
    return perpendicular_from_line(state_.axis_lines[axis], place).norm();
  }

 private:
  const Machine& machine_;
  const MachineState& state_;
  const Touch& touch_;
  RotaryAngles angles_;
};

double scatter_mm(const Row& row, const RandomModel& random) {
  double variance = random.touch_sigma_mm * random.touch_sigma_mm +
                    random.station_sigma_mm * random.station_sigma_mm;
  for (int axis = 0; axis < row.axes(); ++axis) {
    variance += std::pow(row.radius_mm(axis) * random.index_sigma_rad[axis], 2);
  }
  return std::sqrt(variance);
}

void try_coordinates(const Row& row, std::vector<Trial>& trials) {
  for (int i = 0; i < 3; ++i) {
    Eigen::Vector3d shown = row.shown();
    shown[i] = -shown[i];
    trials.push_back({{Kind::lost_sign, i}, row.off(shown, row.angles()).norm()});
    for (int j = i + 1; j < 3; ++j) {
      shown = row.shown();
      std::swap(shown[i], shown[j]);
      trials.push_back({{Kind::swapped_coordinates, i, j}, row.off(shown, row.angles()).norm()});
    }
  }
}

/// d * 10^k of the unit with d from 1 to 9; the nearest to `value`.
double one_digit(double value) {
  const double size = std::abs(value);
  const double decade = std::pow(10.0, std::floor(std::log10(size) + 1e-9));
  return std::copysign(std::round(size / decade) * decade, value);
}

void try_amounts(const Row& row, double mm_per_unit, std::vector<Trial>& trials) {
  const Eigen::Vector3d off = row.off(row.shown(), row.angles());
  for (int i = 0; i < 3; ++i) {
    if (off[i] == 0.0) continue;
    Eigen::Vector3d left = off;
    const double digit_mm = one_digit(off[i] / mm_per_unit) * mm_per_unit;
    left[i] -= digit_mm;
    trials.push_back({{Kind::one_digit, i, i, digit_mm}, left.norm()});
  }
}

void try_angle(const Row& row, int axis, double angle_rad, std::vector<Trial>& trials) {
  RotaryAngles angles = row.angles();
  constexpr double same_rad = 1e-6;
  if (std::abs(angles[axis] - angle_rad) < same_rad) return;
  TypingSlip slip{Kind::other_angle};
  slip.axis = row.letter(axis);
  slip.typed_rad = angles[axis];
  slip.angle_rad = angle_rad;
  angles[axis] = angle_rad;
  trials.push_back({slip, row.off(row.shown(), angles).norm()});
}

/// The angles of the other rows and whole degrees, one axis at a time.
void try_angles(const Row& row, const Survey& survey, std::vector<Trial>& trials) {
  for (int axis = 0; axis < row.axes(); ++axis) {
    for (const Station& station : survey.stations) {
      try_angle(row, axis, station.angles_rad[axis], trials);
    }
    for (int deg = 0; deg < 360; ++deg) try_angle(row, axis, rad_from_deg(deg), trials);
  }
}

/// One coordinate off by an amount that is no single digit: said when nothing better is.
std::optional<TypingSlip> one_coordinate(const Row& row, double close_mm) {
  const Eigen::Vector3d off = row.off(row.shown(), row.angles());
  Eigen::Index most = 0;
  off.cwiseAbs().maxCoeff(&most);
  Eigen::Vector3d others = off;
  others[most] = 0.0;
  if (others.norm() > close_mm) return std::nullopt;
  const int i = static_cast<int>(most);
  return TypingSlip{Kind::one_coordinate, i, i, off[most]};
}

}  // namespace

std::optional<TypingSlip> likely_slip(const Model& model, const Survey& survey,
                                      const Eigen::VectorXd& unknowns, const RandomModel& random,
                                      const Suspect& suspect) {
  const Touch& touch = survey.touches[suspect.touches.front()];
  if (suspect.touches.size() != 1 || touch.kind != TouchKind::centre) return std::nullopt;
  const MachineState state = model.state(unknowns);
  const Row row(model, survey, state, touch);
  constexpr double sigmas = 10.0;
  const double close_mm = sigmas * scatter_mm(row, random);
  // A slip that hardly moves the row cannot be told from any other.
  if (row.off(row.shown(), row.angles()).norm() < 2.0 * close_mm) return std::nullopt;
  std::vector<Trial> trials;
  try_coordinates(row, trials);
  try_amounts(row, model.machine().inch ? mm_per_inch : 1.0, trials);
  try_angles(row, survey, trials);
  const auto best = std::min_element(
      trials.begin(), trials.end(),
      [](const Trial& one, const Trial& other) { return one.left_mm < other.left_mm; });
  if (best->left_mm > close_mm) return one_coordinate(row, close_mm);
  return best->slip;
}

}  // namespace pivotrace
