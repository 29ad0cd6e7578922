#include <fmt/format.h>

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>

#include "pivotrace/pivots/index_angles.h"
#include "pivotrace/pivots/judge.h"
#include "pivotrace/pivots/part_steps.h"
#include "pivots/fitted_machine.h"

namespace pivotrace {

namespace {

/// Places whose steps differ by less than this are equally bad: the first of them is named, whatever the
/// last digits say.
constexpr double tie_mm = 1e-9;

/// Error of point p cut at these angles: what the program believes against what the axes do.
Eigen::Vector3d cut_error(const FittedMachine& fitted, const MachineState& believed,
                          const MachineState& real, const Eigen::Vector3d& p_mm,
                          const RotaryAngles& angles_rad) {
  const int last = fitted.last_work_axis();
  const Eigen::Vector3d commanded =
      machine_from_carried(fitted.machine(), believed, last, p_mm, angles_rad);
  return carried_from_machine(fitted.machine(), real, last, commanded, angles_rad) - p_mm;
}

std::vector<Eigen::Vector3d> corners(const PartEnvelope& part) {
  std::vector<Eigen::Vector3d> all;
  for (int i = 0; i < 8; ++i) {
    Eigen::Vector3d corner;
    for (int k = 0; k < 3; ++k) corner[k] = ((i >> k) & 1) != 0 ? part.to_mm[k] : part.from_mm[k];
    all.push_back(corner);
  }
  return all;
}

/// The error is affine in the point, so its length is convex and the worst case over a box stands
/// in a corner.
PartMismatch worst_mismatch(const FittedMachine& fitted, const MachineState& believed,
                            const PartEnvelope& part, const std::vector<RotaryAngles>& positions) {
  PartMismatch worst;
  bool first = true;
  for (const Eigen::Vector3d& corner : corners(part)) {
    std::vector<Eigen::Vector3d> errors;
    errors.reserve(positions.size());
    for (const RotaryAngles& position : positions) {
      errors.push_back(cut_error(fitted, believed, fitted.fitted(), corner, position));
    }
    for (std::size_t i = 0; i < positions.size(); ++i) {
      for (std::size_t k = i + 1; k < positions.size(); ++k) {
        const Eigen::Vector3d step = errors[k] - errors[i];
        if (!first && step.norm() <= worst.worst_mm + tie_mm) continue;
        first = false;
        worst.worst_mm = step.norm();
        worst.step_mm = step;
        worst.corner_mm = corner;
        worst.first_rad = positions[i];
        worst.second_rad = positions[k];
      }
    }
  }
  return worst;
}

/// Largest U95 in any direction of the step at its worst place: the uncertainty of the real lines
/// moves the real cut, whatever the program believes.
double mismatch_U95(const FittedMachine& fitted, const MachineState& believed,
                    const PartMismatch& worst) {
  const Eigen::MatrixXd covariance = fitted.covariance_of([&](const MachineState& real) {
    return Eigen::VectorXd(cut_error(fitted, believed, real, worst.corner_mm, worst.second_rad) -
                           cut_error(fitted, believed, real, worst.corner_mm, worst.first_rad));
  });
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> eigen{Eigen::Matrix3d(covariance)};
  return fitted.coverage_factor() * std::sqrt(std::max(0.0, eigen.eigenvalues().maxCoeff()));
}

/// For values that are the fitted ones themselves the step is zero by construction; what remains
/// is its uncertainty, worst over corners and positions.
void find_worst_uncertainty(const FittedMachine& fitted, const PartEnvelope& part,
                            const std::vector<RotaryAngles>& positions, PartMismatch& mismatch) {
  mismatch.U95_mm = 0.0;
  for (const Eigen::Vector3d& corner : corners(part)) {
    for (std::size_t i = 0; i < positions.size(); ++i) {
      for (std::size_t k = i + 1; k < positions.size(); ++k) {
        PartMismatch candidate = mismatch;
        candidate.corner_mm = corner;
        candidate.first_rad = positions[i];
        candidate.second_rad = positions[k];
        const double U95 = mismatch_U95(fitted, fitted.fitted(), candidate);
        if (U95 <= mismatch.U95_mm + tie_mm) continue;
        mismatch = candidate;
        mismatch.U95_mm = U95;
      }
    }
  }
}

}  // namespace

std::vector<PartMismatch> part_mismatches(const FitResult& result, const FitResult* previous,
                                          const PartEnvelope& part,
                                          const std::vector<RotaryAngles>& positions) {
  const FittedMachine fitted(result);
  MachineState old = fitted.nominal();
  Believed old_values = Believed::machine_file;
  if (previous != nullptr && previous->axes.size() == result.axes.size()) {
    old = FittedMachine(*previous).centres_only();
    old_values = Believed::previous_result;
  }
  std::vector<PartMismatch> mismatches;
  const auto add = [&](Believed whose, const MachineState& believed) {
    PartMismatch mismatch = worst_mismatch(fitted, believed, part, positions);
    mismatch.believed = whose;
    mismatch.U95_mm = mismatch_U95(fitted, believed, mismatch);
    mismatches.push_back(mismatch);
  };
  add(old_values, old);
  add(Believed::centres, fitted.centres_only());
  add(Believed::centres_and_leans, fitted.fitted());
  find_worst_uncertainty(fitted, part, positions, mismatches.back());
  return mismatches;
}

Expected<std::vector<RotaryAngles>> part_positions(const FitResult& result,
                                                   const PartEnvelope& part) {
  std::vector<RotaryAngles> positions;
  for (const std::string& text : part.at) {
    auto more = index_angles(result, {text});
    if (!more) {
      for (Problem& problem : more.error()) problem.where = part.where;
      return tl::make_unexpected(more.error());
    }
    positions.insert(positions.end(), more->begin(), more->end());
  }
  return positions;
}

std::vector<std::vector<double>> part_steps(const FitResult& result, const PartEnvelope& part,
                                            const std::vector<RotaryAngles>& positions) {
  const FittedMachine fitted(result);
  const MachineState believed = fitted.nominal();
  std::vector<std::vector<double>> steps(positions.size(),
                                         std::vector<double>(positions.size(), 0.0));
  for (const Eigen::Vector3d& corner : corners(part)) {
    std::vector<Eigen::Vector3d> errors;
    errors.reserve(positions.size());
    for (const RotaryAngles& position : positions) {
      errors.push_back(cut_error(fitted, believed, fitted.fitted(), corner, position));
    }
    for (std::size_t i = 0; i < positions.size(); ++i) {
      for (std::size_t k = 0; k < positions.size(); ++k) {
        steps[i][k] = std::max(steps[i][k], (errors[k] - errors[i]).norm());
      }
    }
  }
  return steps;
}

}  // namespace pivotrace
