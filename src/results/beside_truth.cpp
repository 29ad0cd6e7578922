#include "pivotrace/results/beside_truth.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

#include "pivotrace/geometry/line.h"
#include "pivotrace/machine/length_datum.h"

namespace pivotrace {

namespace {

constexpr double seconds_per_hour = 3600.0;

/// ISO 230-1 angle of a direction about machine axis k, rad.
double orientation_rad(const RotaryAxis& axis, const Eigen::Vector3d& direction, int k) {
  if (!axis.along) return axis.direction.normalized().cross(direction)[k];
  const int along = static_cast<int>(*axis.along);
  // The right-handed rotation about e_k takes the nominal direction towards e_k x e_along.
  const Eigen::Vector3d sideways =
      Eigen::Vector3d::Unit(k).cross(Eigen::Vector3d(Eigen::Vector3d::Unit(along)));
  return std::atan2(direction.dot(sideways), direction[along]);
}

/// Hours from the start of the survey to its middle, the mean time of its touches; 0 when the record
/// tells no times.
double hours_to_middle(const Survey& survey) {
  double sum_s = 0.0;
  int count = 0;
  for (const Touch& touch : survey.touches) {
    if (!touch.time_s) continue;
    sum_s += *touch.time_s;
    ++count;
  }
  return count == 0 ? 0.0 : sum_s / count / seconds_per_hour;
}

class ValuesBesideTruth {
 public:
  ValuesBesideTruth(const FitResult& result, const Survey& survey, const Machine& machine,
                    const RehearsalTruth& truth)
      : result_(result),
        machine_(machine),
        truth_(truth.survey),
        drift_mm_(truth.survey.drift_mm_per_hour * hours_to_middle(survey)) {}

  std::vector<ValueBesideTruth> values() {
    for (std::size_t i = 0; i < result_.axes.size(); ++i) {
      if (result_.axes[i].estimated) add_axis(result_.axes[i], static_cast<int>(i));
    }
    return std::move(values_);
  }

 private:
  void add_axis(const AxisResult& axis, int index) {
    const RotaryAxis& rotary = machine_.rotary[index];
    Line line = truth_.state.axis_lines[index];
    const Line counted_from_shown = line;
    // On the work side the slides show less than they really did by the drift.
    if (rotary.side == AxisSide::work) line.point_mm -= drift_mm_;
    // Values of the tool side count from the position shown.
    if (rotary.side == AxisSide::tool) {
      line.point_mm +=
          datum_to_centre_mm(machine_.probe.length_datum, machine_.probe.stylus_radius_mm());
    }
    const Eigen::Vector3d centre_mm = pierce_plane(line, rotary.direction, axis.quoted_at_mm);
    for (const NamedEstimate& named : axis.centre) {
      add({named.name, named.estimate.value, centre_mm[component(named.name)],
           named.estimate.U95_absolute});
    }
    for (const NamedEstimate& named : axis.orientation) {
      add({named.name, named.estimate.value,
           orientation_rad(rotary, line.direction, component(named.name)),
           named.estimate.U95_absolute});
    }
    add_pivot(axis, counted_from_shown);
  }

  void add_pivot(const AxisResult& axis, const Line& line) {
    const auto arm_mm = [&](double above_centre_mm) {
      const Eigen::Vector3d point =
          truth_.state.stylus_offset_mm + above_centre_mm * Eigen::Vector3d::UnitZ();
      return perpendicular_from_line(line, point).norm();
    };
    if (axis.pivot_to_stylus) {
      add({axis_value(axis.letter, ValueKind::pivot_to_stylus), axis.pivot_to_stylus->value,
           arm_mm(0.0), axis.pivot_to_stylus->U95_absolute});
    }
    if (axis.pivot_to_gauge && machine_.probe.gauge_length_mm) {
      add({axis_value(axis.letter, ValueKind::pivot_to_gauge), axis.pivot_to_gauge->value,
           arm_mm(*machine_.probe.gauge_length_mm), axis.pivot_to_gauge->U95_absolute});
    }
  }

  void add(ValueBesideTruth value) { values_.push_back(std::move(value)); }

  const FitResult& result_;
  const Machine& machine_;
  const SurveyTruth& truth_;
  Eigen::Vector3d drift_mm_;
  std::vector<ValueBesideTruth> values_;
};

}  // namespace

bool ValueBesideTruth::held() const { return std::fabs(fitted - truth) <= U95; }

std::vector<ValueBesideTruth> beside_truth(const FitResult& result, const Survey& survey,
                                           const Machine& machine, const RehearsalTruth& truth) {
  return ValuesBesideTruth(result, survey, machine, truth).values();
}

}  // namespace pivotrace
