// Every visit a plan may be made of: angles of the measured axes on a grid, touches that can be made there.
#pragma once

#include <functional>
#include <string>
#include <vector>

#include "pivotrace/estimate/visit.h"
#include "pivotrace/plan/make_plan.h"

namespace pivotrace {

/// Angles at which one axis may stand in a plan.
struct AxisGrid {
  int axis = 0;
  double step_deg = 0.0;
  std::vector<double> angles_deg;
};

/// One set of angles, with all the touches that can be made there.
struct Stay {
  RotaryAngles angles_rad{};
  std::vector<PlannedTouch> touches;
  bool can_start = false;  ///< a program can find its first artefact here, from above
};

/// One visit that can be made: a stay and some of its touches, in the order they are made.
struct Candidate {
  int stay = 0;
  std::vector<int> touches;    ///< indices into Stay::touches
  double touch_minutes = 0.0;  ///< of a visit whose place is known, without the turn to it
};

struct CandidateSet {
  std::vector<int> axes;  ///< to be measured, inner ones first
  std::vector<AxisGrid> grids;
  std::vector<Stay> stays;
  std::vector<Candidate> candidates;
  std::vector<LeftOut> left_out;  ///< sets of angles where nothing can be touched
  int least_touches = 3;
  int most_touches = 6;

  PlannedStation station(int candidate) const;
};

/// Grid of the angles of every measured axis, this far apart where travel allows [deg]; wider where more
/// stays than `most_stays` would come of it.
inline constexpr double grid_step_deg = 10.0;
inline constexpr int most_stays = 700;

/// `distances` with the safe height over all of it. Never empty-handed without reasons in `left_out`. `tick` is
/// called at every set of angles.
CandidateSet find_candidates(const Machine& machine, const std::vector<int>& axes,
                             const ProbingFeeds& feeds, const ProbingDistances& distances,
                             double step_deg = grid_step_deg,
                             const std::function<void()>& tick = {});

/// The angles the candidates would stand at, before anything is looked at.
std::vector<AxisGrid> angle_grids(const Machine& machine, const std::vector<int>& axes,
                                  const ProbingDistances& distances,
                                  double step_deg = grid_step_deg);
std::vector<RotaryAngles> corner_angles(const std::vector<AxisGrid>& grids);

/// The rows of all candidates, in their order, and what they share.
struct CandidateRows {
  VisitMaker maker;
  std::vector<Visit> visits;
};
CandidateRows rows_of(const Machine& machine, const CandidateSet& set,
                      const ProbingDistances& distances);

}  // namespace pivotrace
