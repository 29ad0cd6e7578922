// Surveys made up from a stated truth: for tests, coverage studies, examples and predictions.
// What is true is kept apart from how noisy the readings are.
#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "pivotrace/machine/state.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace {

/// An index error that swings once and twice per turn: a cos t + b sin t + c cos 2t + d sin 2t, t the
/// commanded angle [rad].
struct IndexWave {
  double cos_once = 0.0;
  double sin_once = 0.0;
  double cos_twice = 0.0;
  double sin_twice = 0.0;
};

/// How the machine really is. Everything defaults to "perfect".
struct SurveyTruth {
  MachineState state;
  /// Where the slides really go: real - shown = linear_error (shown - linear_origin_mm), 3x3, mm/mm.
  /// Diagonal: scale errors; off-diagonal: squareness.
  Eigen::Matrix3d linear_error = Eigen::Matrix3d::Zero();
  Eigen::Vector3d linear_origin_mm = Eigen::Vector3d::Zero();
  /// Bow of the slides: column k is added times ((shown_k - middle_k) / 150 mm)^2 [mm].
  Eigen::Matrix3d bow_mm = Eigen::Matrix3d::Zero();
  Eigen::Vector3d bow_middle_mm = Eigen::Vector3d::Zero();
  /// Real position of the tool creeps away from the shown one [mm/h].
  Eigen::Vector3d drift_mm_per_hour = Eigen::Vector3d::Zero();
  /// Three-lobed trigger: the gap at the trigger is amplitude * cos 3 (phi - phase), phi the
  /// direction of the outward normal about Z in the spindle's frame.
  double lobing_amplitude_mm = 0.0;
  double lobing_phase_rad = 0.0;
  /// Half the difference between an angle reached upwards and reached downwards, per rotary axis.
  RotaryAngles reversal_rad{};
  std::array<IndexWave, max_rotary_axes> index_waves{};
};

/// Real minus shown position of the slides, without noise and drift [mm].
Eigen::Vector3d slide_error_mm(const SurveyTruth& truth, const Eigen::Vector3d& shown_mm);
/// Of one axis at a commanded angle [rad].
double index_wave_rad(const SurveyTruth& truth, int axis, double angle_rad);

/// One sigma of each random effect, as the fit assumes them, and the seed that reproduces it.
struct SurveyNoise {
  double touch_sigma_mm = 0.0;
  double station_sigma_mm = 0.0;
  RotaryAngles index_sigma_rad{};         ///< of each index position; repeats
  RotaryAngles index_repeat_sigma_rad{};  ///< of each arrival
  RotaryAngles axis_motion_sigma_mm{};    ///< of each index position, per coordinate; repeats
  std::uint64_t seed = 1;
  /// Of the machine whose index errors and motions these are, each place of an axis its own, where another
  /// survey of the very same machine is made up; absent: drawn anew, by `seed`.
  std::optional<std::uint64_t> axes_seed;
};

/// What the machine file states, or its defaults.
SurveyNoise stated_noise(const Machine& machine, std::uint64_t seed);

/// The sigmas of a machine whose file holds sigmas found from `dof` + 1 readings each: every true
/// variance is dof / chi2(dof) times what the file says, each drawn for itself.
SurveyNoise drawn_about(const SurveyNoise& stated, double dof);

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

/// From which side a simulated machine comes to its angles.
enum class Arrivals {
  one_side,  ///< always from below, as the probing cycle does
  by_order,  ///< straight from the angle before
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
                         const std::vector<StationTarget>& stations, const SurveyNoise& noise,
                         Arrivals arrivals = Arrivals::by_order);

/// `count` equator touches about machine Z, the first along `first_rad` from X, and a pole touch
/// from +Z when `pole` is set.
std::vector<TouchTarget> ball_pattern(int artefact, int count, double first_rad, bool pole);

/// `count` touches round a pin or bore at `along_mm`, evenly spread about its direction at the
/// station's angles and limited to directions within `half_angle_rad` of `facing` (machine frame).
std::vector<TouchTarget> round_pattern(const Machine& machine, int artefact,
                                       const RotaryAngles& angles_rad, int count, double along_mm,
                                       const Eigen::Vector3d& facing, double half_angle_rad);

}  // namespace pivotrace
