#include "pivotrace/pivots/reseat.h"

#include <fmt/format.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>

#include "base/number_text.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/index_angles.h"
#include "pivots/fitted_machine.h"
#include "pivots/reseat_limits.h"

namespace pivotrace {

namespace {

/// A lean left in the part beyond this is worth a warning: common practice, no source.
constexpr double lean_worth_telling_mm_per_300 = 0.01;
constexpr double same_angle_rad = 1e-9;

class Reseating {
 public:
  Reseating(const FitResult& result, const ReseatRequest& request)
      : request_(request), fitted_(result), last_(fitted_.last_work_axis()) {}

  ReseatRow row(const RotaryAngles& angles_rad) const {
    ReseatRow row;
    row.angles_rad = angles_rad;
    row.offset_mm = offset(fitted_.fitted(), angles_rad);
    const Eigen::MatrixXd covariance = fitted_.covariance_of(
        [&](const MachineState& state) { return Eigen::VectorXd(offset(state, angles_rad)); });
    row.U95_mm = fitted_.coverage_factor() * covariance.diagonal().cwiseMax(0.0).cwiseSqrt();
    row.lean_left_rad = lean_left(angles_rad);
    return row;
  }

 private:
  Eigen::Vector3d offset(const MachineState& state, const RotaryAngles& angles_rad) const {
    const Eigen::Vector3d carried = carried_from_machine(
        fitted_.machine(), state, last_, request_.taught_mm, request_.taught_at_rad);
    return machine_from_carried(fitted_.machine(), state, last_, carried, angles_rad);
  }

  Eigen::Matrix3d turn_since_taught(const MachineState& state,
                                    const RotaryAngles& angles_rad) const {
    return machine_from_carried_rotation(fitted_.machine(), state, last_, angles_rad) *
           machine_from_carried_rotation(fitted_.machine(), state, last_, request_.taught_at_rad)
               .transpose();
  }

  double lean_left(const RotaryAngles& angles_rad) const {
    const Eigen::Matrix3d real = turn_since_taught(fitted_.fitted(), angles_rad);
    const Eigen::Matrix3d expected = turn_since_taught(fitted_.nominal(), angles_rad);
    return Eigen::AngleAxisd(Eigen::Matrix3d(real * expected.transpose())).angle();
  }

  const ReseatRequest& request_;
  FittedMachine fitted_;
  int last_;
};

/// An axis nobody measured may only stand at 0, where it does nothing.
Problems unmeasured_turns(const FitResult& result, const ReseatRequest& request) {
  Problems problems;
  for (std::size_t i = 0; i < result.axes.size() && i < max_rotary_axes; ++i) {
    if (result.axes[i].estimated || result.axes[i].side != AxisSide::work) continue;
    const auto turned = [&](const RotaryAngles& angles) {
      return std::abs(angles[i]) > same_angle_rad;
    };
    if (!turned(request.taught_at_rad) &&
        std::none_of(request.targets.begin(), request.targets.end(), turned)) {
      continue;
    }
    problems.push_back(
        {ProblemNumber::no_such_value,
         fmt::format("axis {} was not measured in this survey, so offsets at other angles than 0 "
                     "cannot be told",
                     result.axes[i].letter),
         {},
         "measure it too, or leave it at 0"});
  }
  return problems;
}

void add_warnings(const FitResult& result, LengthUnit unit, ReseatTable& table) {
  if (table.offsets_run_out) {
    const auto first_without =
        std::find_if(table.rows.begin(), table.rows.end(),
                     [](const ReseatRow& row) { return row.work_offset == 0; });
    table.warnings.push_back(fmt::format(
        "work offsets run out: P{} is the last, {} of {} positions have none (from {} on)",
        last_work_offset, table.rows.end() - first_without, table.rows.size(),
        angles_text(result, first_without->angles_rad)));
  }
  double worst = 0.0;
  for (const ReseatRow& row : table.rows) worst = std::max(worst, row.lean_left_rad);
  if (mm_per_300_from_rad(worst) > lean_worth_telling_mm_per_300) {
    table.warnings.push_back(fmt::format(
        "a work offset shifts but cannot lean: up to {} {} of lean stays in the part; `pivotrace "
        "shim` tells how to align the unit",
        fixed_text(shown_value(QuantityKind::slope, mm_per_300_from_rad(worst), unit), 4),
        unit_word(QuantityKind::slope, unit)));
  }
  for (const AxisResult& axis : result.axes) {
    if (axis.side != AxisSide::work || !axis.estimated || axis.turn_confirmed) continue;
    table.warnings.push_back(
        fmt::format("the touches could not tell which way axis {} turns: the sense is that of the "
                    "machine file; try one offset by hand before use",
                    axis.letter));
  }
}

}  // namespace

Expected<ReseatTable> reseat(const FitResult& result, const Machine& machine,
                             const ReseatRequest& request) {
  Problems problems = reasons_not_to_write(result);
  if (problems.empty()) problems = other_machine(result, machine);
  if (problems.empty()) problems = unmeasured_turns(result, request);
  if (problems.empty()) problems = beyond_rotary_limits(result, machine, request);
  if (request.targets.empty()) {
    problems.push_back({ProblemNumber::bad_argument,
                        "no index angles are asked for",
                        {},
                        "say at which: --at A=0,90,180,270 or --at A=0..270/90"});
  }
  if (request.first_offset < first_work_offset || request.first_offset > last_work_offset) {
    problems.push_back({ProblemNumber::bad_argument,
                        fmt::format("there is no work offset P{}", request.first_offset),
                        {},
                        "use 1 for G54 up to 6 for G59, and 7 to 9 for G59.1 to G59.3"});
  }
  if (!request.taught_mm.allFinite()) {
    problems.push_back({ProblemNumber::bad_argument,
                        "the taught work offset is not three numbers",
                        {},
                        "give X, Y and Z in machine coordinates"});
  }
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  const Reseating reseating(result, request);
  ReseatTable table;
  for (const RotaryAngles& angles : request.targets) {
    ReseatRow row = reseating.row(angles);
    const int number = request.first_offset + static_cast<int>(table.rows.size());
    row.work_offset = number <= last_work_offset ? number : 0;
    table.offsets_run_out = table.offsets_run_out || row.work_offset == 0;
    table.rows.push_back(row);
  }
  Problems outside = outside_travel(result, machine, request, table);
  if (!outside.empty() && !request.outside_travel_allowed) {
    return tl::make_unexpected(std::move(outside));
  }
  for (const Problem& problem : outside) table.warnings.push_back(problem.what);
  add_warnings(result, request.unit, table);
  return table;
}

}  // namespace pivotrace
