// A probing plan: which stations, which touches, how fast, how far. What `pivotrace plan` writes,
// a person may edit, and every cycle program is made from.
#pragma once

#include <Eigen/Core>
#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/machine/state.h"
#include "pivotrace/results/value_name.h"

namespace pivotrace {

/// One touch, told the way a person would: from the artefact's centre look out in a direction.
/// Directions are seen from the probe: `up` = towards the spindle along the tool axis, `around`
/// counted in the plane across it from +X towards +Y (both as with the tool-side axes at 0).
struct PlannedTouch {
  int artefact = 0;         ///< index into Machine::artefacts
  double around_rad = 0.0;  ///< 0 = +X side, 90 deg = +Y side
  double up_rad = 0.0;      ///< 0 = equator, 90 deg = pole; unused for flats
  /// Pin: section, from `at` towards the open end; bore: depth, from `at` away from it [mm].
  double along_mm = 0.0;
  /// Flat: distance of the touched point from `at`; `around_rad` then counts in the face, from the
  /// first of its two cross directions (cross_pair of its normal, rotary axes at 0) to the second.
  double out_mm = 0.0;
};

/// One stay of the rotary axes.
struct PlannedStation {
  std::string label;
  RotaryAngles angles_rad{};
  bool flip = false;  ///< spindle turned by 180 deg
  std::vector<PlannedTouch> touches;
};

/// Feeds in mm/min. Common practice, no source: find fast, measure at a tenth of it.
struct ProbingFeeds {
  double find = 500.0;
  double measure = 50.0;
  double position = 3000.0;
};

/// Distances in mm.
struct ProbingDistances {
  double clearance = 4.0;  ///< between stylus and surface before each touch, beyond `rough`
  double rough = 3.0;      ///< how far the file or the operator's jog may be off at first
  /// Between stylus and surface before each touch of a pass that measures: its place is known by
  /// then (see foresight.h). Only on controls that watch positioning moves.
  double approach = 1.5;
  double search = 2.0;    ///< how far past the expected surface a touch looks, beyond `rough`
  double back_off = 0.5;  ///< between the fast and the slow touch
  double lift = 2.0;      ///< extra height between touches
  double limit = 0.5;     ///< a measured touch further than this from prediction stops the program
  /// A fast and a slow touch of one point that differ by more stop the program: one of them was not
  /// a touch. Between the two lie what the control loses at the finding feed (some 10 ms at
  /// 500 mm/min are 0.08 mm) and a trigger half-way in the air, back_off / 2. Common practice, no
  /// source.
  double agreement = 0.2;
  double safe_height = 0.0;      ///< shown Z at which rotary axes turn and rapid moves run
  double turn_run_up_deg = 5.0;  ///< every angle is reached from this far below it; 0 = not
};

/// Fast passes that find an artefact where only a rough position is known, before the pass that
/// measures, at the most: each turns a sideways error e into about e^2 / 2R. On the usual reach R of
/// 10 to 20 mm one pass turns 1 mm, two passes turn 5 mm, into less than 0.05 mm.
inline constexpr int most_finding_passes = 2;

enum class Purpose { commissioning, periodic_check, after_crash, minutes };

/// "commissioning", "check", "crash", "minutes": as on the command line and in the plan file.
const char* word_of(Purpose purpose);

/// Predicted expanded uncertainty of one output.
struct PredictedOutput {
  ValueName name;
  double U95 = 0.0;           ///< mm or rad, repeatable
  double U95_absolute = 0.0;  ///< mm or rad
};

struct Plan {
  std::string machine_name;
  Purpose purpose = Purpose::periodic_check;
  bool self_find = false;  ///< the program finds the first artefact from a jogged position above it
  ProbingFeeds feeds;
  ProbingDistances distances;
  std::vector<PlannedStation> stations;
  std::vector<PredictedOutput> predicted;
  double minutes = 0.0;

  int touch_count() const;
};

/// A touch worked out for one station of the nominal machine. Machine frame, mm.
struct PlacedTouch {
  /// Centre of the ball, of the section of the pin or bore; flat: the touched point.
  Eigen::Vector3d centre_mm = Eigen::Vector3d::Zero();
  Eigen::Vector3d outward = Eigen::Vector3d::UnitZ();    ///< from the centre to the stylus centre
  Eigen::Vector3d tool_axis = Eigen::Vector3d::UnitZ();  ///< from the stylus ball into the spindle
  ArtefactKind kind = ArtefactKind::ball;
  double reach_mm = 0.0;   ///< centre to stylus centre at contact
  double side = 1.0;       ///< +1: the stylus comes from outside, -1: from the bore's axis
  double height_mm = 0.0;  ///< of the travel plane above `centre_mm`, along the tool axis

  Eigen::Vector3d contact_mm() const { return centre_mm + reach_mm * outward; }
  /// `gap_mm` before contact.
  Eigen::Vector3d stand_off_mm(double gap_mm) const;
  /// Over the stand-off, in the travel plane.
  Eigen::Vector3d above_mm(double gap_mm) const;
  Eigen::Vector3d search_end_mm(double beyond_mm) const;
  Eigen::Vector3d approach() const { return -side * outward; }
};

/// Places a planned touch in space. The direction is made square to the axis of a pin or bore.
/// Degenerate for a pin or bore looked at along its own axis: `outward` is then zero.
PlacedTouch place_touch(const Machine& machine, const MachineState& state,
                        const ProbingDistances& distances, const RotaryAngles& angles_rad,
                        const PlannedTouch& touch);

/// Gap between stylus and surface before a touch: clearance + rough, less where a bore is narrow.
double stand_off_gap_mm(const ProbingDistances& distances, const PlacedTouch& placed);

/// Gap before a touch whose place is known: `approach`, or as much more as keeps the stylus off the
/// surface with the place wrong by `limit`, but never more than before a touch that finds.
double widest_approach_mm(const ProbingDistances& distances);
/// The same, less where a bore is narrow. Of pins and flats the gap is that before a touch that finds:
/// rapid moves up lead along their surface.
double approach_gap_mm(const ProbingDistances& distances, const PlacedTouch& placed);

/// Where the control stands (shown position, length datum applied) when the program starts.
/// Self-finding: the stylus 2 mm above the top of the first artefact, all rotary axes at the angles
/// of the first station. Otherwise: at the safe height above the first touch.
Eigen::Vector3d start_position_mm(const Machine& machine, const Plan& plan);

/// Short fingerprint of everything that shapes the program: 8 hexadecimal digits.
std::string identity_of(const Plan& plan);

/// The same as a whole number of at most six digits, for controls that can only store numbers.
int identity_number_of(const Plan& plan);

}  // namespace pivotrace
