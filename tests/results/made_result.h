// Results made up from stated lines and a stated covariance: no touches, no fit.
#pragma once

#include <Eigen/Cholesky>
#include <Eigen/Geometry>
#include <cmath>
#include <limits>
#include <random>
#include <stdexcept>
#include <string>
#include <vector>

#include "pivotrace/geometry/line.h"
#include "pivotrace/results/result.h"

namespace pivotrace::testing {

struct MadeAxis {
  char letter = 'A';
  LinearAxis along = LinearAxis::X;
  AxisSide side = AxisSide::work;
  Line line;
};

inline Line moved_line(const Line& line, const Eigen::Vector3d& shift, const Eigen::Vector3d& turn,
                       const Eigen::Vector3d& about) {
  Eigen::Matrix3d rotation = Eigen::Matrix3d::Identity();
  if (turn.norm() > 0.0) rotation = Eigen::AngleAxisd(turn.norm(), turn.normalized());
  return {about + rotation * (line.point_mm - about) + shift, rotation * line.direction};
}

/// A trunnion: A carries C. Invented.
inline std::vector<MadeAxis> made_trunnion() {
  return {{'A', LinearAxis::X, AxisSide::work, {{0.0, 210.0, -300.0}, Eigen::Vector3d::UnitX()}},
          {'C', LinearAxis::Z, AxisSide::work, {{320.0, 210.0, 0.0}, Eigen::Vector3d::UnitZ()}}};
}

inline std::vector<MadeAxis> made_head() {
  return {{'B', LinearAxis::Y, AxisSide::tool, {{0.0, 0.0, 372.5}, Eigen::Vector3d::UnitY()}}};
}

/// The result whose values are those of the lines; u_mm and u_rad on every value, correlated a little.
inline FitResult made_result(const std::vector<MadeAxis>& axes, double u_mm = 0.002,
                             double u_rad = 10e-6,
                             double dof = std::numeric_limits<double>::infinity()) {
  FitResult result;
  result.usable = true;
  result.machine_name = "made up";
  result.started = "2026-03-02T08:00:00Z";
  result.inputs = {{"machine", "made.machine.toml", "m1"}, {"touches", "made.csv", "t1"}};
  result.fit.readings = 48;
  std::vector<double> u;
  for (const MadeAxis& made : axes) {
    AxisResult axis;
    axis.letter = made.letter;
    axis.side = made.side;
    axis.estimated = true;
    axis.along = made.along;
    const int along = static_cast<int>(made.along);
    axis.nominal = made.line;
    axis.nominal.direction = Eigen::Vector3d::Unit(along);
    axis.quoted_at_mm = 50.0;
    axis.line.direction = made.line.direction;
    axis.line.point_mm = pierce_plane(made.line, axis.nominal.direction, axis.quoted_at_mm);
    for (int k = 0; k < 3; ++k) {
      if (k == along) continue;
      Estimate e;
      e.value = axis.line.point_mm[k];
      e.u = e.u_absolute = u_mm;
      e.dof = dof;
      axis.centre.push_back(
          {axis_value(made.letter, ValueKind::centre, static_cast<LinearAxis>(k)), e});
    }
    for (int k = 0; k < 3; ++k) {
      if (k == along) continue;
      const Eigen::Vector3d sideways =
          Eigen::Vector3d::Unit(k).cross(Eigen::Vector3d(Eigen::Vector3d::Unit(along)));
      Estimate e;
      e.value = std::atan2(axis.line.direction.dot(sideways), axis.line.direction[along]);
      e.u = e.u_absolute = u_rad;
      e.dof = dof;
      axis.orientation.push_back(
          {axis_value(made.letter, ValueKind::orientation, static_cast<LinearAxis>(k)), e});
    }
    for (const auto* list : {&axis.centre, &axis.orientation}) {
      for (const NamedEstimate& named : *list) {
        result.covariance.names.push_back(named.name);
        u.push_back(named.estimate.u);
      }
    }
    result.axes.push_back(axis);
  }
  const auto n = static_cast<Eigen::Index>(u.size());
  const Eigen::Map<const Eigen::VectorXd> sigma(u.data(), n);
  const Eigen::MatrixXd correlation =
      0.8 * Eigen::MatrixXd::Identity(n, n) + 0.2 * Eigen::MatrixXd::Ones(n, n);
  result.covariance.repeatable = sigma.asDiagonal() * correlation * sigma.asDiagonal();
  result.covariance.absolute = result.covariance.repeatable;
  return result;
}

inline Estimate& value_of(FitResult& result, const ValueName& name) {
  for (AxisResult& axis : result.axes) {
    for (auto* list : {&axis.centre, &axis.orientation}) {
      for (NamedEstimate& named : *list) {
        if (named.name == name) return named.estimate;
      }
    }
  }
  throw std::runtime_error("no value " + text_of(name));
}

/// Errors of one survey, drawn from its covariance.
inline void disturb(FitResult& result, std::mt19937_64& engine) {
  std::normal_distribution<double> normal;
  Eigen::VectorXd z(static_cast<Eigen::Index>(result.covariance.names.size()));
  for (double& value : z) value = normal(engine);
  const Eigen::VectorXd error = result.covariance.repeatable.llt().matrixL() * z;
  for (Eigen::Index i = 0; i < z.size(); ++i) {
    value_of(result, result.covariance.names[static_cast<std::size_t>(i)]).value += error[i];
  }
}

/// A later survey of the same machine.
inline FitResult later(FitResult result) {
  result.started = "2026-04-02T08:00:00Z";
  result.inputs[1].sha256 = "t2";
  return result;
}

}  // namespace pivotrace::testing
