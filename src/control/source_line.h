// One line of a program without its blanks, each character remembering its column.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/control/control_sheet.h"

namespace pivotrace::control {

/// Blanks are taken out (a control that cares about them finds them in `blank_before`), small
/// letters become capitals unless the control tells them apart.
/// `column[i]` is the column (from 1) of `text[i]` in the file; one more entry marks the end.
struct SqueezedLine {
  std::string text;
  std::vector<int> column;
  std::vector<bool> blank_before;
};

SqueezedLine squeeze(const std::string& raw, int first_column, const TextRules& rules);

struct NumberText {
  double value = 0.0;
  bool has_mark = false;
};

/// Walks along a squeezed line; remembers the first thing that went wrong and then stands still.
class Cursor {
 public:
  Cursor(const SqueezedLine& line, std::string file, int line_number, bool blanks_ignored = true)
      : line_(&line),
        file_(std::move(file)),
        line_number_(line_number),
        blanks_ignored_(blanks_ignored) {}

  bool at_end() const { return failed() || position_ >= line_->text.size(); }
  char peek() const { return at_end() ? '\0' : line_->text[position_]; }
  char take();
  /// Steps over `word` when it stands here.
  bool accept(const std::string& word);
  bool accept(char letter);
  bool stands_here(const std::string& word) const;
  int column() const { return line_->column[position_]; }

  bool blank_here() const { return line_->blank_before[position_]; }

  /// Sign, digits, decimal mark, exponent: as far as the rules allow. Fails when there is no digit.
  NumberText take_number(const NumberRules& rules);
  int take_digits();

  /// True when `c` stands here and belongs to what came before it.
  bool continues_with(char c) const;
  void fail(const std::string& what, const std::string& advice);
  void fail_at(int column, const std::string& what, const std::string& advice);
  bool failed() const { return !problems_.empty(); }
  const Problems& problems() const { return problems_; }

 private:
  bool continues_with_digit() const;
  bool exponent_here() const;
  std::string take_exponent();

  const SqueezedLine* line_;
  std::string file_;
  int line_number_;
  bool blanks_ignored_;
  std::size_t position_ = 0;
  Problems problems_;
};

}  // namespace pivotrace::control
