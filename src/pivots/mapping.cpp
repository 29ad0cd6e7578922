#include "pivotrace/pivots/mapping.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/double_chars.h"
#include "base/number_text.h"
#include "pivotrace/geometry/angle.h"
#include "pivots/line_pattern.h"

namespace pivotrace {

namespace {

constexpr int most_decimals = 9;
/// Longer lists of numbers after one key are a slip of the keyboard.
constexpr int most_counted = 1000;

class EntryProblems {
 public:
  EntryProblems(const MappingEntry& entry, Problems& problems)
      : entry_(entry), problems_(problems) {}
  void require(bool good, const std::string& what, const std::string& advice) {
    if (good) return;
    problems_.push_back({ProblemNumber::bad_mapping,
                         fmt::format("entry for \"{}\": {}", entry_.value.written, what),
                         entry_.where, advice});
  }

 private:
  const MappingEntry& entry_;
  Problems& problems_;
};

void check_finder(EntryProblems& check, const MappingEntry& entry) {
  check.require(!(entry.key && entry.pattern), "both a key and a pattern", "use one of them");
  check.require(entry.key || entry.pattern || entry.line, "nothing says where the number stands",
                "give key, pattern or line");
  check.require(!entry.key || !entry.key->empty(), "the key is empty",
                "write the text that stands before the number");
  check.require(!entry.number || entry.key, "a number is counted, but not after which key",
                "give the key it stands after");
  check.require(!entry.number || (*entry.number >= 1 && *entry.number <= most_counted),
                "there is no such number", fmt::format("numbers count from 1 to {}", most_counted));
  check.require(!entry.line || *entry.line >= 1, "there is no such line", "lines count from 1");
  if (entry.pattern) {
    const std::string fault = LinePattern(*entry.pattern).fault();
    check.require(fault.empty(), fault,
                  "put one pair of round brackets about the number; (?:...) groups without "
                  "capturing; looking ahead or back and repeating a capture are not possible");
  }
}

void check_number(EntryProblems& check, const MappingEntry& entry) {
  check.require(entry.sign == 1.0 || entry.sign == -1.0, "the sign is neither 1 nor -1",
                "use 1 or -1");
  check.require(std::isfinite(entry.scale) && entry.scale > 0.0, "the scale is not above 0",
                "use sign = -1 to turn a number round");
  check.require(std::isfinite(entry.reference), "the reference is not a number", "");
  check.require(entry.reference_unit == FileUnit::automatic || !entry.reference_value,
                "a reference value with a unit",
                "a value knows its unit: leave reference_unit out");
  check.require(!entry.reference_value || entry.reference == 0.0,
                "both a reference number and a reference value", "use one of them");
  check.require(entry.format.decimals >= 0 && entry.format.decimals <= most_decimals,
                "decimals out of range", fmt::format("use 0 to {}", most_decimals));
  const char mark = entry.format.decimal_mark.value_or('.');
  check.require(mark == '.' || mark == ',', "the decimal mark is neither point nor comma",
                "use \".\" or \",\"");
  check.require(!entry.largest_change || *entry.largest_change > 0.0,
                "largest_change is not above 0", "");
}

FileUnit unit_for(QuantityKind quantity, FileUnit unit) {
  if (unit != FileUnit::automatic) return unit;
  switch (quantity) {
    case QuantityKind::length: return FileUnit::mm;
    case QuantityKind::angle: return FileUnit::deg;
    case QuantityKind::slope: return FileUnit::mm_per_300;
  }
  return FileUnit::mm;
}

/// File units per mm, rad or mm/300 mm; NaN when the unit does not suit the kind of value.
double units_per_physical(QuantityKind quantity, FileUnit unit) {
  switch (unit_for(quantity, unit)) {
    case FileUnit::mm: return quantity == QuantityKind::length ? 1.0 : not_run;
    case FileUnit::inch: return quantity == QuantityKind::length ? 1.0 / mm_per_inch : not_run;
    case FileUnit::deg: return quantity == QuantityKind::angle ? deg_from_rad(1.0) : not_run;
    case FileUnit::rad: return quantity == QuantityKind::angle ? 1.0 : not_run;
    case FileUnit::arcsec: return quantity == QuantityKind::angle ? arcsec_from_rad(1.0) : not_run;
    case FileUnit::mm_per_300: return quantity == QuantityKind::slope ? 1.0 : not_run;
    case FileUnit::mm_per_m: return quantity == QuantityKind::slope ? 1000.0 / 300.0 : not_run;
    case FileUnit::automatic: return not_run;
  }
  return not_run;
}

/// The value, what is subtracted from it, and the factor to the unit of the file.
struct Terms {
  PivotValue value;
  double reference = 0.0;  ///< mm, rad or mm/300 mm
  double U95 = not_run;    ///< of the difference; mm, rad or mm/300 mm
  double factor = 1.0;
};

tl::unexpected<Problems> located(Problems problems, const MappingEntry& entry) {
  for (Problem& problem : problems) problem.where = entry.where;
  return tl::make_unexpected(std::move(problems));
}

/// Variances and covariance of two values in the joint covariance, absolute; nothing where the
/// result does not tell all three.
std::optional<double> difference_variance(const JointCovariance& joint, const PivotValue& value,
                                          const PivotValue& other) {
  const auto place = [&](const PivotValue& sought) {
    return std::find(joint.names.begin(), joint.names.end(), sought.name) - joint.names.begin();
  };
  const Eigen::Index first = place(value);
  const Eigen::Index second = place(other);
  const Eigen::Index size = std::min<Eigen::Index>(joint.absolute.rows(), joint.absolute.cols());
  if (std::max(first, second) >= size) return std::nullopt;
  return joint.absolute(first, first) + joint.absolute(second, second) -
         2.0 * joint.absolute(first, second);
}

double coverage_of(const JointCovariance& joint, const PivotValue& value) {
  const auto place = std::find(joint.names.begin(), joint.names.end(), value.name);
  const Eigen::Index i = place - joint.names.begin();
  return value.U95 / std::sqrt(joint.absolute(i, i));
}

/// U95 of value minus other, the larger of both coverage factors. Without a covariance the sum of
/// both: never too small, whatever their correlation.
double difference_U95(const JointCovariance& joint, const PivotValue& value,
                      const PivotValue& other) {
  const double sum = value.U95 + other.U95;
  const auto variance = difference_variance(joint, value, other);
  if (!variance) return sum;
  const double factor = std::max(coverage_of(joint, value), coverage_of(joint, other));
  const double U95 = factor * std::sqrt(std::max(0.0, *variance));
  return std::isfinite(U95) ? std::min(U95, sum) : sum;
}

tl::unexpected<Problems> unit_does_not_suit(const MappingEntry& entry, const char* which) {
  return failure(
      {ProblemNumber::bad_mapping,
       fmt::format("entry for \"{}\": the {} does not suit this value", entry.value.written, which),
       entry.where, "lengths: mm, inch; angles: deg, rad, arcsec; slopes: mm_per_300, mm_per_m"});
}

Expected<Terms> terms_of(const std::vector<PivotValue>& values, const MappingEntry& entry,
                         const JointCovariance& joint) {
  const Expected<PivotValue> value = find_pivot_value(values, entry.value);
  if (!value) return located(value.error(), entry);
  Terms terms;
  terms.value = *value;
  terms.factor = units_per_physical(value->quantity, entry.unit);
  if (std::isnan(terms.factor)) return unit_does_not_suit(entry, "unit");
  const bool own_unit = entry.reference_unit != FileUnit::automatic;
  const double reference_factor =
      own_unit ? units_per_physical(value->quantity, entry.reference_unit) : terms.factor;
  if (std::isnan(reference_factor)) return unit_does_not_suit(entry, "reference_unit");
  terms.reference = entry.reference / reference_factor;
  terms.U95 = value->U95;
  if (!entry.reference_value) return terms;
  const Expected<PivotValue> other = find_pivot_value(values, *entry.reference_value);
  if (!other) return located(other.error(), entry);
  if (other->quantity != value->quantity) {
    return failure({ProblemNumber::bad_mapping,
                    fmt::format("\"{}\" and its reference \"{}\" are not of one kind",
                                entry.value.written, entry.reference_value->written),
                    entry.where, "subtract lengths from lengths and angles from angles"});
  }
  terms.reference = other->value;
  terms.U95 = difference_U95(joint, *value, *other);
  return terms;
}

}  // namespace

Problems Mapping::validate() const {
  Problems problems;
  if (entries.empty()) {
    problems.push_back({ProblemNumber::bad_mapping,
                        "this mapping has no entries",
                        {file, 0, 0},
                        "add an [[entry]] for each number to write"});
  }
  for (const MappingEntry& entry : entries) {
    EntryProblems check(entry, problems);
    check.require(!entry.value.written.empty(), "no value is named",
                  "value = \"A.centre.Y\", for example");
    check_finder(check, entry);
    check_number(check, entry);
  }
  return problems;
}

Expected<MappedValue> mapped_value(const std::vector<PivotValue>& values, const MappingEntry& entry,
                                   const JointCovariance& joint) {
  const Expected<Terms> terms = terms_of(values, entry, joint);
  if (!terms) return tl::make_unexpected(terms.error());
  MappedValue mapped;
  mapped.written =
      entry.sign * entry.scale * terms->factor * (terms->value.value - terms->reference);
  mapped.U95_physical = terms->U95;
  return mapped;
}

Expected<double> physical_value(const std::vector<PivotValue>& values, const MappingEntry& entry,
                                double written) {
  const Expected<Terms> terms = terms_of(values, entry, {});
  if (!terms) return tl::make_unexpected(terms.error());
  return written / (entry.sign * entry.scale * terms->factor) + terms->reference;
}

std::string spelled(double written, const NumberFormat& format) {
  std::string text = format.plus_sign ? signed_text(written, format.decimals)
                                      : fixed_text(written, format.decimals);
  std::replace(text.begin(), text.end(), '.', format.decimal_mark.value_or('.'));
  return text;
}

Expected<double> parse_number(const std::string& text, const NumberFormat& format) {
  std::string plain = text;
  while (!plain.empty() && (plain.front() == ' ' || plain.front() == '\t')) plain.erase(0, 1);
  const char mark = format.decimal_mark.value_or('.');
  const char other = mark == '.' ? ',' : '.';
  const bool has_other = plain.find(other) != std::string::npos;
  std::replace(plain.begin(), plain.end(), mark, '.');
  if (!plain.empty() && plain.front() == '+') plain.erase(0, 1);
  double value = 0.0;
  const auto [end, fault] = double_from_chars(plain.data(), plain.data() + plain.size(), value);
  if (has_other || fault != std::errc() || end != plain.data() + plain.size() ||
      !std::isfinite(value)) {
    return failure({has_other ? ProblemNumber::ambiguous_number : ProblemNumber::wrong_type,
                    fmt::format("\"{}\" is not a number with the decimal mark \"{}\"", text, mark),
                    {},
                    "the capture must take in the number and nothing else; decimal_mark in the "
                    "mapping says point or comma"});
  }
  return value;
}

}  // namespace pivotrace
