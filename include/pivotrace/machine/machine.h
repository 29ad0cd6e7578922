// What the machine file says: linear travels, rotary axes, probe, artefacts, obstacles.
// Lengths mm, angles rad, machine frame (ISO 841: tool relative to the bed), nominal values.
#pragma once

#include <Eigen/Core>
#include <array>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/contact/chain.h"
#include "pivotrace/contact/gap.h"
#include "pivotrace/machine/bounds.h"

namespace pivotrace {

/// Commanded rotary angles, in the order of Machine::rotary; unused entries are 0.
using RotaryAngles = std::array<double, max_rotary_axes>;

enum class LinearAxis { X = 0, Y = 1, Z = 2 };
enum class AxisSide { work, tool };

struct Range {
  double low = 0.0;
  double high = 0.0;
  bool contains(double value, double slack = 0.0) const {
    return value >= low - slack && value <= high + slack;
  }
};

/// Stated when the machine file says nothing: common practice, no source.
inline constexpr double default_station_sigma_mm = 0.002;
inline constexpr double default_touch_sigma_mm = 0.001;
inline constexpr double default_index_sigma_arcsec = 5.0;
inline constexpr double default_axis_motion_sigma_mm = 0.001;
/// A stated sigma was itself found from a few readings: uncertain by a quarter (JCGM 100:2008, G.4.2:
/// dof = (du/u)^-2 / 2).
inline constexpr double default_sigma_dof = 8.0;

struct LinearAxes {
  std::array<Range, 3> travel_mm;  ///< limits of X, Y, Z
  double station_sigma_mm =
      default_station_sigma_mm;  ///< 1 sigma per axis of a position reached again
  bool station_sigma_stated = false;
  std::array<double, 3> scale_u = {0, 0, 0};  ///< standard uncertainty of each scale [mm/mm]
  std::array<double, 3> squareness_u_rad = {0, 0, 0};  ///< of XY, YZ, ZX [rad]
  double rapid_mm_per_min = 10000.0;                   ///< for time estimates
  double acceleration_mm_per_s2 = 1000.0;              ///< for time estimates
};

struct RotaryAxis {
  char letter = 'A';
  AxisSide side = AxisSide::work;
  std::optional<LinearAxis> along;  ///< set when the axis is nominally X, Y or Z
  Eigen::Vector3d direction = Eigen::Vector3d::UnitX();  ///< nominal, unit
  TurnSense positive_turn = TurnSense::right_hand;
  Eigen::Vector3d centre_mm = Eigen::Vector3d::
      Zero();                ///< nominal, in the quoted plane; tool side: from the shown position
  double quote_at_mm = 0.0;  ///< direction . centre
  Range travel_rad{-6.283185307179586, 6.283185307179586};
  /// One sigma of where the axis comes to rest at an index position; it repeats at every visit.
  double index_sigma_rad = default_index_sigma_arcsec / 3600.0 * 0.017453292519943295;
  bool index_sigma_stated = false;
  double index_repeat_sigma_rad = 0.0;  ///< of each arrival beside that; 0 = not stated
  /// One sigma, per coordinate, of the axis at an index position against its average line; repeats.
  double axis_motion_sigma_mm = default_axis_motion_sigma_mm;
  bool axis_motion_sigma_stated = false;
  double speed_rad_per_s = 0.35;  ///< for time estimates
  std::string clamp;              ///< program word, empty = none
  std::string unclamp;
};

/// Starting, stopping and the control's own thinking, per move [s]. Common practice, no source.
inline constexpr double control_s_per_move = 0.25;

enum class LengthDatum { centre, tip };

struct Probe {
  double stylus_diameter_mm = 6.0;
  std::optional<double> stylus_diameter_u_mm;  ///< absent = the diameter is unknown
  std::optional<double> stylus_length_mm;      ///< ball centre to holder
  std::optional<double> gauge_length_mm;       ///< ball centre to the gauge line of the spindle
  std::optional<double> shank_diameter_mm;
  std::optional<double> holder_diameter_mm;
  std::optional<double> holder_length_mm;
  LengthDatum length_datum = LengthDatum::centre;
  double touch_sigma_mm = default_touch_sigma_mm;
  bool touch_sigma_stated = false;
  /// Standard uncertainty of the stylus centre in X, Y, Z; where not stated, assumed by the class.
  Eigen::Vector3d offset_u_mm = Eigen::Vector3d::Zero();
  std::array<bool, 3> offset_u_stated = {true, true, true};

