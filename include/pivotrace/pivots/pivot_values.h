// The named numbers a post, an offset table or a control needs, taken from one fit result.
// Names are those of the trade and of ISO 230-1; every one carries a one-line meaning.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/base/length.h"
#include "pivotrace/base/problem.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

/// One number with a name that a mapping file can ask for.
struct PivotValue {
  ValueName name;
  std::string meaning;  ///< one line, for people
  QuantityKind quantity = QuantityKind::length;
  double value = not_run;           ///< mm, rad or mm per 300 mm
  double U95 = not_run;             ///< absolute (probe, diameters, scale included); same unit
  double U95_repeatable = not_run;  ///< enough to compare two surveys of one set-up
};

/// Problems P501 for a result that must not be written: every finding of severity error, or one
/// general problem. Empty when the result is usable.
Problems reasons_not_to_write(const FitResult& result);

/// Every pivot value of a usable result: only what was estimated and has an uncertainty. An axis
/// that was never turned has none. Refused with P501 when the result is not usable.
Expected<std::vector<PivotValue>> pivot_values(const FitResult& result);

/// The value asked for, or P508 with the nearest names there are.
Expected<PivotValue> find_pivot_value(const std::vector<PivotValue>& values,
                                      const AskedValue& asked);

/// Units a value is shown in: mm or inch, and degrees.
enum class LengthUnit { mm, inch };

/// The units of the machine file a result was made with: what people read about it is in them.
LengthUnit unit_of(const FitResult& result);

/// An amount in the shown unit: lengths in mm or inch, slopes over 300 mm or 12 inch, angles in degrees.
double shown_value(QuantityKind quantity, double amount, LengthUnit unit);
/// Unit word for screens and tables: "mm", "inch", "deg", "mm/300mm", "inch/12inch".
std::string unit_word(QuantityKind quantity, LengthUnit unit);

/// Decimals that lose nothing a machine can place: 1e-5 mm, 1e-6 inch, 1e-6 deg.
int shown_decimals(QuantityKind quantity, LengthUnit unit);

/// Stands wherever values leave the program: a post that counts Z to something else is off by it.
inline constexpr const char* coordinates_note =
    "Centres are machine coordinates as this control showed them while probing: Z to the centre of "
    "the stylus ball, or to its lowest point where length_datum says tip. Those of an axis that "
    "carries the tool count from the position shown.";

}  // namespace pivotrace
