// The refits of many trials at once. Everything they need stands here as plain numbers, because the
// kernels are compiled for several processors: a function of a shared class compiled for one of them
// must never reach a program that runs on another.
#pragma once

namespace pivotrace::trial {

/// A trial's iteration ends when no unknown moves by more than this (mm, or rad at arm's length).
inline constexpr double settled_step = 1e-9;
inline constexpr int most_steps = 12;

/// A line about its nominal; see contact/near_line.h.
struct ChartedLine {
  double point[3], direction[3], first[3], second[3];
};

struct AxisRow {
  ChartedLine line;  ///< where the axis is not estimated: as it is
  bool tool_side;
  double sense;
  int unknown;  ///< first of 4, -1 = not estimated
};

struct PlaceRow {
  ChartedLine line;         ///< ball: only the point counts
  int kind;                 ///< an ArtefactKind
  int last;                 ///< axis that carries it
  int unknown;              ///< first one
  int radius_unknown;       ///< -1 = the radius is known
  double radius_offset_mm;  ///< radius = unknown + this, or this
};

struct StationRow {
  int touches;
  int readings;
  int shared;                 ///< effects it shares with other stations
  double cosine[4], sine[4];  ///< of the angles the best fit stands at
  double reached_from[4];     ///< +1, -1, 0
};

struct TouchRow {
  double shown_mm[3];  ///< on the fitted surface
  int place;
  bool flip;
  int readings;  ///< 1, or the 3 coordinates of a centre
};

/// An optional unknown of the fit.
struct EffectRow {
  int unknown;
  int reversal_axis;  ///< -1 = it acts on slides, stylus or gap
};

/// What one unit of an effect does to one touch.
struct EffectAmount {
  double shown[3], arm[3], gap;
};

/// The fit, its gains and its errors. Matrices row by row.
struct Problem {
  int unknowns, readings, axes, places, stations, touches, effects;
  int commons, shared, random_effects, priors;
  const AxisRow* axis;
  const PlaceRow* place;
  const StationRow* station;
  const TouchRow* touch;
  const EffectRow* effect;
  const EffectAmount* effect_amount;  ///< (touches x effects)
  double stylus_radius_mm;
  double stylus_offset_mm[3];
  double touch_sigma_mm;
  const double* best;        ///< (p) the unknowns of the fit
  const double* by_common;   ///< (m x commons), one sigma
  const int* shared_of;      ///< per station, one after the other: which effects it shares
  const double* by_shared;   ///< per reading, one after the other: by each of these, one sigma
  const double* by_random;   ///< (m x random_effects), one sigma
  const double* outward;     ///< (m x 3), machine frame: along it a touch moves
  const double* gain;        ///< (p x m)
  const double* prior_gain;  ///< (p x priors)
  const double* prior_by_unknown;  ///< (priors x p)

  /// Standard normal deviates a trial takes: commons; shared effects; per station its own random
  /// effects, then its readings; priors.
  int draws() const { return commons + shared + stations * random_effects + readings + priors; }
  /// Room a kernel needs, in numbers per lane.
  int scratch() const { return 3 * touches + readings + 2 * unknowns + priors; }
};

/// Refits `lanes` trials at once: `draws` (draws() x lanes) in, `unknowns` (p x lanes) out.
struct Kernel {
  int lanes;
  void (*refit)(const Problem& problem, const double* draws, double* scratch, double* unknowns);
};

/// The kernels this processor can run, fewest lanes first. Never empty.
struct Kernels {
  Kernel kernel[3];
  int count;
};
Kernels kernels_here();

void refit_two(const Problem&, const double* draws, double* scratch, double* unknowns);
void refit_four(const Problem&, const double* draws, double* scratch, double* unknowns);
void refit_eight(const Problem&, const double* draws, double* scratch, double* unknowns);

}  // namespace pivotrace::trial
