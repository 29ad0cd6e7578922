// What a cycle is made from. Complete when it is constructed, never changed: every other part of the
// cycle may be worked out from it in any order.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "cycle/cycle_layout.h"
#include "pivotrace/control/value.h"
#include "pivotrace/cycle/make_cycle.h"

namespace pivotrace {

inline constexpr std::array<char, 3> linear_letters = {'X', 'Y', 'Z'};

struct CycleJob {
  CycleJob(const Machine& machine_file, const Plan& its_plan, const CycleOptions& how);
  CycleJob(const CycleJob&) = delete;
  CycleJob& operator=(const CycleJob&) = delete;

  const Machine& machine;
  const Plan& plan;
  const CycleOptions& options;
  const MachineState state;  ///< nominal
  const CycleLayout layout;

  const CycleTarget& target_of(const CycleVisit& visit) const {
    return layout.targets[visit.target];
  }
  int carrier_of(const CycleTarget& target) const {
    return machine.artefacts[target.artefact].carried_by;
  }
  /// The stays of a segment are written once, as the body of a loop.
  bool is_looped(const Segment& segment) const;
  /// Index of the segment whose centre the control works out, shows and may write to an offset: the
  /// first one that can give the centre of `options.solve_axis`.
  std::optional<std::size_t> solved_segment() const;

  const char* unit() const { return machine.inch ? "inch" : "mm"; }
};

/// "A and C"
std::string axes_text(const Machine& machine, const std::vector<int>& axes);
/// "A at 90 deg, C at 0 deg"
std::string angles_text(const Machine& machine, const CycleStay& stay);
/// Program values of the angles of all axes [deg].
std::vector<Value> angles_deg_of(const Machine& machine, const CycleStay& stay);

}  // namespace pivotrace
