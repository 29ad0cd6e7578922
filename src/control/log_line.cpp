#include "control/log_line.h"

#include <fmt/format.h>

namespace pivotrace::control {

namespace {

/// The literal parts of an item form round its blanks, and the names of the blanks between them.
struct ItemForm {
  std::vector<std::string> literals;  ///< one more than blanks
  std::vector<std::string> blanks;
};

ItemForm item_form(const std::string& form) {
  ItemForm parts;
  parts.literals.emplace_back();
  std::size_t at = 0;
  while (at < form.size()) {
    const std::size_t close = form[at] == '{' ? form.find('}', at) : std::string::npos;
    if (close == std::string::npos) {
      parts.literals.back() += form[at++];
      continue;
    }
    parts.blanks.push_back(form.substr(at + 1, close - at - 1));
    parts.literals.emplace_back();
    at = close + 1;
  }
  return parts;
}

bool is_digit(char c) { return c >= '0' && c <= '9'; }

class LogReader {
 public:
  LogReader(const std::string& line, int line_number, const std::string& file,
            const ControlSheet& sheet, Nodes& nodes)
      : line_(line),
        line_number_(line_number),
        file_(file),
        sheet_(sheet),
        rules_(sheet.log),
        nodes_(nodes),
        value_form_(item_form(rules_.value_item)),
        text_form_(item_form(rules_.text_item)) {}

  Expected<std::vector<LogItem>> read() {
    at_ = line_.find_first_not_of(" \t") + rules_.begin.size();
    end_ = line_.find_last_not_of(" \t") + 1;
    if (!take_end()) return tl::make_unexpected(std::move(problems_));
    while (at_ < end_ && problems_.empty()) item();
    if (!problems_.empty()) return tl::make_unexpected(std::move(problems_));
    return std::move(items_);
  }

 private:
  bool take_end() {
    const std::string& close = rules_.end;
    if (end_ < at_ + close.size() || line_.compare(end_ - close.size(), close.size(), close) != 0) {
      refuse(end_, fmt::format("'{}' is expected", close));
      return false;
    }
    end_ -= close.size();
    return true;
  }

  void item() {
    if (!items_.empty() && !rules_.join.empty()) {
      if (!stands_here(rules_.join)) {
        refuse(at_, fmt::format("'{}' is expected between two items", rules_.join));
        return;
      }
      at_ += rules_.join.size();
    }
    if (stands_here(value_form_.literals.front() + sheet_.variables.prefix)) {
      value_item();
    } else {
      text_item();
    }
  }

  bool stands_here(const std::string& text) const {
    return line_.compare(at_, text.size(), text) == 0;
  }

  void value_item() {
    LogItem item;
    item.whole = rules_.whole_digits;
    item.decimals = rules_.decimals;
    item.column = static_cast<int>(at_) + 1;
    at_ += value_form_.literals.front().size();
    for (std::size_t i = 0; i < value_form_.blanks.size() && problems_.empty(); ++i) {
      value_blank(value_form_, i, item);
      take_literal(value_form_.literals[i + 1]);
    }
    items_.push_back(item);
  }

  void value_blank(const ItemForm& form, std::size_t i, LogItem& item) {
    const std::string& name = form.blanks[i];
    if (name == "variable" || name == "value") {
      item.value = variable();
      return;
    }
    // Two formats side by side are one digit each: [53].
    const bool one_digit = form.literals[i + 1].empty() && i + 1 < form.blanks.size();
    const bool after_digit = i > 0 && form.literals[i].empty();
    int number = 0;
    std::size_t count = 0;
    while (at_ < end_ && is_digit(line_[at_]) && !(count == 1 && (one_digit || after_digit))) {
      number = number * 10 + (line_[at_++] - '0');
      ++count;
    }
    if (count == 0) refuse(at_, "the number of digits is expected here");
    if (name == "whole") item.whole = number;
    if (name == "decimals") item.decimals = number;
  }

  NodeIndex variable() {
    const SqueezedLine squeezed =
        squeeze(line_.substr(at_, end_ - at_), static_cast<int>(at_) + 1, sheet_.text);
    Cursor cursor(squeezed, file_, line_number_, sheet_.text.spaces_ignored);
    const int column = cursor.column();
    cursor.accept(sheet_.variables.prefix);
    const NodeIndex number = read_variable_number(cursor, sheet_, nodes_);
    at_ = static_cast<std::size_t>(cursor.column()) - 1;
    problems_.insert(problems_.end(), cursor.problems().begin(), cursor.problems().end());
    nodes_.push_back({.kind = Node::Kind::variable, .first = number, .column = column});
    return static_cast<NodeIndex>(nodes_.size()) - 1;
  }

  void take_literal(const std::string& literal) {
    if (!problems_.empty()) return;
    if (!stands_here(literal)) {
      refuse(at_, fmt::format("'{}' is expected", literal));
      return;
    }
    at_ += literal.size();
  }

  /// A text runs to the literal that closes it, to the next join, or to the end.
  void text_item() {
    LogItem item;
    item.column = static_cast<int>(at_) + 1;
    take_literal(text_form_.literals.front());
    if (!problems_.empty()) return;
    const std::string& closing = text_form_.literals.back();
    const std::string& stop = closing.empty() ? rules_.join : closing;
    std::size_t last = stop.empty() ? end_ : line_.find(stop, at_);
    if (last == std::string::npos || last > end_) {
      if (!closing.empty()) {
        refuse(at_, fmt::format("'{}' is expected after the text", closing));
        return;
      }
      last = end_;
    }
    item.text = printed(line_.substr(at_, last - at_));
    at_ = last + closing.size();
    items_.push_back(item);
  }

  std::string printed(std::string text) const {
    const std::string& space = rules_.space_in_text;
    if (space.empty() || space == " ") return text;
    for (std::size_t i = text.find(space); i != std::string::npos; i = text.find(space, i + 1)) {
      text.replace(i, space.size(), " ");
    }
    return text;
  }

  void refuse(std::size_t at, const std::string& what) {
    problems_.push_back({ProblemNumber::program_error,
                         what + " in this log statement",
                         {file_, line_number_, static_cast<int>(at) + 1},
                         "write it as the control sheet describes the log"});
  }

  const std::string& line_;
  int line_number_;
  const std::string& file_;
  const ControlSheet& sheet_;
  const LogRules& rules_;
  Nodes& nodes_;
  ItemForm value_form_;
  ItemForm text_form_;
  std::size_t at_ = 0;
  std::size_t end_ = 0;
  std::vector<LogItem> items_;
  Problems problems_;
};

}  // namespace

Expected<std::vector<LogItem>> read_log_line(const std::string& line, int line_number,
                                             const std::string& file, const ControlSheet& sheet,
                                             Nodes& nodes) {
  return LogReader(line, line_number, file, sheet, nodes).read();
}

std::string log_value(double value, const LogItem& item, const LogRules& rules) {
  std::string text = fmt::format("{:.{}f}", value, item.decimals);
  const std::size_t sign = text[0] == '-' ? 1 : 0;
  const std::size_t whole = std::min(text.find('.'), text.size()) - sign;
  if (item.whole > 0 && static_cast<int>(whole) > item.whole) return {};
  const bool is_zero = text.find_first_not_of("-0.") == std::string::npos;
  if (is_zero && sign == 1) text.erase(0, 1);
  const std::size_t mark = text.find('.');
  if (mark != std::string::npos) text.replace(mark, 1, rules.decimal_mark);
  return text;
}

}  // namespace pivotrace::control