  double stylus_radius_mm() const { return 0.5 * stylus_diameter_mm; }
};

struct Stem {
  Eigen::Vector3d direction = -Eigen::Vector3d::UnitZ();  ///< from the ball centre into the stem
  double diameter_mm = 0.0;
  double length_mm = 0.0;
};

struct Artefact {
  std::string name;
  ArtefactKind kind = ArtefactKind::ball;
  /// Index into Machine::rotary of the last work-side axis that carries it; -1 = the bed.
  int carried_by = -1;
  Eigen::Vector3d at_mm = Eigen::Vector3d::
      Zero();  ///< rough; all rotary axes at 0. Ball: centre. Pin, bore: a point on the axis. Flat: a point on the face
  Eigen::Vector3d direction =
      Eigen::Vector3d::UnitZ();  ///< pin, bore: towards the open end. Flat: outward normal
  /// Stated: how well the direction, and the place against the axis that carries it, are known where that
  /// axis really stands at 0 (standard uncertainties). Such an artefact tells the zero of the axis.
  std::optional<double> direction_u_rad;
  std::optional<double> at_u_mm;  ///< of each coordinate across the axis
  double length_mm =
      0.0;  ///< pin: usable length from `at` towards the open end; bore: usable depth from `at` away from it
  double size_mm = 0.0;                 ///< flat: diameter of the usable face about `at`
  std::optional<double> diameter_mm;    ///< absent = unknown
  std::optional<double> diameter_u_mm;  ///< absent = the diameter is only rough
  int diameter_as = -1;  ///< index of the artefact whose diameter it shares; -1 = its own
  double form_deviation_mm =
      0.0;  ///< ball: peak to valley of its radius, from its grade; 0 = not stated
  std::optional<Stem> stem;
};

enum class ObstacleShape { box, cylinder };

struct Obstacle {
  std::string name;
  int carried_by = -1;  ///< as for an artefact
  ObstacleShape shape = ObstacleShape::box;
  Eigen::Vector3d from_mm =
      Eigen::Vector3d::Zero();  ///< box: one corner; cylinder: one end of its axis
  Eigen::Vector3d to_mm =
      Eigen::Vector3d::Zero();  ///< box: opposite corner; cylinder: the other end
  double diameter_mm = 0.0;
};

/// One machine as its file describes it.
struct Machine {
  std::string name;
  bool inch = false;  ///< units of the file; everything here is mm
  LinearAxes linear;
  std::vector<RotaryAxis> rotary;  ///< in file order: outermost first on each side
  Probe probe;
  std::vector<Artefact> artefacts;
  std::vector<Obstacle> obstacles;
  MachineClass machine_class = MachineClass::usual;  ///< what is assumed where the file is silent
  bool class_stated = false;
  StatedBounds bounds;
  double sigma_dof = default_sigma_dof;  ///< degrees of freedom of every stated sigma

  /// Index of the rotary axis with this letter, or -1.
  int rotary_index(char letter) const;
  /// Index of the artefact with this name, or -1.
  int artefact_index(const std::string& name) const;
  /// Indices of the work-side axes from the outermost to `last` (empty for the bed, -1).
  std::vector<int> work_chain(int last) const;
  /// Indices of the tool-side axes, outermost first.
  std::vector<int> tool_chain() const;
};

/// Human word for an artefact kind: "ball", "pin", "bore", "flat".
const char* kind_word(ArtefactKind kind);

}  // namespace pivotrace
