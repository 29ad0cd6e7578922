// How to move a rotary unit on the machine table so that its axis no longer leans.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

/// A place the unit stands on. Machine coordinates, rotary axes at 0.
struct Foot {
  std::string name;
  Eigen::Vector3d at_mm = Eigen::Vector3d::Zero();
  bool fixed = false;  ///< nothing goes under this one: the others turn about it
  Place where;
};

/// A key between unit and table slot: it stops the unit from turning on the table.
struct Key {
  std::string name;
  Eigen::Vector3d at_mm = Eigen::Vector3d::Zero();
  double clearance_mm = 0.0;  ///< sideways play in the slot
};

/// Thicknesses most shops have, mm: common practice, no source.
const std::vector<double>& usual_shims_mm();

/// How the unit is fastened.
struct Mounting {
  std::string machine;                                      ///< empty = any
  Eigen::Vector3d table_normal = Eigen::Vector3d::UnitZ();  ///< out of the table the unit stands on
  std::vector<Foot> feet;
  std::vector<Key> keys;
  std::optional<Eigen::Vector3d> tailstock_mm;  ///< its centre as it stands now
  std::vector<double> shims_mm;                 ///< at hand; empty = usual_shims_mm()
  int most_shims = 3;                           ///< pieces under one foot
  double part_reach_mm = 150.0;                 ///< how far parts reach from the quoted plane
  double mismatch_mm = 0.01;  ///< step between features half a turn apart that can be borne
  std::string file;

  Problems validate() const;
};

struct FootAdvice {
  std::string name;
  double exact_mm = 0.0;  ///< thickness that would take the whole lean out
  double shim_mm = 0.0;   ///< what to lay under it, made of `pieces_mm`
  std::vector<double> pieces_mm;
};

struct TapAdvice {
  std::string about;       ///< the key or foot to turn about
  std::string at;          ///< the foot to tap and to watch with an indicator
  double amount_mm = 0.0;  ///< travel of the indicator there, never negative
  Eigen::Vector3d towards = Eigen::Vector3d::Zero();  ///< unit, machine frame
  double turn_rad = 0.0;                              ///< right-handed about the table normal
  Eigen::Vector3d pivot_mm = Eigen::Vector3d::Zero();
};

/// Something to know before shimming.
struct ShimNote {
  enum class Kind {
    lean_stays,       ///< the feet, as fixed as they are, cannot take the whole lean out
    foot_too_high,    ///< `foot` would have to come down by `amount_mm`, which no shim does
    held_by_keys,     ///< `keys` keys hold the unit and do not let it turn that far
    carried_by_axis,  ///< axis `axis` carries this one: shims move both
    carries_axis,     ///< axis `axis` rides on this one and moves with it
  };
  Kind kind = Kind::lean_stays;
  std::string foot;
  double amount_mm = 0.0;
  std::size_t keys = 0;
  char axis = '\0';
};

struct ShimAdvice {
  char letter = '?';
  double lean_rad = 0.0;
  double lean_U95_rad = 0.0;
  bool nothing_to_gain = false;   ///< the lean is within its U95
  bool offset_is_enough = false;  ///< what a work offset leaves in the part can be borne
  double left_by_offset_mm =
      0.0;  ///< step half a turn apart at part_reach when only the offset is set
  std::vector<FootAdvice> feet;
  std::optional<TapAdvice> tap;
  double lean_expected_rad = 0.0;  ///< after taps and the shims at hand
  double rock_mm = 0.0;            ///< gap left under one foot because shims come in steps
  Eigen::Vector3d centre_shift_mm = Eigen::Vector3d::Zero();  ///< of the centre, to be expected
  std::optional<Eigen::Vector3d> tailstock_shift_mm;          ///< onto the aligned axis line
  std::vector<ShimNote> notes;
};

/// The turn that brings the fitted direction u to the nominal n is w = u x n (axis times angle).
/// Its part along the table normal m is done by tapping, the rest by shims: a foot at r rises by
/// (w x r) . m. Rounded to sums of the shims at hand so that the lean left over is smallest.
/// Fails: unusable result P501, axis not on the work side or not measured P508, feet that cannot be
/// used P105, another machine P114.
Expected<ShimAdvice> shim_advice(const FitResult& result, const Mounting& mounting,
                                 std::optional<char> axis = std::nullopt);

}  // namespace pivotrace
