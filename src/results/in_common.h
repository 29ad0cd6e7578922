// What two surveys of one machine share, by the conditions and places their results state.
#pragma once

#include <set>
#include <string>
#include <vector>

#include "pivotrace/results/compare.h"

namespace pivotrace {

/// Positions whose middles are this close are one place: a bow of 2 um over 150 mm then differs by less
/// than 0.3 um (its slope times the distance).
inline constexpr double same_place_mm = 10.0;

/// An error is the same in both surveys only where both results say enough to know it; what nobody states
/// counts as different.
struct InCommon {
  bool probe = false;     ///< the same probe and stylus, not calibrated in between
  bool slides = false;    ///< scale, squareness: the machine as it was, its tables not switched
  bool place = false;     ///< the positions shown lie about one middle: bows act alike
  bool indexing = false;  ///< index errors and motions where the angles are the same
  std::set<char> other_couplings;   ///< letters of axes of which that is not so
  std::set<std::string> artefacts;  ///< names of those that are the very same

  bool holds(const SharedTerm& term) const;
};
InCommon in_common(const FitResult& old_result, const FitResult& new_result);

/// The two terms are of one error.
bool same_term(const SharedTerm& a, const SharedTerm& b);

/// What the conditions say, as notes for the reader.
std::vector<CompareNote> notes_on_conditions(const Conditions& before, const Conditions& after);

/// Compensation on beside off, or on and written anew in between: centres are not the same quantity then.
bool other_tables(const Conditions& before, const Conditions& after);
/// Conditions under which surveys cannot be compared.
Problems refused_conditions(const Conditions& before, const Conditions& after);

/// How many times as much a shift of all axes may be: a machine loaded or warmed up otherwise has moved
/// further than two surveys made alike.
double times_between_surveys(const Conditions& before, const Conditions& after);

/// Components of an effect whose length is limited together: 1 where each is limited by itself.
int components_of_length(EffectKind kind);

}  // namespace pivotrace
