// Values and their small changes in the units people read them in.
#pragma once

#include <string>

#include "pivotrace/pivots/pivot_values.h"
#include "pivotrace/results/value_name.h"

namespace pivotrace::report {

/// Lengths in mm and um, or inch and ten-thousandths of an inch; leans over 300 mm, or over 12 inch.
class ChangeColumns {
 public:
  explicit ChangeColumns(LengthUnit unit) : inch_(unit == LengthUnit::inch) {}

  std::string value(const ValueName& name, double mm_or_rad) const;
  /// With its sign, one decimal.
  std::string change(const ValueName& name, double mm_or_rad) const;
  std::string size(const ValueName& name, double mm_or_rad) const;
  double in_change_unit(const ValueName& name, double mm_or_rad) const;
  const char* value_unit(const ValueName& name) const;
  const char* change_unit(const ValueName& name) const;

  /// "1100.0 mm": where something is, not how much it changed.
  std::string place(double mm) const;
  /// "46.0 um", "18.1 tenths".
  std::string small(double mm) const;
  std::string signed_small(double mm) const;

 private:
  double in_value_unit(const ValueName& name, double mm_or_rad) const;

  bool inch_;
};

}  // namespace pivotrace::report
