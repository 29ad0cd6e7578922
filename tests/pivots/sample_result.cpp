#include "pivots/sample_result.h"

#include <array>
#include <cmath>

namespace pivotrace::testing {

namespace {

constexpr double normal_95 = 1.959964;
constexpr double common_location_mm = 0.002;
constexpr double common_orientation_rad = 5e-6;

Estimate estimate(double value, double u, double common) {
  Estimate e;
  e.value = value;
  e.u = u;
  e.u_absolute = std::hypot(u, common);
  e.U95 = normal_95 * e.u;
  e.U95_absolute = normal_95 * e.u_absolute;
  e.dof = std::numeric_limits<double>::infinity();
  return e;
}

/// ISO 230-1 angles of a direction, written out here a second time on purpose.
std::vector<std::pair<char, double>> orientation_angles(LinearAxis along,
                                                        const Eigen::Vector3d& u) {
  switch (along) {
    case LinearAxis::X: return {{'B', std::atan2(-u.z(), u.x())}, {'C', std::atan2(u.y(), u.x())}};
    case LinearAxis::Y: return {{'A', std::atan2(u.z(), u.y())}, {'C', std::atan2(-u.x(), u.y())}};
    case LinearAxis::Z: return {{'A', std::atan2(-u.y(), u.z())}, {'B', std::atan2(u.x(), u.z())}};
  }
  return {};
}

AxisResult axis_result(const SampleAxis& sample) {
  const int main = static_cast<int>(sample.along);
  AxisResult axis;
  axis.letter = sample.letter;
  axis.side = sample.side;
  axis.estimated = true;
  axis.along = sample.along;
  axis.quoted_at_mm = sample.quoted_at_mm;
  axis.turn = sample.turn;
  axis.turn_confirmed = true;
  axis.line.direction = sample.line.direction.normalized();
  const double step =
      (sample.quoted_at_mm - sample.line.point_mm[main]) / axis.line.direction[main];
  axis.line.point_mm = sample.line.point_mm + step * axis.line.direction;
  axis.nominal.point_mm = axis.line.point_mm;
  axis.nominal.direction = Eigen::Vector3d::Unit(main);
  for (int i = 0; i < 3; ++i) {
    if (i == main) continue;
    axis.centre.push_back(
        {axis_value(sample.letter, ValueKind::centre, static_cast<LinearAxis>(i)),
         estimate(axis.line.point_mm[i], sample.u_location_mm, common_location_mm)});
  }
  for (const auto& [key, angle] : orientation_angles(sample.along, axis.line.direction)) {
    const auto about = static_cast<LinearAxis>(key - 'A');
    axis.orientation.push_back({axis_value(sample.letter, ValueKind::orientation, about),
                                estimate(angle, sample.u_orientation_rad, common_orientation_rad)});
  }
  const double lean = std::acos(std::min(1.0, axis.line.direction[main]));
  axis.lean = estimate(lean, sample.u_orientation_rad, common_orientation_rad);
  return axis;
}

AxisPairResult pair_result(const AxisResult& first, const AxisResult& second) {
  const CommonNormal normal = common_normal(first.line, second.line);
  AxisPairResult pair;
  pair.first = first.letter;
  pair.second = second.letter;
  pair.parallel = normal.parallel;
  pair.distance = estimate(normal.signed_distance_mm, 0.0015, 0.0);
  pair.crossing = estimate(normal.crossing_rad, 1.4e-5, common_orientation_rad);
  if (normal.parallel) return pair;
  for (int i = 0; i < 3; ++i) {
    pair.foot_on_first[i] = estimate(normal.foot_on_first_mm[i], 0.001, common_location_mm);
    pair.foot_on_second[i] = estimate(normal.foot_on_second_mm[i], 0.001, common_location_mm);
  }
  return pair;
}

void add_covariance(FitResult& result) {
  std::vector<Estimate> diagonal;
  for (const AxisResult& axis : result.axes) {
    for (const std::vector<NamedEstimate>* estimates : {&axis.centre, &axis.orientation}) {
      for (const NamedEstimate& e : *estimates) {
        result.covariance.names.push_back(e.name);
        diagonal.push_back(e.estimate);
      }
    }
  }
  const auto size = static_cast<Eigen::Index>(diagonal.size());
  result.covariance.repeatable = Eigen::MatrixXd::Zero(size, size);
  result.covariance.absolute = Eigen::MatrixXd::Zero(size, size);
  for (Eigen::Index i = 0; i < size; ++i) {
    result.covariance.repeatable(i, i) = diagonal[i].u * diagonal[i].u;
    result.covariance.absolute(i, i) = diagonal[i].u_absolute * diagonal[i].u_absolute;
  }
}

}  // namespace

FitResult sample_result(const std::vector<SampleAxis>& axes) {
  FitResult result;
  result.usable = true;
  result.machine_name = "invented trial machine";
  result.started = "2026-03-02T08:00:00Z";
  result.made = "2026-03-02T08:30:00Z";
  result.version = "0.1.0";
  for (const SampleAxis& axis : axes) result.axes.push_back(axis_result(axis));
  for (std::size_t i = 0; i + 1 < result.axes.size(); ++i) {
    if (result.axes[i].side != result.axes[i + 1].side) continue;
    result.axis_pairs.push_back(pair_result(result.axes[i], result.axes[i + 1]));
  }
  add_covariance(result);
  return result;
}

SampleAxis sample_a_axis() {
  SampleAxis axis;
  axis.letter = 'A';
  axis.along = LinearAxis::X;
  axis.turn = TurnSense::left_hand;
  axis.quoted_at_mm = -300.0;
  axis.line.point_mm = {-300.0, -200.0123, -250.0342};
  axis.line.direction = Eigen::Vector3d(1.0, 0.0002, -0.0001).normalized();
  return axis;
}

SampleAxis sample_c_axis() {
  SampleAxis axis;
  axis.letter = 'C';
  axis.along = LinearAxis::Z;
  axis.turn = TurnSense::left_hand;
  axis.quoted_at_mm = -250.0;
  axis.line.point_mm = {-299.987, -199.95, -250.0};
  axis.line.direction = Eigen::Vector3d(0.0001, 0.00015, 1.0).normalized();
  return axis;
}

SampleAxis sample_head_axis() {
  SampleAxis axis;
  axis.letter = 'B';
  axis.side = AxisSide::tool;
  axis.along = LinearAxis::Y;
  axis.line.point_mm = {0.0, 0.0, 0.0};
  axis.line.direction = Eigen::Vector3d(0.0, 1.0, 0.0001).normalized();
  return axis;
}

FitResult one_axis_result() { return sample_result({sample_a_axis()}); }
FitResult trunnion_result() { return sample_result({sample_a_axis(), sample_c_axis()}); }

}  // namespace pivotrace::testing
