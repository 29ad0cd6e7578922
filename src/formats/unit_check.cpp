#include "formats/unit_check.h"

#include <algorithm>

#include "pivotrace/machine/kinematics.h"

namespace pivotrace::formats {

namespace {

/// A few hundred touches tell a factor of 25; the rest of a long record would only cost time.
constexpr std::size_t most_touches_looked_at = 500;

/// Artefacts are stated roughly, so an offset of this size proves nothing [mm].
constexpr double unsuspicious_distance_mm = 25.0;
constexpr double much_better = 0.25;

double mean_distance_mm(const Machine& machine, const MachineState& state, const Survey& survey,
                        double factor) {
  const std::size_t step = 1 + survey.touches.size() / most_touches_looked_at;
  double sum = 0.0;
  double count = 0.0;
  for (std::size_t i = 0; i < survey.touches.size(); i += step) {
    const Touch& touch = survey.touches[i];
    const Artefact& artefact = machine.artefacts[static_cast<std::size_t>(touch.artefact)];
    const RotaryAngles& angles =
        survey.stations[static_cast<std::size_t>(touch.station)].angles_rad;
    const Eigen::Vector3d stylus =
        stylus_in_machine(machine, state, factor * touch.shown_mm, angles, touch.flip);
    const Eigen::Vector3d expected =
        machine_from_carried(machine, state, artefact.carried_by, artefact.at_mm, angles);
    sum += (stylus - expected).norm();
    count += 1.0;
  }
  return sum / count;
}

}  // namespace

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
  const MachineState state = nominal_state(machine);
  const double declared = mean_distance_mm(machine, state, survey, 1.0);
  if (declared <= unsuspicious_distance_mm) return false;
  return mean_distance_mm(machine, state, survey, factor) < much_better * declared;
}

}  // namespace pivotrace::formats
