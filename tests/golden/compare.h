// What counts as "the same" in the golden run: words exactly, numbers to 1e-9 (`number_tolerance`).
//
// A number is digits with an optional sign, decimal point and exponent, also inside a word: `X-12.345`,
// `#101`, `1e-05`. Two numbers are the same when
//   - they are spelled the same, or
//   - they are zero and differ in the sign only (`-0.0000` and `0.0000`), or
//   - their values differ, by no more than 1e-9 max(1, |old|), and one of them at least has a point or
//     an exponent. Whole numbers are counts, line numbers and codes: they must be equal.
// The same value spelled otherwise (`1.50` and `1.5`, `007` and `7`) is a changed word: a user sees it.
// Everything else is a word, `nan` and `inf` as well, and blanks count.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace pivotrace::golden {

/// Largest difference of two numbers that count as the same, relative to max(1, |old|).
inline constexpr double number_tolerance = 1e-9;

/// The same beside a build with another solver than the one that wrote the texts (Ceres): there the fit
/// ends up to 1e-9 mm elsewhere, and what is stated in sigmas of a micrometre up to 1e-6.
inline constexpr double other_solver_tolerance = 1e-6;

/// Why two lines are not the same, in words; nothing when they are.
std::optional<std::string> line_difference(std::string_view old_line, std::string_view new_line,
                                           double tolerance = number_tolerance);

/// One line that changed, went or came.
struct LineChange {
  std::size_t old_number = 0;  ///< its line in the old text, counted from 1; 0 = it came
  std::size_t new_number = 0;  ///< its line in the new text, counted from 1; 0 = it went
  std::string old_line;
  std::string new_line;
  std::string why;
};

/// What changed from one text to the other, in order; empty when they are the same. Lines that came or
/// went are found as such, so that one of them does not make all later lines differ.
std::vector<LineChange> compare_texts(const std::string& old_text, const std::string& new_text,
                                      double tolerance = number_tolerance);

/// The changes as people read them: the first `most`, and how many more there are.
std::string describe(const std::vector<LineChange>& changes, std::size_t most);

}  // namespace pivotrace::golden
