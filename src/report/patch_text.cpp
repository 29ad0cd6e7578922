#include "pivotrace/report/patch_text.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/wrapped_text.h"
#include "pivots/amount_text.h"
#include "pivots/text_view.h"

namespace pivotrace {

namespace {

/// Control characters of a file must not reach a terminal.
std::string printable(const std::string& text) {
  std::string safe = text;
  for (char& c : safe) {
    const auto byte = static_cast<unsigned char>(c);
    if ((byte < 0x20 && c != '\t') || byte == 0x7F) c = '?';
  }
  return safe;
}

std::vector<std::string> lines_of(const std::string& bytes, const std::string& file) {
  std::vector<std::string> lines;
  const Expected<TextView> view = text_view(bytes, file);
  if (!view) return lines;
  for (const TextLine& line : view->lines) {
    lines.push_back(printable(view->text.substr(line.begin, line.end - line.begin)));
  }
  return lines;
}

}  // namespace

std::string patch_table(const PatchPlan& plan) {
  std::size_t widest = 5;
  std::size_t longest = 12;
  for (const Edit& edit : plan.edits) {
    widest = std::max(widest, text_of(edit.value).size());
    longest = std::max({longest, edit.old_text.size(), edit.new_text.size()});
  }
  std::string text = fmt::format("{}, result for machine \"{}\"\n", plan.target.path, plan.machine);
  text += fmt::format("{:>5}  {:<{}}  {:>{}}  {:>{}}  {:>20}  {:>18}\n", "line", "value", widest,
                      "old", longest, "new", longest, "change", "U95");
  for (const Edit& edit : plan.edits) {
    text += fmt::format("{:>5}  {:<{}}  {:>{}}  {:>{}}  {:>20}  {:>18}{}\n", edit.line,
                        text_of(edit.value), widest, edit.old_text, longest, edit.new_text, longest,
                        change_text(edit.quantity, edit.change, plan.unit),
                        U95_text(edit.quantity, edit.U95, plan.unit),
                        edit.within_U95() ? "  within its U95" : "");
  }
  for (const std::string& note : plan.notes) text += wrapped(note, "note: ", 6);
  return text + wrapped(coordinates_note, "note: ", 6);
}

std::string patch_diff(const PatchPlan& plan) {
  constexpr std::size_t context = 3;
  const std::vector<std::string> before = lines_of(plan.target.bytes, plan.target.path);
  const std::vector<std::string> after = lines_of(plan.new_bytes, plan.target.path);
  if (before.size() != after.size()) return "";
  std::vector<std::size_t> changed;
  for (std::size_t i = 0; i < before.size(); ++i) {
    if (before[i] != after[i]) changed.push_back(i);
  }
  if (changed.empty()) return "";
  std::string text =
      fmt::format("--- {} (old)\n+++ {} (new)\n", plan.target.path, plan.target.path);
  for (std::size_t k = 0; k < changed.size();) {
    std::size_t last = k;
    while (last + 1 < changed.size() && changed[last + 1] - changed[last] <= 2 * context) ++last;
    const std::size_t begin = changed[k] > context ? changed[k] - context : 0;
    const std::size_t end = std::min(before.size(), changed[last] + context + 1);
    text += fmt::format("@@ -{},{} +{},{} @@\n", begin + 1, end - begin, begin + 1, end - begin);
    for (std::size_t i = begin; i < end;) {
      if (before[i] == after[i]) {
        text += " " + before[i++] + "\n";
        continue;
      }
      std::size_t run = i;
      while (run < end && before[run] != after[run]) ++run;
      for (std::size_t j = i; j < run; ++j) text += "-" + before[j] + "\n";
      for (std::size_t j = i; j < run; ++j) text += "+" + after[j] + "\n";
      i = run;
    }
    k = last + 1;
  }
  return text;
}

std::string verification_table(const Verification& verification) {
  std::string text = fmt::format("{:<24}  {:>20}  {:>20}\n", "value", "result", "read back");
  for (const HomeComparison& row : verification.rows) {
    text += fmt::format("{:<24}  {:>20}  {:>20}  {:<9}  {}:{}\n", text_of(row.home.value),
                        amount_text(row.home.quantity, row.expected, verification.unit),
                        amount_text(row.home.quantity, row.home.physical, verification.unit),
                        row.agrees ? "agrees" : "DISAGREES", row.home.file, row.home.line);
  }
  return text;
}

}  // namespace pivotrace
