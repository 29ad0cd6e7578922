#include "control/program_text.h"

#include <fmt/format.h>

#include <algorithm>

namespace pivotrace::control {

namespace {

/// Widest remark: common practice, no source (screens of controls show about this much).
constexpr int widest_remark = 76;
/// Room kept in a line for its number and the mark at its end.
constexpr int room_for_frame = 8;

}  // namespace

void ProgramText::refuse(const std::string& what, const std::string& advice) {
  const bool said = std::any_of(problems_.begin(), problems_.end(), [&](const Problem& problem) {
    return problem.what.ends_with(what);
  });
  if (said) return;
  problems_.push_back({ProblemNumber::cannot_spell,
                       "the control sheet `" + sheet_.name + "` " + what,
                       {sheet_.file, 0, 0},
                       advice});
}

bool ProgramText::fits(const std::string& text) const {
  const int limit = sheet_.text.max_line_length;
  return limit == 0 || static_cast<int>(text.size()) + room_for_frame <= limit;
}

void ProgramText::block(const std::string& text) {
  std::string line;
  if (sheet_.text.line_number_step > 0) {
    line_number_ = line_number_ + sheet_.text.line_number_step;
    if (line_number_ > sheet_.text.line_number_max) line_number_ = sheet_.text.line_number_step;
    line = sheet_.text.line_number_prefix + std::to_string(line_number_) + " ";
  }
  line += text + sheet_.text.block_end;
  const int limit = sheet_.text.max_line_length;
  if (limit > 0 && static_cast<int>(line.size()) > limit) {
    refuse(fmt::format("allows {} characters in a line, and this one needs {}: {}", limit,
                       line.size(), line),
           "take another control sheet, or raise `max_line_length` if the control reads more");
  }
  raw_line(line);
  ++blocks_;
}

int ProgramText::remark_width() const {
  const TextRules& rules = sheet_.text;
  int width = rules.max_comment_length;
  if (rules.max_line_length > 0) {
    const int room = rules.max_line_length -
                     static_cast<int>(rules.comment_open.size() + rules.comment_close.size());
    width = width == 0 ? room : std::min(width, room);
  }
  return width == 0 ? widest_remark : std::min(width, widest_remark);
}

std::string ProgramText::remark_text(const std::string& text) const {
  return sheet_.text.comment_open + text + sheet_.text.comment_close;
}

void ProgramText::remark(const std::string& text) {
  for (const std::string& line : wrapped(speller_.plain_text(text), remark_width())) {
    raw_line(line.empty() ? std::string() : remark_text(line));
  }
}

void ProgramText::noted(const std::string& text, const std::string& note) {
  if (note.empty()) return block(text);
  const std::string remark_part = remark_text(speller_.plain_text(note));
  const bool to_line_end = sheet_.text.comment_close.empty();
  if (!fits(text + remark_part) || (to_line_end && !sheet_.text.block_end.empty())) {
    remark(note);
    return block(text);
  }
  block(text + " " + remark_part);
}

}  // namespace pivotrace::control
