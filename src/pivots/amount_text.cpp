#include "pivots/amount_text.h"

#include "base/number_text.h"

namespace pivotrace {

namespace {

double shown(QuantityKind quantity, double amount) {
  return shown_value(quantity, amount, LengthUnit::mm);
}

int decimals(QuantityKind quantity) { return shown_decimals(quantity, LengthUnit::mm); }

std::string with_unit(const std::string& number, QuantityKind quantity) {
  return number + " " + unit_word(quantity, LengthUnit::mm);
}

}  // namespace

std::string amount_text(QuantityKind quantity, double amount) {
  return with_unit(fixed_text(shown(quantity, amount), decimals(quantity)), quantity);
}

std::string change_text(QuantityKind quantity, double change) {
  return with_unit(signed_text(shown(quantity, change), decimals(quantity)), quantity);
}

std::string U95_text(QuantityKind quantity, double U95) {
  return with_unit(uncertainty_text(shown(quantity, U95), decimals(quantity)), quantity);
}

}  // namespace pivotrace
