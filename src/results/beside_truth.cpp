#include "pivotrace/results/beside_truth.h"

#include <fmt/format.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/line.h"

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

class Comparison {
 public:
  Comparison(const FitResult& result, const Survey& survey, const Machine& machine,
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
    const Eigen::Vector3d centre_mm = pierce_plane(line, rotary.direction, axis.quoted_at_mm);
    for (const NamedEstimate& named : axis.location) {
      add({std::string(1, axis.letter) + ".location." + named.key, named.symbol, false,
           named.estimate.value, centre_mm[named.key[0] - 'X'], named.estimate.U95_absolute});
    }
    for (const NamedEstimate& named : axis.orientation) {
      add({std::string(1, axis.letter) + ".orientation." + named.key, named.symbol, true,
           named.estimate.value, orientation_rad(rotary, line.direction, named.key[0] - 'A'),
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
    const std::string letter(1, axis.letter);
    if (axis.pivot_to_stylus) {
      add({letter + ".pivot_to_stylus", "", false, axis.pivot_to_stylus->value, arm_mm(0.0),
           axis.pivot_to_stylus->U95_absolute});
    }
    if (axis.pivot_to_gauge && machine_.probe.gauge_length_mm) {
      add({letter + ".pivot_to_gauge", "", false, axis.pivot_to_gauge->value,
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

std::string length_row(const ValueBesideTruth& value, bool inch) {
  const double per_unit = inch ? mm_per_inch : 1.0;
  const int decimals = inch ? 5 : 4;
  return fmt::format("{:>14.{}f}{:>14.{}f}{:>+12.{}f}{:>11.{}f}  {}", value.truth / per_unit,
                     decimals, value.fitted / per_unit, decimals,
                     (value.fitted - value.truth) / per_unit, decimals, value.U95 / per_unit,
                     decimals, inch ? "in" : "mm");
}

std::string angle_row(const ValueBesideTruth& value) {
  return fmt::format("{:>14.1f}{:>14.1f}{:>+12.1f}{:>11.1f}  arcsec", arcsec_from_rad(value.truth),
                     arcsec_from_rad(value.fitted), arcsec_from_rad(value.fitted - value.truth),
                     arcsec_from_rad(value.U95));
}

}  // namespace

bool ValueBesideTruth::held() const { return std::fabs(fitted - truth) <= U95; }

std::vector<ValueBesideTruth> beside_truth(const FitResult& result, const Survey& survey,
                                           const Machine& machine, const RehearsalTruth& truth) {
  return Comparison(result, survey, machine, truth).values();
}

std::string beside_truth_text(const std::vector<ValueBesideTruth>& values, bool inch) {
  std::string text = fmt::format(
      "FITTED BESIDE THE STATED TRUTH (made up: a rehearsal)\n  {:<19}{:<7}{:>14}{:>14}"
      "{:>12}{:>11}\n",
      "", "", "truth", "fitted", "difference", "U95");
  int held = 0;
  for (const ValueBesideTruth& value : values) {
    held += value.held() ? 1 : 0;
    text += fmt::format("  {:<19}{:<7}{}{}\n", value.name, value.symbol,
                        value.is_angle ? angle_row(value) : length_row(value, inch),
                        value.held() ? "" : "  OUTSIDE");
  }
  return text + fmt::format("  {} of {} within U95; a right U95 holds in 95 of 100 surveys\n", held,
                            values.size());
}

}  // namespace pivotrace
