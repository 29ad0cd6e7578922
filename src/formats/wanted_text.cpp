#include "pivotrace/formats/wanted_text.h"

#include <fmt/format.h>

#include <array>
#include <string>

#include "base/number_text.h"
#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

struct SizeUnit {
  std::string_view word;
  bool is_angle;
  double size;  ///< mm or rad
};

const std::array<SizeUnit, 5> size_units = {{{"arcsec", true, rad_from_arcsec(1.0)},
                                             {"deg", true, rad_from_deg(1.0)},
                                             {"um", false, 1e-3},
                                             {"mm", false, 1.0},
                                             {"in", false, mm_per_inch}}};

struct Size {
  double value = 0.0;
  bool is_angle = false;
};

std::optional<Size> size_of(std::string_view text) {
  for (const SizeUnit& unit : size_units) {
    if (!text.ends_with(unit.word)) continue;
    const NumberReading number = read_number(text.substr(0, text.size() - unit.word.size()));
    if (number.fault != NumberFault::none || !(number.value > 0.0)) return std::nullopt;
    return Size{number.value * unit.size, unit.is_angle};
  }
  return std::nullopt;
}

Problem not_a_size(std::string_view item) {
  return {ProblemNumber::bad_argument,
          fmt::format("'{}' does not say what is wanted", item),
          {},
          "give a U95 with its unit, 3um or 5arcsec, or one for each value: "
          "A.centre.Z=2um,A.orientation.B=5arcsec"};
}

std::optional<Problem> add_item(std::string_view item, WantedText& wanted) {
  const std::size_t equals = item.find('=');
  const std::optional<Size> size =
      size_of(equals == std::string_view::npos ? item : item.substr(equals + 1));
  if (!size) return not_a_size(item);
  if (equals == std::string_view::npos) {
    (size->is_angle ? wanted.angle_rad : wanted.length_mm) = size->value;
    return std::nullopt;
  }
  const std::optional<ValueName> name = value_named(item.substr(0, equals));
  const bool planned =
      name && (name->kind == ValueKind::centre || name->kind == ValueKind::orientation);
  if (!planned || is_angle(*name) != size->is_angle) return not_a_size(item);
  wanted.values.push_back({*name, size->value});
  return std::nullopt;
}

}  // namespace

Expected<WantedText> parse_wanted(std::string_view text) {
  WantedText wanted;
  Problems problems;
  while (true) {
    const std::size_t comma = text.find(',');
    if (const auto problem = add_item(text.substr(0, comma), wanted)) problems.push_back(*problem);
    if (comma == std::string_view::npos) break;
    text.remove_prefix(comma + 1);
  }
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  return wanted;
}

Expected<double> parse_length_mm(std::string_view text) {
  const std::optional<Size> size = size_of(text);
  if (!size || size->is_angle) return failure(not_a_size(text));
  return size->value;
}

}  // namespace pivotrace
