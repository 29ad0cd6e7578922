// Diagnoses of a fit: a code and its parameters. Their words are made in one place,
// report/finding_words.h, for every screen and file that shows them.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <variant>
#include <vector>

#include "pivotrace/results/refusal.h"

namespace pivotrace {

enum class Severity { note, warning, error };

enum class FindingCode {
  turn_sense_wrong,
  turn_sense_unproven,
  bad_touch,
  station_slipped,
  suspects_inseparable,
  too_many_bad_touches,
  approach_contradicts,
  drift_seen,
  stylus_offset_seen,
  lobing_seen,
  reversal_seen,
  linear_axes_two_lobed,
  artefact_moved,
  diameter_disagrees,
  scatter_larger_than_stated,
  unchecked_touches,
  arc_too_short,
  ball_near_axis,
  far_from_nominal,
  sigmas_assumed,
  weakly_determined,
};

namespace finding {

/// A station by its label and its angles, in the order of the machine.
struct StationName {
  std::string label;
  std::vector<std::pair<char, double>> angles_rad;
};

/// A touch, or a whole station where `touch` is absent.
struct SuspectName {
  std::optional<std::string> touch;
  StationName station;
};

/// What was probably typed wrong in a row of a hand-typed list.
struct TypingSlip {
  enum class Kind {
    swapped_coordinates,  ///< `coordinate` and `other`
    lost_sign,            ///< of `coordinate`
    one_digit,            ///< of `coordinate`, which reads `off_mm` too much
    one_coordinate,       ///< as one_digit, by no single digit
    other_angle,          ///< of `axis`: it agrees at `angle_rad` instead of `typed_rad`
  };
  Kind kind = Kind::one_coordinate;
  int coordinate = 0;  ///< 0..2: X, Y, Z
  int other = 0;
  double off_mm = 0.0;
  char axis = '?';
  double typed_rad = 0.0;
  double angle_rad = 0.0;
};

/// suspects that were left out: bad_touch, station_slipped
struct LeftOut {
  SuspectName who;
  double size_mm = 0.0;
  double limit_mm = 0.0;
  bool station_possible = false;  ///< the whole station may have slipped instead
  std::optional<TypingSlip> slip;
};
struct Inseparable {
  std::vector<SuspectName> suspects;
  double size_mm = 0.0;
  bool beyond_chance = false;
};
struct SenseUnproven {
  char axis = '?';
  bool other_is_better = false;  ///< not decisively
  double rms_as_stated_mm = 0.0;
  double rms_if_turned_mm = 0.0;
};
struct Contradiction {
  std::string touch;
  std::string artefact;
};
/// drift_seen, stylus_offset_seen, lobing_seen, reversal_seen
struct EffectSeen {
  double size = 0.0;     ///< in effect_unit()
  double level = 0.0;    ///< seen by chance no oftener than this
  bool counted = false;  ///< within the bound that every U95 counts
};
struct SlideErrors {
  std::vector<std::pair<EffectName, double>> sizes;  ///< squareness, scale [rad or mm/mm]
};
struct Moved {
  std::string artefact;
  double shift_mm = 0.0;
  StationName from;
};
struct Diameter {
  std::string artefact;
  double off_mm = 0.0;  ///< artefact and stylus together beyond what is stated
};
/// scatter_larger_than_stated: of everything, as a multiple
struct Scatter {
  double times_stated = 0.0;
  bool explained = false;  ///< a finding above makes scatter like this
};
/// scatter_larger_than_stated: of one group of random errors
struct ScatterOf {
  enum class Group { touches, stations };
  Group group = Group::touches;
  double found_mm = 0.0;
  double stated_mm = 0.0;
  bool explained = false;
};
struct Unchecked {
  int unchecked = 0;
  int touches = 0;
  std::string first;             ///< label of the first
  bool nothing_checked = false;  ///< as many unknowns as readings
};
struct ShortArc {
  char axis = '?';
};
struct NearAxis {
  char axis = '?';
  double distance_mm = 0.0;
};
/// far_from_nominal: the axis line passes this far from where the machine file says.
struct FarFromNominal {
  char axis = '?';
  double distance_mm = 0.0;
  /// Coordinates 0..2 of the stated centre that, swapped, would bring it near.
  std::optional<std::pair<int, int>> swapped;
};
/// Nothing to add to the code: too_many_bad_touches.
struct Plain {};
/// sigmas_assumed: what the machine file leaves out, by its key, and what stands in.
struct Assumed {
  std::string machine_class;
  std::vector<std::pair<std::string, double>> lengths_mm;
  std::vector<std::pair<std::string, double>> angles_rad;
};
/// In words, as a result file tells it.
struct AsWritten {
  std::string text;
  std::string advice;
};

using Details = std::variant<Plain, AsWritten, LeftOut, Inseparable, SenseUnproven, Contradiction,
                             EffectSeen, SlideErrors, Moved, Diameter, Scatter, ScatterOf,
                             Unchecked, ShortArc, NearAxis, FarFromNominal, Assumed, FitRefusal>;

}  // namespace finding

struct Finding {
  FindingCode code = FindingCode::sigmas_assumed;
  Severity severity = Severity::note;
  finding::Details details;
  bool inch = false;  ///< lengths are told in the unit of the machine file
};

/// "bad-touch", "drift-seen", ...: stable, lower-case words with hyphens.
std::string text_of(FindingCode code);
/// The way back from a result file; absent when the text is no code.
std::optional<FindingCode> finding_code_named(std::string_view text);

}  // namespace pivotrace
