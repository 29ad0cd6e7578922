// Work offsets for each index angle, for controls that do not follow the work offset round.
#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/pivots/offset_program.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

struct ReseatRequest {
  /// Work offset as taught, machine coordinates, Z to the centre of the stylus ball as in the
  /// touch record.
  Eigen::Vector3d taught_mm = Eigen::Vector3d::Zero();
  RotaryAngles taught_at_rad{};          ///< angles it was taught at, order of the result's axes
  std::vector<RotaryAngles> targets;     ///< angles an offset is wanted for
  int first_offset = first_work_offset;  ///< number of the work offset of the first target
  /// An origin outside the travel can be meant: a program need not go there.
  bool outside_travel_allowed = false;
  LengthUnit unit = LengthUnit::mm;
  std::string date;  ///< of writing, ISO 8601
};

/// One index position.
struct ReseatRow {
  RotaryAngles angles_rad{};
  int work_offset = 0;  ///< its number; 0 = the control has none left
  Eigen::Vector3d offset_mm = Eigen::Vector3d::Zero();
  /// Of the offset, from the axis lines alone (joint covariance, absolute); the taught offset's own
  /// uncertainty comes on top.
  Eigen::Vector3d U95_mm = Eigen::Vector3d::Zero();
  /// How far the part leans against where the program expects it: axis leans that no work offset
  /// can take out, relative to the taught position.
  double lean_left_rad = 0.0;
};

struct ReseatTable {
  std::vector<ReseatRow> rows;
  std::vector<std::string> warnings;  ///< in words; among them "offsets run out"
  bool offsets_run_out = false;
};

/// offset(T) = M(T) M(T0)^-1 offset(T0), M(T) = R1(t1) R2(t2) ... about the fitted lines, each by
/// s_i t_i, s the sense of its positive turn. `machine` gives travels and rotary limits. Refuses an
/// unusable result (P501), the file of another machine (P114), positions that turn an axis that was
/// not measured (P508), and angles or offsets outside the limits (P105), offsets unless allowed.
Expected<ReseatTable> reseat(const FitResult& result, const Machine& machine,
                             const ReseatRequest& request);

/// A program that writes the work offsets after an operator stop, spelled by a control sheet. P510
/// when its offsets run out: half a set of offsets is worse than none. A simulated result is refused
/// unless allowed.
Expected<std::string> reseat_program(const FitResult& result, const ReseatRequest& request,
                                     const ReseatTable& table, const ControlSheet& sheet,
                                     bool simulated_allowed = false);

}  // namespace pivotrace
