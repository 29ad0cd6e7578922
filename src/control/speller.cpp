#include "control/speller.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "pivotrace/base/length.h"

namespace pivotrace {

namespace {

/// Looser than every operator: nothing around the expression binds tighter.
constexpr int loosest = 1000;

bool is_word(const std::string& text) {
  return !text.empty() && std::isalpha(static_cast<unsigned char>(text.front())) != 0;
}

}  // namespace

VariableNumbers::VariableNumbers(const ControlProgram& program, const ControlSheet& sheet)
    : sheet_(sheet) {
  int next_single = sheet.variables.working.first;
  int next_table = sheet.variables.table.first;
  for (const ProgramVariable& variable : program.variables) {
    needed_ += std::max(1, variable.size);
    give(variable.name, variable.size, next_single, next_table);
  }
}

void VariableNumbers::give(const std::string& name, int size, int& next_single, int& next_table) {
  const VariableRules& rules = sheet_.variables;
  const bool tables_in_working = rules.table.first == rules.working.first;
  int& next = size == 0 && next_single <= rules.working.last ? next_single : next_table;
  int& used = tables_in_working ? next_single : next;
  numbers_[name] = used;
  used += std::max(1, size);
  const int last = &used == &next_single ? rules.working.last : rules.table.last;
  if (used > last + 1) fits_ = false;
}

int VariableNumbers::number_of(const std::string& name) const { return numbers_.at(name); }

std::string Speller::number(double value, NumberKind kind) const {
  const NumberRules& rules = sheet_.numbers;
  int decimals = rules.decimals_factor;
  double shown = value;
  if (kind == NumberKind::length || kind == NumberKind::feed) {
    if (inch_) shown /= mm_per_inch;
    decimals = inch_ ? rules.decimals_inch : rules.decimals_mm;
    if (kind == NumberKind::feed) decimals = rules.decimals_feed + (inch_ ? 2 : 0);
  } else if (kind == NumberKind::angle) {
    decimals = rules.decimals_deg;
  } else if (kind == NumberKind::count) {
    decimals = 0;
  }
  std::string text = fmt::format("{:.{}f}", shown, decimals);
  if (text.find('.') != std::string::npos) {
    while (text.back() == '0') text.pop_back();
    if (text.back() == '.') text.pop_back();
  }
  if (text == "-0") text = "0";
  const bool point_missing = text.find('.') == std::string::npos;
  if (rules.point_always && point_missing && kind != NumberKind::count) text += '.';
  if (const std::size_t point = text.find('.'); point != std::string::npos) {
    text.replace(point, 1, rules.decimal_mark);
  }
  return text;
}

std::string Speller::variable(int number) const {
  return sheet_.variables.prefix + std::to_string(number) + sheet_.variables.suffix;
}

std::string Speller::element(const ElementNode& node) const {
  const int first = numbers_.number_of(node.table);
  if (const double* index = node.index->number()) {
    return variable(first + static_cast<int>(std::lround(*index)));
  }
  const VariableRules& rules = sheet_.variables;
  return rules.prefix + rules.index_open + spell(count(first) + *node.index, loosest, Side::first) +
         rules.index_close + rules.suffix;
}

std::string Speller::bracketed(const std::string& text) const {
  return sheet_.expressions.open + text + sheet_.expressions.close;
}

int Speller::level_of(Operator op) const {
  const auto& levels = sheet_.expressions.precedence;
  for (std::size_t level = 0; level < levels.size(); ++level) {
    if (std::find(levels[level].begin(), levels[level].end(), op) != levels[level].end()) {
      return static_cast<int>(level);
    }
  }
  return loosest;
}

std::string Speller::operator_text(Operator op) const {
  const std::string& text = sheet_.expressions.operators.at(op);
  return is_word(text) ? " " + text + " " : text;
}

std::string Speller::function_text(Function function) const {
  return sheet_.expressions.functions.at(function);
}

std::string Speller::spell_number(const NumberNode& node, Side side) const {
  const std::string text = number(node.number, node.kind);
  return text.front() == '-' && side != Side::first ? bracketed(text) : text;
}

std::string Speller::spell_binary(const BinaryNode& node, int outer_level, Side side) const {
  const int level = level_of(node.op);
  const bool negation = node.op == Operator::subtract && node.left->is_number(0.0);
  const bool brackets = level > outer_level || (level == outer_level && side == Side::right) ||
                        (negation && side != Side::first);
  const Side left_side = brackets || side == Side::first ? Side::first : Side::left;
  std::string text;
  if (negation && sheet_.expressions.sign_before_variable) {
    text = "-" + spell(*node.right, level, Side::right);
  } else {
    text = spell(*node.left, level, left_side) + operator_text(node.op) +
           spell(*node.right, level, Side::right);
  }
  return brackets ? bracketed(text) : text;
}

std::string Speller::spell_arctangent(const ArctangentNode& node) const {
  const std::string name = function_text(Function::arctangent);
  const std::string y = spell(*node.y, loosest, Side::first);
  const std::string x = spell(*node.x, loosest, Side::first);
  if (sheet_.expressions.arctangent_form == ArctangentForm::comma) {
    return name + bracketed(y + "," + x);
  }
  return name + bracketed(y) + "/" + bracketed(x);
}

std::string Speller::spell_machine_value(const MachineValueNode& node) const {
  const PositionRules& position = sheet_.position;
  switch (node.what) {
    case MachineValue::trip_point: return variable(sheet_.skip.trip_variable.at(node.letter));
    case MachineValue::machine_position: return variable(position.machine_position.at(node.letter));
    case MachineValue::program_position: return variable(position.program_position.at(node.letter));
    case MachineValue::machine_minus_program: break;
  }
  return variable(position.machine_position.at(node.letter)) + operator_text(Operator::subtract) +
         variable(position.program_position.at(node.letter));
}

std::string Speller::spell(const Value& value, int outer_level, Side side) const {
  return std::visit(
      [&](const auto& node) -> std::string {
        using Node = std::decay_t<decltype(node)>;
        if constexpr (std::is_same_v<Node, NumberNode>) {
          return spell_number(node, side);
        } else if constexpr (std::is_same_v<Node, VariableNode>) {
          return variable(node.name);
        } else if constexpr (std::is_same_v<Node, ElementNode>) {
          return element(node);
        } else if constexpr (std::is_same_v<Node, MachineValueNode>) {
          const std::string text = spell_machine_value(node);
          return node.what == MachineValue::machine_minus_program && side != Side::first
                     ? bracketed(text)
                     : text;
        } else if constexpr (std::is_same_v<Node, UnaryNode>) {
          return function_text(node.function) +
                 bracketed(spell(*node.argument, loosest, Side::first));
        } else if constexpr (std::is_same_v<Node, BinaryNode>) {
          return spell_binary(node, outer_level, side);
        } else {
          return spell_arctangent(node);
        }
      },
      value.node());
}

std::string Speller::assigned(const Value& value) const {
  const std::string text = spell(value, loosest, Side::first);
  const bool compound = std::holds_alternative<BinaryNode>(value.node()) ||
                        text.find(sheet_.variables.prefix, 1) != std::string::npos;
  const bool lone = !std::holds_alternative<BinaryNode>(value.node()) &&
                    !std::holds_alternative<MachineValueNode>(value.node());
  return sheet_.assignment.value_needs_brackets && compound && !lone ? bracketed(text) : text;
}

std::string Speller::after_letter(const Value& value) const {
  const std::string text = spell(value, loosest, Side::first);
  const bool needs = std::holds_alternative<BinaryNode>(value.node());
  return sheet_.expressions.word_mark +
         (needs && sheet_.expressions.word_needs_brackets ? bracketed(text) : text);
}

std::string Speller::condition(const Condition& condition) const {
  const std::string& sign = sheet_.expressions.comparisons.at(condition.comparison);
  return spell(condition.left, loosest, Side::first) + " " + sign + " " +
         spell(condition.right, loosest, Side::first);
}

std::string Speller::negated(const Condition& condition) const {
  static const std::map<Comparison, Comparison> opposite = {
      {Comparison::equal, Comparison::not_equal},    {Comparison::not_equal, Comparison::equal},
      {Comparison::less, Comparison::greater_equal}, {Comparison::less_equal, Comparison::greater},
      {Comparison::greater, Comparison::less_equal}, {Comparison::greater_equal, Comparison::less},
  };
  return this->condition({condition.left, opposite.at(condition.comparison), condition.right});
}

namespace {

/// Signs that stand for one a remark may not hold, the best first: what they part stays apart.
std::string_view stand_ins(char c) {
  switch (c) {
    case ';': return ".,:";
    case ':': return ",.";
    default: return "";
  }
}

}  // namespace

std::string Speller::plain_text(const std::string& text) const {
  const std::string& marks = sheet_.text.comment_punctuation;
  std::string plain;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    const bool known = std::isalnum(byte) != 0 || c == ' ' || marks.find(c) != std::string::npos;
    if (known && byte < 128) {
      plain += c;
      continue;
    }
    const std::string_view others = stand_ins(c);
    const std::size_t other = others.find_first_of(marks);
    if (c != '\'') plain += other == std::string_view::npos ? ' ' : others[other];
  }
  return in_case(plain);
}

std::string Speller::in_case(std::string text) const {
  if (!sheet_.text.upper_case_only) return text;
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
  return text;
}

std::vector<std::string> wrapped(const std::string& text, int width) {
  std::vector<std::string> lines;
  std::string line;
  std::size_t at = 0;
  while (at < text.size()) {
    const std::size_t end = std::min(text.find(' ', at), text.size());
    std::string word = text.substr(at, end - at);
    at = end + 1;
    if (word.empty()) continue;
    // A word longer than a line is cut: no line may be longer than the control reads.
    while (width > 0 && word.size() > static_cast<std::size_t>(width)) {
      if (!line.empty()) lines.push_back(std::exchange(line, {}));
      lines.push_back(word.substr(0, static_cast<std::size_t>(width)));
      word.erase(0, static_cast<std::size_t>(width));
    }
    const bool full = width > 0 && !line.empty() &&
                      line.size() + 1 + word.size() > static_cast<std::size_t>(width);
    if (full) lines.push_back(std::exchange(line, {}));
    if (!line.empty()) line += ' ';
    line += word;
  }
  if (!line.empty() || lines.empty()) lines.push_back(line);
  return lines;
}

}  // namespace pivotrace
