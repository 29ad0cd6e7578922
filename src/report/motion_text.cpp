#include "report/motion_text.h"

#include <fmt/format.h>

#include "pivotrace/report/comparison_text.h"

namespace pivotrace::report {

namespace {

constexpr const char* letters[] = {"X", "Y", "Z"};

/// "X +66.6, Z +70.4": what is seen of three numbers.
template <typename Written>
std::string seen_parts(const Explanation& line, std::size_t first, const char* before,
                       const Written& written) {
  std::string text;
  for (std::size_t k = 0; k < 3; ++k) {
    if (!line.seen[first + k]) continue;
    text += (text.empty() ? "" : ", ") + std::string(before) + letters[k] + " " +
            written(static_cast<Eigen::Index>(k));
  }
  return text;
}

std::string unseen_along(const Explanation& line) {
  std::string text;
  for (std::size_t k = 0; k < 3; ++k) {
    if (!line.seen[k]) text += (text.empty() ? "" : " and ") + std::string(letters[k]);
  }
  return text.empty() ? "" : " (along " + text + " nothing is seen)";
}

}  // namespace

std::string shift_text(const Explanation& line, const ChangeColumns& columns) {
  const Cause cause = line.what.front().cause;
  if (cause == Cause::several || cause == Cause::axis_zero) return "";
  const std::string parts = seen_parts(
      line, 0, "", [&](Eigen::Index k) { return columns.signed_small(line.size.shift_mm[k]); });
  if (parts.empty()) return "";
  return fmt::format("Shifted by {}: {}{}.", columns.small(line.size.shift_mm.norm()), parts,
                     unseen_along(line));
}

std::string turn_text(const Explanation& line, const ChangeColumns& columns) {
  if (!line.turned || line.what.front().cause == Cause::several) return "";
  const ValueName lean = axis_value('?', ValueKind::lean);
  const std::string parts = seen_parts(line, 3, "about ", [&](Eigen::Index k) {
    return columns.change(lean, line.size.turn_rad[k]);
  });
  return fmt::format("Turned {} {}, at X {} Y {} Z {}.", parts, columns.change_unit(lean),
                     columns.place(line.size.about_mm.x()), columns.place(line.size.about_mm.y()),
                     columns.place(line.size.about_mm.z()));
}

std::string causes_text(const Explanation& line) {
  std::string text;
  for (const CauseName& cause : line.what)
    text += (text.empty() ? "" : ", or ") + cause_text(cause);
  return text;
}

std::string percent_text(double probability) {
  if (probability > 0.999) return "more than 99.9 %";
  return fmt::format("{:.1f} %", 100.0 * probability);
}

std::string chance_text(double probability) {
  constexpr double one_in_a_million = 1e-6;
  if (probability < one_in_a_million) return "less than once in a million checks";
  return fmt::format("once in {:.0f} checks", 1.0 / probability);
}

}  // namespace pivotrace::report
