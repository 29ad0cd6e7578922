// Whether values that were written still hold, by a fresh survey or by features cut at two angles.
#pragma once

#include <optional>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/results/result.h"
#include "pivotrace/results/value_room.h"

namespace pivotrace {

enum class Holding { holds, does_not, cannot_tell };

struct ConfirmOptions {
  /// Of centres; leans over 300 mm. For values that have no room of their own; absent: 3 U95 of the written
  /// value.
  std::optional<double> within_mm;
  std::vector<ValueRoom> rooms;  ///< the nearer end counts
  double between_surveys_mm = 0.003;
  bool allow_other_machine = false;
};

/// How far a written value may be off.
struct ToleratedValue {
  ValueName name;
  double written = not_run;  ///< mm or rad
  double tolerance = not_run;
};
/// Every centre and orientation of a result.
std::vector<ToleratedValue> tolerated_values(const FitResult& written,
                                             const ConfirmOptions& options);

struct ConfirmedValue {
  ValueName name;
  double written = not_run;
  double found = not_run;
  double u = not_run;  ///< of `found`, absolute: what is written is a number and has none
  double dof = not_run;
  double B = 0.0;
  double tolerance = not_run;
  Holding holding = Holding::cannot_tell;

  double off() const { return found - written; }
};

/// The worst of all: holds only where every value holds.
Holding overall(const std::vector<ConfirmedValue>& values);

/// holds: two one-sided tests at 5 % prove |found - written| < tolerance, the bias B counted against it;
/// does not: |found - written| - B beyond the tolerance by more than the one-sided 5 % point; else cannot
/// tell. Errors: as compare(); P105 a written value outside its own room.
Expected<std::vector<ConfirmedValue>> confirm(const FitResult& written, const FitResult& found,
                                              const ConfirmOptions& options = {});

/// Features that should be flush, cut at two angles of one axis that carries the work: the step between
/// them is 2 sin(|t2 - t1| / 2) times how far the written centre is off, in a direction across the axis.
struct CutTest {
  char axis = '?';
  double first_rad = 0.0;
  double second_rad = 0.0;
  double step_mm = not_run;  ///< measured, its length
  double step_U95_mm = not_run;
};

struct CutEvidence {
  double per_centre = not_run;   ///< 2 sin(|t2 - t1| / 2)
  double expected_mm = not_run;  ///< largest step a centre within its U95 can make
  double off_mm = not_run;  ///< how far the centre would have to be off to make the measured step
  double off_U95_mm = not_run;
  double tolerance_mm = not_run;  ///< of the centre, across the axis
  Holding holding = Holding::cannot_tell;
  /// The measured step is larger than the centre can make: tool length, wear, deflection, clamping, a lean.
  bool something_else = false;
};

/// Errors: P508 an axis the result does not state, P115 angles that are one place, an axis that carries the
/// tool, or a step that is no length.
Expected<CutEvidence> cut_evidence(const FitResult& written, const CutTest& cut,
                                   const ConfirmOptions& options = {});

}  // namespace pivotrace
