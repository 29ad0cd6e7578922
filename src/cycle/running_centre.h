// The centre of a turning axis while the program runs: sums that grow by one place per station, and
// the centre they give.
#pragma once

#include <array>

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
  std::array<Value, 2> across;  ///< from the nominal centre, in the plane of the turn
  Value quoted_at;              ///< along the axis: mean of the places it is found from
  MeasuredPlaces places;
};

/// Of a work-side axis that turns alone while the axes outside it stand at 0.
class RunningCentre {
 public:
  /// Records sums that start at nothing.
  RunningCentre(const CycleJob& job, const Part& part, const TouchVariables& variables,
                StepRecorder& steps);

  /// Adds the target where it was found at this stay.
  void add(const LoopIndex& stay, const StandingAxes& axes);

  /// Works out the centre of all places that were added.
  FoundCentre found();

 private:
  class Sums {
   public:
    static Sums from_nothing(StepRecorder& steps);
    Variable n, cosines, sines, u, v, along, across, axial;

   private:
    explicit Sums(StepRecorder& steps);
  };

  void add_to_sums(const Variable& u, const Variable& v, const StandingAxes& axes) const;

  const TouchVariables& variables_;
  StepRecorder& steps_;
  const int axis_;
  const Line& line_;  ///< nominal
  const CrossPair pair_;
  const Sums sums_;
  const MeasuredPlaces places_;
};

}  // namespace pivotrace
