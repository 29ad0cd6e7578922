// An amount of a pivot value in words, as messages about patches and tables say it.
#pragma once

#include <string>

#include "pivotrace/pivots/pivot_values.h"

namespace pivotrace {

/// "-200.01230 mm", "0.012000 deg"; the amount in mm, rad or mm over 300 mm.
std::string amount_text(QuantityKind quantity, double amount, LengthUnit unit);
/// The same with its sign even when positive.
std::string change_text(QuantityKind quantity, double change, LengthUnit unit);
/// Rounded up, never to less than it is.
std::string U95_text(QuantityKind quantity, double U95, LengthUnit unit);

}  // namespace pivotrace
