// The centre of a turning axis while the program runs: sums that grow by one place per station, and
// the centre they give.
#pragma once

#include <array>
#include <optional>

#include "cycle/cycle_geometry.h"
#include "cycle/cycle_parameters.h"
#include "cycle/cycle_tables.h"
#include "pivotrace/geometry/planar_sums.h"
#include "pivotrace/geometry/rotation.h"

namespace pivotrace {

/// Two coordinates across the axis, from its nominal centre, at every station of a part.
using MeasuredPlaces = std::array<Table, 2>;

/// What the sums of one part give.
struct FoundCentre {
  std::array<Value, 2> across;           ///< from the nominal centre, in the plane of the turn
  Value quoted_at;                       ///< along the axis: mean of the places it is found from
  std::optional<MeasuredPlaces> places;  ///< where they were to be kept
};

class RunningCentre {
 public:
  /// Records sums that start at nothing. `keep_places`: for a centre shown with its spread.
  RunningCentre(const CycleJob& job, const Part& part, const TouchVariables& variables,
                bool keep_places, StepRecorder& steps);

  /// Adds the target where it was found at this stay; from enough stays on, works out the centre,
  /// which `axes` then turn about, and the prediction with it.
  void add(const LoopIndex& stay, const CycleTarget& target, StandingAxes& axes);

  /// Nothing before a place was added that makes the sums good for a centre.
  const std::optional<FoundCentre>& found() const { return found_; }

 private:
  class Sums {
   public:
    static Sums from_nothing(StepRecorder& steps);
    Variable n, cosines, sines, u, v, along, across, axial;

   private:
    explicit Sums(StepRecorder& steps);
  };

  Value3 from_nominal(const CycleTarget& target, const StandingAxes& axes) const;
  void add_to_sums(const Variable& u, const Variable& v, const StandingAxes& axes) const;
  void keep_place(const LoopIndex& stay, const Variable& u, const Variable& v);
  void work_out(StandingAxes& axes);
  void move_work_centre(const PlanarSolution<Value>& solved, StandingAxes& axes) const;
  void move_tool_centre(const PlanarSolution<Value>& solved, StandingAxes& axes) const;
  Value3 moved_across(const Value3& from, const Value& first, const Value& second) const;

  const Part& part_;
  const TouchVariables& variables_;
  StepRecorder& steps_;
  const int axis_;
  const bool work_side_;
  const Line& line_;  ///< nominal
  const CrossPair pair_;
  const bool keep_places_;
  const Sums sums_;
  std::optional<MeasuredPlaces> places_;
  std::optional<FoundCentre> found_;
};

}  // namespace pivotrace
