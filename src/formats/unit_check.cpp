#include "formats/unit_check.h"

#include <algorithm>
#include <utility>
#include <vector>

#include "pivotrace/machine/kinematics.h"

namespace pivotrace::formats {

namespace {

/// A few hundred touches tell a factor of 25; the rest of a long record would only cost time.
constexpr std::size_t most_touches_looked_at = 500;

/// Artefacts are stated roughly, so an offset of this size proves nothing [mm]: common practice, no
/// source.
constexpr double unsuspicious_distance_mm = 25.0;
/// A quarter of the distance is beyond chance, and far from the 1 / 25.4 another unit makes: common
/// practice, no source.
constexpr double much_better = 0.25;

/// Where every touch is expected and where it was, as the control would show both [mm].
struct Pairs {
  std::vector<Eigen::Vector3d> expected_mm;
  std::vector<Eigen::Vector3d> shown_mm;
};

/// Every position multiplied by `factor` first.
Pairs pairs_of(const Machine& machine, const Survey& survey, double factor = 1.0) {
  const MachineState state = nominal_state(machine);
  const std::size_t step = 1 + survey.touches.size() / most_touches_looked_at;
  Pairs pairs;
  for (std::size_t i = 0; i < survey.touches.size(); i += step) {
    const Touch& touch = survey.touches[i];
    const Artefact& artefact = machine.artefacts[static_cast<std::size_t>(touch.artefact)];
    const RotaryAngles& angles =
        survey.stations[static_cast<std::size_t>(touch.station)].angles_rad;
    const Eigen::Vector3d shown = factor * touch.shown_mm;
    const Eigen::Vector3d stylus = stylus_in_machine(machine, state, shown, angles, touch.flip);
    const Eigen::Vector3d place =
        machine_from_carried(machine, state, artefact.carried_by, artefact.at_mm, angles);
    pairs.shown_mm.push_back(shown);
    pairs.expected_mm.emplace_back(shown + place - stylus);
  }
  return pairs;
}

double mean_distance_mm(const Machine& machine, const Survey& survey, double factor) {
  const Pairs pairs = pairs_of(machine, survey, factor);
  double sum = 0.0;
  for (std::size_t i = 0; i < pairs.shown_mm.size(); ++i) {
    sum += (pairs.expected_mm[i] - pairs.shown_mm[i]).norm();
  }
  return sum / static_cast<double>(pairs.shown_mm.size());
}

double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

Eigen::Vector3d middle_of(const std::vector<Eigen::Vector3d>& points) {
  Eigen::Vector3d middle;
  for (int k = 0; k < 3; ++k) {
    std::vector<double> values;
    for (const Eigen::Vector3d& p : points) values.push_back(p[k]);
    middle[k] = median(std::move(values));
  }
  return middle;
}

double median_distance(const std::vector<Eigen::Vector3d>& points, const Eigen::Vector3d& from) {
  std::vector<double> distances;
  for (const Eigen::Vector3d& p : points) distances.push_back((p - from).norm());
  return median(std::move(distances));
}

}  // namespace

ShapeOfPositions shape_of_positions(const Machine& machine, const Survey& survey) {
  ShapeOfPositions shape;
  if (survey.touches.empty()) return shape;
  const Pairs pairs = pairs_of(machine, survey);
  const double expected = median_distance(pairs.expected_mm, middle_of(pairs.expected_mm));
  const double shown = median_distance(pairs.shown_mm, middle_of(pairs.shown_mm));
  // Distances below this are a rough guess either way: common practice, no source.
  constexpr double telling_mm = 5.0;
  shape.known = expected > telling_mm;
  shape.unit_fits = shape.known && shown > 0.5 * expected && shown < 2.0 * expected;
  std::vector<Eigen::Vector3d> shifts;
  for (std::size_t i = 0; i < pairs.shown_mm.size(); ++i) {
    shifts.push_back(pairs.expected_mm[i] - pairs.shown_mm[i]);
  }
  shape.shift_mm = middle_of(shifts);
  shape.shifted = shape.unit_fits && shape.shift_mm.norm() > unsuspicious_distance_mm &&
                  median_distance(shifts, shape.shift_mm) < unsuspicious_distance_mm;
  return shape;
}

bool PositionBox::fits(const LinearAxes& axes, double slack_mm, double factor) const {
  for (int i = 0; i < 3; ++i) {
    const Range& travel = axes.travel_mm[static_cast<std::size_t>(i)];
    if (!travel.contains(factor * low[i], slack_mm)) return false;
    if (!travel.contains(factor * high[i], slack_mm)) return false;
  }
  return true;
}

bool other_unit_fits_better(const Machine& machine, const Survey& survey, double factor) {
  if (survey.touches.empty()) return false;
  const double declared = mean_distance_mm(machine, survey, 1.0);
  if (declared <= unsuspicious_distance_mm) return false;
  return mean_distance_mm(machine, survey, factor) < much_better * declared;
}

}  // namespace pivotrace::formats
