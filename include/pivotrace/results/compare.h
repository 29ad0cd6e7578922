// What moved between two surveys: every value with its change, and the explanation of all changes together.
#pragma once

#include <Eigen/Core>
#include <array>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/results/change_statistics.h"
#include "pivotrace/results/result.h"
#include "pivotrace/results/value_room.h"

namespace pivotrace {

struct CompareOptions {
  bool allow_other_machine = false;
  /// Largest shift by temperature and re-clamping between two surveys, per coordinate, all axes alike.
  /// Used where `between_surveys_stated`; else what the results hold, else this (common practice, no source).
  double between_surveys_mm = 0.003;
  bool between_surveys_stated = false;
  /// A change that does no harm: of every centre; of every lean so much over 300 mm. For values that have no
  /// room of their own.
  std::optional<double> within_mm;
  /// Of a value itself: what the old one left of its room.
  std::vector<ValueRoom> rooms;
  /// Work out ValueChange::smallest_seen as well: under 0.02 s for the eight of two axes.
  bool smallest_seen = true;
};

/// Level of the survey-wide test that opens the verdicts.
inline constexpr double moved_level = 0.01;
/// A change counts as visible when it is found in 8 of 10 cases (common practice, no source).
inline constexpr double visible_power = 0.80;

struct ValueChange {
  ValueName name;
  double old_value = not_run;  ///< mm or rad, as all that follow
  double new_value = not_run;
  double change = not_run;
  double u = not_run;
  double dof = not_run;
  double B = 0.0;
  double U95 = not_run;
  /// If this value alone changed by so much, the survey-wide test would open and name it in 8 of 10 cases,
  /// what is bounded lying anywhere within its bounds (results/visible_changes.h).
  double smallest_seen = not_run;
  bool moved = false;             ///< the test opened, and the change is beyond its U95
  std::optional<Room> tolerance;  ///< of the change
  bool within_tolerance = false;  ///< proven by two one-sided tests at 5 %
};

enum class Cause {
  unit,          ///< all rotary axes of one side, as one rigid body on the table (on the ram)
  axis_bearing,  ///< one axis in its bearing, with everything it carries
  axis_zero,     ///< of an axis that carries other axes
  probe,         ///< its stylus sits elsewhere or has another length
  machine_zero,  ///< of the linear axes
  several,       ///< none of these alone
};

struct CauseName {
  Cause cause = Cause::several;
  char axis = '\0';  ///< axis_bearing, axis_zero: which; unit: the outermost
  AxisSide side = AxisSide::work;
  bool operator==(const CauseName&) const = default;
};

/// Shift of the point `about_mm`, turn about an axis through it.
struct RigidMotion {
  Eigen::Vector3d about_mm = Eigen::Vector3d::Zero();
  Eigen::Vector3d shift_mm = Eigen::Vector3d::Zero();
  Eigen::Vector3d turn_rad = Eigen::Vector3d::Zero();
};

/// Touches or looks that tell causes on one line apart.
enum class TellApart {
  fixed_artefact,  ///< touched on the bed, before and after: the unit or the machine zero and probe
  flip_spindle,    ///< the same touches with the spindle turned by half a turn: the probe
  housing_indicator,  ///< an indicator on the housing: the unit, or the axis in its bearing
  more_touches,       ///< the same survey again, or more stations
};

/// Everything on one line explains the changes equally well.
struct Explanation {
  std::vector<CauseName> what;
  RigidMotion size;
  /// Shifts along X, Y, Z and turns about them that the values answer to.
  std::array<bool, 6> seen{};
  bool turned = false;       ///< the turn is part of it, not only the shift
  double probability = 0.0;  ///< among the explanations listed
  std::vector<TellApart> told_apart_by;
};

/// What makes the comparison weaker than it looks, or leaves something out.
struct CompareNote {
  enum class Kind {
    gains_missing,     ///< a result without gains: everything left in as if each survey had its own
    probe_not_stated,  ///< not known to be the same probe, calibrated once: left in
    other_probe,       ///< left in; its offset may be the change
    other_calibration,  ///< of the same probe: left in
    other_load,         ///< on the table: shifts between surveys taken twice as large
    other_warmth,       ///< one survey on a cold machine: likewise
    other_clamping,     ///< rotary axes clamped in one, free in the other: index errors left in
    other_rollover,     ///< angles reached by another way: likewise
    other_coupling,     ///< axis: its toothed coupling has another pitch: likewise, of this axis
    other_tables,  ///< the control's compensation was another one: another quantity, never beside it
    simulated,     ///< both of touches a rehearsal made
    simulated_beside_measured,
    between_assumed,       ///< nobody stated how much temperature and re-clamping do
    machine_file_differs,  ///< the machine file was changed between the surveys
    no_dates,              ///< which is older is not known
    other_plane,           ///< axis: the centre is quoted at another plane
    only_old,              ///< axis: only in the old result
    only_new,              ///< axis: only in the new result
    other_machine,         ///< allowed by the user
  };
  Kind kind = Kind::gains_missing;
  char axis = '\0';

