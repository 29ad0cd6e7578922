#include "report/change_columns.h"

#include "base/number_text.h"
#include "pivotrace/base/length.h"

namespace pivotrace::report {

namespace {

/// Length a lean is quoted over: common practice, no source.
constexpr double quoted_length_mm = 300.0;
constexpr double quoted_length_inch = 12.0;
constexpr double um_per_mm = 1e3;
constexpr double tenths_per_inch = 1e4;

}  // namespace

// Leans are small: tan x = x to 1e-7 mm over 300 mm below 0.05 deg.
double ChangeColumns::in_value_unit(const ValueName& name, double mm_or_rad) const {
  if (is_angle(name)) return mm_or_rad * (inch_ ? quoted_length_inch : quoted_length_mm);
  return inch_ ? mm_or_rad / mm_per_inch : mm_or_rad;
}

double ChangeColumns::in_change_unit(const ValueName& name, double mm_or_rad) const {
  return in_value_unit(name, mm_or_rad) * (inch_ ? tenths_per_inch : um_per_mm);
}

std::string ChangeColumns::value(const ValueName& name, double mm_or_rad) const {
  return fixed_text(in_value_unit(name, mm_or_rad), inch_ ? 5 : 4);
}

std::string ChangeColumns::change(const ValueName& name, double mm_or_rad) const {
  return signed_text(in_change_unit(name, mm_or_rad), 1);
}

std::string ChangeColumns::size(const ValueName& name, double mm_or_rad) const {
  return fixed_text(in_change_unit(name, mm_or_rad), 1);
}

const char* ChangeColumns::value_unit(const ValueName& name) const {
  if (is_angle(name)) return inch_ ? "in/12in" : "mm/300mm";
  return inch_ ? "in" : "mm";
}

const char* ChangeColumns::change_unit(const ValueName& name) const {
  if (is_angle(name)) return inch_ ? "tenths/12in" : "um/300mm";
  return inch_ ? "tenths" : "um";
}

std::string ChangeColumns::place(double mm) const {
  return inch_ ? fixed_text(mm / mm_per_inch, 2) + " in" : fixed_text(mm, 1) + " mm";
}

std::string ChangeColumns::small(double mm) const {
  return inch_ ? fixed_text(mm / mm_per_inch * tenths_per_inch, 1) + " tenths"
               : fixed_text(mm * um_per_mm, 1) + " um";
}

std::string ChangeColumns::signed_small(double mm) const {
  return inch_ ? signed_text(mm / mm_per_inch * tenths_per_inch, 1)
               : signed_text(mm * um_per_mm, 1);
}

}  // namespace pivotrace::report
