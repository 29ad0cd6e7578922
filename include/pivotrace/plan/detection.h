// The shift a survey is to find: against an earlier result, or against itself made again.
#pragma once

#include <optional>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

/// A shift that is to be found in 8 of 10 cases at 1 % false alarms.
struct Detection {
  double shift_mm = 0.0;  ///< of a length; of an angle the same over `arm_of_an_angle_mm`
  std::optional<FitResult> earlier;  ///< absent: the same survey made again
};

/// An angle is worth a length at this distance [mm]: common practice, no source.
inline constexpr double arm_of_an_angle_mm = 100.0;

/// Smallest shift of one value that a survey finds, and the one asked for [mm or rad].
struct SeenShift {
  ValueName name;
  double asked = 0.0;
  double seen = 0.0;
};

/// By the test that compares results: `prediction` as the later of two epochs, beside the earlier result or
/// beside itself. A repeat is made with the same probe, and as it was calibrated. Errors: those of compare.
Expected<std::vector<SeenShift>> shifts_seen(const FitResult& prediction,
                                             const Detection& detection);

/// Largest seen / asked; not above 1 where every shift asked for is found.
double worst_of_seen(const std::vector<SeenShift>& seen);

/// The machine with nothing left but what differs between two such surveys: what is searched by.
Machine machine_that_differs(const Machine& machine, const Detection& detection);

}  // namespace pivotrace