  bool operator==(const CompareNote&) const = default;
};

/// An artefact that stands elsewhere: no matter for the axes.
struct ArtefactShift {
  std::string name;
  Eigen::Vector3d shift_mm = Eigen::Vector3d::Zero();
};

/// An axis both surveys found, before and after; points in the plane the old one is quoted in.
struct AxisChange {
  char letter = '?';
  AxisSide side = AxisSide::work;
  Line old_line;
  Line new_line;
};

struct SurveyComparison {
  std::string machine_name;
  std::string old_started;
  std::string new_started;
  bool simulated = false;  ///< one of the two at least is of touches a rehearsal made
  std::vector<ValueChange> values;
  std::vector<AxisChange> axes;
  Congruency test;
  /// Whether anything moved; absent: cannot tell.
  std::optional<bool> moved;
  /// Of what moved, most probable first, those below 1 % left out; empty where nothing is seen to have moved.
  std::vector<Explanation> explanations;
  std::vector<ArtefactShift> artefacts;
  std::vector<CompareNote> notes;
  double between_surveys_mm = not_run;
};

/// Model: d = x_new - x_old over the values both have in the same plane. Its covariance is what each survey
/// drew for itself and, of errors both share (same probe, same index positions, same slides), what the
/// difference of their gains lets in; its bias what the bounds of both let in likewise, and a common shift
/// of at most `between_surveys_mm` along X, Y and Z.
/// Survey-wide test: the smallest T over all such biases against F(h, dof) at 1 %.
/// Explanations: each is a linear subspace of d, d = G p; weighed by
///   ln(weight) = -(chi2 left over) / 2 - (freedoms / 2) ln n (Student's form at finite dof), n the readings
/// of both surveys (G. Schwarz, Ann. Statist. 6, 1978). Those whose weights differ by less than 20 : 1 stand
/// on one line. The bias enters there as a variance of a third of its square.
/// Errors: P114 another machine, P115 the same survey twice or the newer one first, P501 a result that is
/// not usable, P508 no value in common.
Expected<SurveyComparison> compare(const FitResult& old_result, const FitResult& new_result,
                                   const CompareOptions& options = {});

/// What a survey still to be made would show against an old result: `planned` is what is predicted for it
/// (predict_survey, with the conditions it will be made under). Of every value both have: the U95 a change
/// will have, and the smallest change that would be found in 8 of 10 cases, whatever sigmas the survey will find.
/// Not whether anything moved. `old_too`: the old result is a prediction as well.
Expected<std::vector<ValueChange>> changes_that_would_show(const FitResult& old_result,
                                                           const FitResult& planned,
                                                           const CompareOptions& options = {},
                                                           bool old_too = false);

}  // namespace pivotrace
