// Finding bad touches and slipped stations, and leaving them out only when that is beyond doubt.
#pragma once

#include <vector>

#include "estimate/model.h"
#include "estimate/suspicion.h"
#include "pivotrace/solver/minimise.h"

namespace pivotrace {

/// Suspects that explain the touches equally well: nobody can say which one is wrong. Two are
/// inseparable when their estimated shifts correlate by more than `inseparable_correlation` and
/// leaving out the one instead of the other costs less chi2 than `limit` squared.
struct Inseparable {
  std::vector<Suspect> suspects;
  /// One good survey in a thousand, not one good touch in a thousand, holds a deviation as large as
  /// this: `limit` shared out among all touches and stations (Bonferroni). Below it nothing need be
  /// wrong: U95 is made for scatter like that.
  bool beyond_chance = false;
};

struct Screening {
  std::vector<bool> excluded;       ///< per touch
  std::vector<Suspect> exclusions;  ///< in the order found; those re-admitted are not listed
  std::vector<Inseparable> inseparable;
  bool given_up = false;  ///< more than largest_share would have to go
  /// What is left under the random model asked for once every suspect is explained; 0 when there is
  /// none.
  double chi2 = 0.0;
  int redundancy = 0;
};

struct ScreeningOptions {
  /// Share of good surveys in which a search suspects anything: shared out among all touches and
  /// stations (Bonferroni). Two searches are made.
  double survey_level = 0.004;
  /// The same for what is beyond chance altogether.
  double beyond_chance_level = 0.0005;
  double largest_share = 0.25;  ///< of the touches that may be left out
  double inseparable_correlation = 0.9;
  /// With a bad touch left out, the rest of its station has slipped too when its common shift is
  /// this improbable. Milder than `limit`: that something is wrong here is settled already.
  double rest_level = 0.01;
  int max_rounds = 50;
  MinimiserOptions minimiser;
};

/// Iterated data snooping in the full model, touch by touch and station by station (a common shift
/// of all its touches: a slipped index, a chip under the artefact). The most improbable deviation is
/// left out and the rest adjusted again, until nothing is left beyond the limit. Then every station
/// that lost something is put back whole, with only the others left out, and asked again: nothing
/// wrong, one touch (or a minority) with the rest of the station in agreement, or the whole station.
///
/// A suspect must be improbable by the stated sigmas and by the scatter found. chi2 of a shift is
/// divided by the smaller of the robust variance (median |w| / 0.6745, squared) and the variance
/// left without the suspect (external studentisation); where that exceeds 1 the sigmas are taken from
/// the touches, and the F distribution of the redundancy left replaces chi2 (Pope 1976, from memory).
/// So a machine worse than its file does not lose good touches. The random model is not re-estimated
/// while bad touches are still in: they would hide behind it.
Screening screen(const Machine& machine, const Survey& survey, const std::vector<TurnSense>& turns,
                 const RandomModel& random, const std::vector<Effect>& effects,
                 const ScreeningOptions& options);

}  // namespace pivotrace
