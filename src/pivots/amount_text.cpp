#include "pivots/amount_text.h"

#include "base/number_text.h"

namespace pivotrace {

namespace {

std::string with_unit(const std::string& number, QuantityKind quantity, LengthUnit unit) {
  return number + " " + unit_word(quantity, unit);
}

}  // namespace

std::string amount_text(QuantityKind quantity, double amount, LengthUnit unit) {
  const double shown = shown_value(quantity, amount, unit);
  return with_unit(fixed_text(shown, shown_decimals(quantity, unit)), quantity, unit);
}

std::string change_text(QuantityKind quantity, double change, LengthUnit unit) {
  const double shown = shown_value(quantity, change, unit);
  return with_unit(signed_text(shown, shown_decimals(quantity, unit)), quantity, unit);
}

std::string U95_text(QuantityKind quantity, double U95, LengthUnit unit) {
  const double shown = shown_value(quantity, U95, unit);
  return with_unit(uncertainty_text(shown, shown_decimals(quantity, unit)), quantity, unit);
}

}  // namespace pivotrace
