#include "pivotrace/pivots/index_angles.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>
#include <iterator>
#include <optional>
#include <sstream>

#include "base/double_chars.h"
#include "base/number_text.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

tl::unexpected<Problems> bad_angles(const std::string& text) {
  return failure(
      {ProblemNumber::bad_argument,
       fmt::format("\"{}\" does not say at which angles", text),
       {},
       "write A=90, a list A=0,90,180 or a range with a step A=0..270/90, in degrees; two "
       "axes as A=90,C=45, several positions one after the other"});
}

std::optional<double> whole_number_text(const std::string& text) {
  const std::size_t skip = !text.empty() && text[0] == '+' ? 1 : 0;
  double value = 0.0;
  const char* end = text.data() + text.size();
  const auto [stop, fault] = double_from_chars(text.data() + skip, end, value);
  if (fault != std::errc() || stop != end || !std::isfinite(value)) return std::nullopt;
  return value;
}

std::optional<std::vector<double>> range_of(const std::string& text, std::size_t dots) {
  const std::size_t slash = text.find('/', dots);
  if (slash == std::string::npos) return std::nullopt;
  const auto first = whole_number_text(text.substr(0, dots));
  const auto last = whole_number_text(text.substr(dots + 2, slash - dots - 2));
  const auto step = whole_number_text(text.substr(slash + 1));
  if (!first || !last || !step || *step == 0.0) return std::nullopt;
  const double steps = (*last - *first) / *step;
  if (steps < 0.0 || steps > most_index_positions) return std::nullopt;
  std::vector<double> angles;
  // An end that is missed by round-off only is still included.
  const int count = static_cast<int>(std::floor(steps + 1e-9)) + 1;
  angles.reserve(static_cast<std::size_t>(count));
  for (int i = 0; i < count; ++i) angles.push_back(*first + i * *step);
  return angles;
}

std::optional<std::vector<double>> degrees_of(const std::string& text) {
  const std::size_t dots = text.find("..");
  if (dots != std::string::npos) return range_of(text, dots);
  std::vector<double> angles;
  std::istringstream parts(text);
  for (std::string part; std::getline(parts, part, ',');) {
    const auto angle = whole_number_text(part);
    if (!angle) return std::nullopt;
    angles.push_back(*angle);
  }
  if (angles.empty() || text.back() == ',') return std::nullopt;
  return angles;
}

int work_axis_index(const FitResult& result, char letter) {
  for (std::size_t i = 0; i < result.axes.size(); ++i) {
    if (result.axes[i].letter == letter && result.axes[i].side == AxisSide::work) {
      return static_cast<int>(i);
    }
  }
  return -1;
}

/// "A=0,90 C=45", "A=0,90,C=45": a comma before a letter and "=" parts axes as a blank does.
std::vector<std::string> axis_words(const std::string& text) {
  std::string parted = text;
  for (std::size_t i = 0; i + 2 < parted.size(); ++i) {
    const bool axis_follows =
        std::isalpha(static_cast<unsigned char>(parted[i + 1])) != 0 && parted[i + 2] == '=';
    if (parted[i] == ',' && axis_follows) parted[i] = ' ';
  }
  std::istringstream stream(parted);
  return {std::istream_iterator<std::string>(stream), std::istream_iterator<std::string>()};
}

/// Every position of `positions` at each of the angles of one axis.
std::vector<RotaryAngles> combined(const std::vector<RotaryAngles>& positions, int axis,
                                   const std::vector<double>& degrees) {
  std::vector<RotaryAngles> all;
  for (const RotaryAngles& position : positions) {
    for (const double degree : degrees) {
      all.push_back(position);
      all.back()[axis] = rad_from_deg(degree);
    }
  }
  return all;
}

/// The positions one text names.
Expected<std::vector<RotaryAngles>> positions_of(const FitResult& result, const std::string& text) {
  std::vector<RotaryAngles> positions(1);
  std::vector<bool> named(result.axes.size(), false);
  const std::vector<std::string> words = axis_words(text);
  if (words.empty()) return bad_angles(text);
  for (const std::string& word : words) {
    if (word.size() < 3 || word[1] != '=') return bad_angles(text);
    const int axis = work_axis_index(result, word[0]);
    if (axis < 0) {
      return failure({ProblemNumber::no_such_value,
                      fmt::format("this result has no work-side axis {}", word[0]),
                      {},
                      "name a rotary axis that carries the work"});
    }
    const auto degrees = degrees_of(word.substr(2));
    if (!degrees || named[axis]) return bad_angles(text);
    named[axis] = true;
    if (positions.size() * degrees->size() > most_index_positions) return bad_angles(text);
    positions = combined(positions, axis, *degrees);
  }
  return positions;
}

}  // namespace

Expected<std::vector<RotaryAngles>> index_angles(const FitResult& result,
                                                 const std::vector<std::string>& texts) {
  std::vector<RotaryAngles> positions;
  for (const std::string& text : texts) {
    const auto more = positions_of(result, text);
    if (!more) return more;
    if (positions.size() + more->size() > most_index_positions) return bad_angles(text);
    for (const RotaryAngles& position : *more) {
      const bool known = std::find(positions.begin(), positions.end(), position) != positions.end();
      if (!known) positions.push_back(position);
    }
  }
  return positions;
}

std::string angles_text(const FitResult& result, const RotaryAngles& angles_rad) {
  std::string text;
  for (std::size_t i = 0; i < result.axes.size() && i < angles_rad.size(); ++i) {
    if (result.axes[i].side != AxisSide::work) continue;
    text += fmt::format("{}{} {} deg", text.empty() ? "" : ", ", result.axes[i].letter,
                        fixed_text(deg_from_rad(angles_rad[i]), 3));
  }
  return text;
}

}  // namespace pivotrace
