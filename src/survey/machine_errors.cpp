#include "pivotrace/survey/machine_errors.h"

#include <cmath>

#include "pivotrace/machine/tool_axis.h"

namespace pivotrace {

namespace {

/// Angles this close are the same: emitted decimals and unit changes.
constexpr double same_angle_rad = 1e-6;
constexpr double seconds_per_hour = 3600.0;

}  // namespace

MachineErrors::MachineErrors(const Machine& machine, const SurveyTruth& truth,
                             const SurveyNoise& noise, const std::vector<IndexError>& index_errors)
    : machine_(machine),
      truth_(truth),
      noise_(noise),
      index_errors_(index_errors),
      random_(noise.seed),
      axes_(truth, noise) {}

double MachineErrors::stands_at_rad(int axis, double commanded_rad, double turned_rad) const {
  double fixed_error = 0.0;
  for (const IndexError& entry : index_errors_) {
    const bool here = std::fabs(entry.at_rad - commanded_rad) < same_angle_rad;
    if (entry.axis == axis && here) fixed_error += entry.error_rad;
  }
  return turned_rad + fixed_error + axes_.errors_rad()[axis];
}

void MachineErrors::begin_station() {
  for (double& component : station_error_mm_) {
    component = noise_.station_sigma_mm * random_.normal();
  }
}

Eigen::Vector3d MachineErrors::slides_at_mm(const Eigen::Vector3d& shown_mm, double seconds,
                                            const Eigen::Vector3d& tool_moved_mm,
                                            const Eigen::Vector3d& work_moved_mm) const {
  const Eigen::Vector3d displaced_mm = station_error_mm_ + tool_moved_mm - work_moved_mm;
  return shown_mm + displaced_mm + slide_error_mm(truth_, shown_mm) +
         truth_.drift_mm_per_hour * (seconds / seconds_per_hour);
}

double MachineErrors::touch_scatter_mm() { return noise_.touch_sigma_mm * random_.normal(); }

double MachineErrors::lobing_mm(const Eigen::Vector3d& normal_in_machine,
                                const RotaryAngles& commanded_rad, double spindle_rad) const {
  if (truth_.lobing_amplitude_mm == 0.0) return 0.0;
  const Eigen::Vector3d in_spindle =
      direction_in_tool(machine_, truth_.state, normal_in_machine, commanded_rad);
  const double phi = std::atan2(in_spindle.y(), in_spindle.x()) + spindle_rad;
  return truth_.lobing_amplitude_mm * in_spindle.head<2>().norm() *
         std::cos(3.0 * (phi - truth_.lobing_phase_rad));
}

}  // namespace pivotrace
