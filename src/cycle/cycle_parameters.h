// What stands at the top of a cycle and is read by everything below it: the parameters an operator
// may edit, what follows from them for every artefact, and the variables the touches work with.
#pragma once

#include <map>
#include <optional>
#include <vector>

#include "control/step_recorder.h"
#include "cycle/cycle_job.h"

namespace pivotrace {

/// Editable, and written as parameters of the program: feeds, distances, sizes, places.
struct OperatorParameters {
  Value find_feed, measure_feed, position_feed;
  Value clearance, rough, search, approach, back_off, lift;
  Value limit, agreement, safe_height, stylus_diameter;
  std::map<int, Value> diameters;  ///< per artefact that has one
  std::vector<Vec> places;         ///< per target: where it was found last, rotary axes at 0
};

OperatorParameters write_parameters(StepRecorder& steps, const CycleJob& job);

/// Distances of one artefact that the program works out from its parameters.
struct ArtefactDistances {
  Value reach;       ///< centre to stylus centre at contact
  Value away;        ///< centre to stylus centre before a touch of a pass that finds
  Value look;        ///< centre to stylus centre where it gives up
  Value close_away;  ///< the same of a pass that measures
  Value close_look;
  bool from_the_middle = false;  ///< a bore so narrow that every touch that measures begins there
  Value height;                  ///< travel plane above the centre
  double side = 1.0;             ///< -1 when touched from inside
};

/// Per target; targets of one artefact share their variables.
std::vector<ArtefactDistances> write_distances(StepRecorder& steps, const CycleJob& job,
                                               const OperatorParameters& parameters);

/// Variables in which the touches keep count and places. An alarm retreats by three of the places.
struct TouchVariables {
  explicit TouchVariables(StepRecorder& steps);

  Variable number;  ///< of touches recorded so far
  Vec predicted;    ///< centre of the target, in machine coordinates
  Vec shift;        ///< of that centre, as the touches of this pass show it
  Vec off;          ///< the same of all passes together: found less predicted
  Vec stand_off;    ///< shown position before and after a touch
  Vec above;        ///< over the stand-off, in the travel plane
  /// Before a touch that finds, and over it: an alarm out of a touch goes that wide, because what was
  /// touched may have moved after the stylus.
  Vec aside, over_aside;
  Vec left;        ///< where the crossing to the next touch begins
  Vec corner;      ///< of the way round the artefact to the next touch
  Vec look_to;     ///< where a touch gives up
  Vec backed_off;  ///< between the fast and the slow touch
  Vec trip;        ///< shown position at the last trigger
};

/// The way back of every alarm.
std::map<Retreat, Steps> retreats_of(const OperatorParameters& parameters,
                                     const TouchVariables& variables);

/// All of the above, in the order in which it is written.
struct CycleVariables {
  OperatorParameters parameters;
  std::vector<ArtefactDistances> distances;  ///< per target
  TouchVariables touch;
};

}  // namespace pivotrace
