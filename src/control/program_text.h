// The lines of a program as they are written: blocks, remarks, numbers of lines, room in a line.
#pragma once

#include <string>

#include "control/speller.h"
#include "pivotrace/base/problem.h"

namespace pivotrace::control {

class ProgramText {
 public:
  ProgramText(const ControlSheet& sheet, const Speller& speller)
      : sheet_(sheet), speller_(speller) {}

  /// One line as it stands.
  void raw_line(const std::string& text) {
    text_ += text + (sheet_.text.carriage_return ? "\r\n" : "\n");
  }
  /// One block, numbered and ended as the control wants it. A block too long is refused.
  void block(const std::string& text);
  /// A block with its remark behind it, or before it when the line would be too long.
  void noted(const std::string& text, const std::string& note);
  /// Remarks, wrapped.
  void remark(const std::string& text);
  std::string remark_text(const std::string& text) const;
  int remark_width() const;
  /// Characters a block may have, the mark at its end and a line number aside; 0 = no limit.
  bool fits(const std::string& text) const;

  void refuse(const std::string& what, const std::string& advice);
  const Problems& problems() const { return problems_; }
  int blocks() const { return blocks_; }
  std::string take() { return std::move(text_); }

 private:
  const ControlSheet& sheet_;
  const Speller& speller_;
  std::string text_;
  int blocks_ = 0;
  int line_number_ = 0;
  Problems problems_;
};

}  // namespace pivotrace::control
