// Parts a line into code and comments.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/control/control_sheet.h"

namespace pivotrace::control {

struct Comment {
  std::string text;
  int column = 0;
};

/// `code` is as long as the line: comments are blanked out and `comment_stand_in` left where one
/// began, so that columns hold and a comment still separates what stands on its two sides.
struct SplitLine {
  std::string code;
  std::vector<Comment> comments;
  Problems problems;
};

inline constexpr char comment_stand_in = '\x01';

SplitLine split_comments(const std::string& line, int line_number, const std::string& file,
                         const TextRules& rules);

}  // namespace pivotrace::control
