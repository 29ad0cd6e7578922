// Surveys made up from a stated truth: for tests, coverage studies, examples and predictions.
// What is true is kept apart from how noisy the readings are.
#pragma once

#include <cstdint>
#include <vector>

#include "pivotrace/machine/state.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace {

/// How the machine really is. Everything defaults to "perfect".
struct SurveyTruth {
  MachineState state;
  /// Where the slides really go: real - shown = linear_error (shown - linear_origin_mm), 3x3, mm/mm.
  /// Diagonal: scale errors; off-diagonal: squareness.
  Eigen::Matrix3d linear_error = Eigen::Matrix3d::Zero();
  Eigen::Vector3d linear_origin_mm = Eigen::Vector3d::Zero();
  /// Real position of the tool creeps away from the shown one [mm/h].
  Eigen::Vector3d drift_mm_per_hour = Eigen::Vector3d::Zero();
  /// Three-lobed trigger: the gap at the trigger is amplitude * cos 3 (phi - phase), phi the
  /// direction of the outward normal about Z in the spindle's frame.
  double lobing_amplitude_mm = 0.0;
  double lobing_phase_rad = 0.0;
  /// Half the difference between an angle reached upwards and reached downwards, per rotary axis.
  RotaryAngles reversal_rad{};
};

/// One sigma of each random effect, as the fit assumes them, and the seed that reproduces it.
struct SurveyNoise {
  double touch_sigma_mm = 0.0;
  double station_sigma_mm = 0.0;
  RotaryAngles index_sigma_rad{};
  std::uint64_t seed = 1;
};

/// What the machine file states, or its defaults.
SurveyNoise stated_noise(const Machine& machine, std::uint64_t seed);

/// One touch to be made: where on the artefact, and from which side.
struct TouchTarget {
  int artefact = 0;
  /// Unit, machine frame, from the surface outwards; the stylus travels against it. Ball: any. Pin,
  /// bore: made perpendicular to the axis. Flat: ignored.
  Eigen::Vector3d outward = Eigen::Vector3d::UnitZ();
  /// Pin: height along its direction from `at` [mm]; bore: depth below `at`. Ball, flat: ignored.
  double along_mm = 0.0;
  /// Flat: place on the face relative to `at`, in the carried frame [mm]; others: ignored.
  Eigen::Vector3d on_face_mm = Eigen::Vector3d::Zero();
};

/// One station to be made.
struct StationTarget {
  RotaryAngles angles_rad{};
  bool flip = false;
  std::vector<TouchTarget> touches;
};

/// Clock used for the `time` column of synthetic touches: common practice, no source.
inline constexpr double seconds_per_touch = 6.0;
inline constexpr double seconds_per_turn = 10.0;

/// The survey a machine in this truth would record. Each touch drives straight at the artefact as
/// `aim` believes it to be placed and stops where the true gap equals the trigger's own error.
/// The same seed gives the same survey on every computer. Touches that would pass the artefact by
/// are left out (aim further from truth than the artefact is wide).
Survey synthesise_survey(const Machine& machine, const SurveyTruth& truth, const MachineState& aim,
                         const std::vector<StationTarget>& stations, const SurveyNoise& noise);

/// `count` equator touches about machine Z, the first along `first_rad` from X, and a pole touch
/// from +Z when `pole` is set.
std::vector<TouchTarget> ball_pattern(int artefact, int count, double first_rad, bool pole);

/// `count` touches round a pin or bore at `along_mm`, evenly spread about its direction at the
/// station's angles and limited to directions within `half_angle_rad` of `facing` (machine frame).
std::vector<TouchTarget> round_pattern(const Machine& machine, int artefact,
                                       const RotaryAngles& angles_rad, int count, double along_mm,
                                       const Eigen::Vector3d& facing, double half_angle_rad);

}  // namespace pivotrace
