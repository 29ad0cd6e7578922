#include "control/expression.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>
#include <string>

#include "pivotrace/geometry/angle.h"

namespace pivotrace::control {

namespace {

/// Brackets in brackets deeper than this are refused rather than overflow the stack; no program needs
/// them (common practice, no source).
constexpr int deepest_nesting = 100;
/// So are longer chains such as 1+1+1+...: they are worked out one inside the other.
constexpr int longest_chain = 1000;

NodeIndex add(Nodes& nodes, const Node& node) {
  nodes.push_back(node);
  return static_cast<NodeIndex>(nodes.size()) - 1;
}

/// Reads one value or expression; keeps count of the nesting.
class Reader {
 public:
  Reader(Cursor& cursor, const ControlSheet& sheet, Nodes& nodes)
      : cursor_(cursor), sheet_(sheet), rules_(sheet.expressions), nodes_(nodes) {}

  NodeIndex value() {
    const int limit = rules_.max_nesting > 0 ? rules_.max_nesting + 1 : deepest_nesting;
    if (++depth_ > limit) {
      cursor_.fail("the expression is nested too deeply", "split it over several lines");
    }
    const NodeIndex node = cursor_.failed() ? no_node : value_here();
    --depth_;
    return node;
  }

  /// Two operations compared, or one operation.
  NodeIndex comparison() {
    const NodeIndex left = operation(0);
    if (cursor_.failed()) return no_node;
    const int column = cursor_.column();
    const std::optional<Comparison> word = take_longest(rules_.comparisons);
    if (!word) return left;
    const NodeIndex right = operation(0);
    return add(nodes_, {.kind = Node::Kind::comparison,
                        .comparison = *word,
                        .first = left,
                        .second = right,
                        .column = column});
  }

  NodeIndex variable_number() {
    const VariableRules& variables = sheet_.variables;
    NodeIndex number = no_node;
    if (!variables.index_open.empty() && cursor_.accept(variables.index_open)) {
      number = comparison();
      expect(variables.index_close);
    } else if (variables.chained) {
      number = value();
    } else {
      const int column = cursor_.column();
      const double digits = cursor_.take_digits();
      number = add(nodes_, {.kind = Node::Kind::number, .number = digits, .column = column});
    }
    if (!variables.suffix.empty()) expect(variables.suffix);
    return number;
  }

 private:
  NodeIndex value_here() {
    const int column = cursor_.column();
    if (cursor_.stands_here(rules_.open)) return bracketed();
    if (cursor_.accept(sheet_.variables.prefix)) return variable(column);
    if (const std::optional<Function> function = take_longest(rules_.functions)) {
      return call(*function, column);
    }
    if (rules_.sign_before_variable && sign_before_other()) return negation(column);
    const NumberText number = cursor_.take_number(sheet_.numbers);
    return add(nodes_, {.kind = Node::Kind::number,
                        .number = number.value,
                        .has_mark = number.has_mark,
                        .column = column});
  }

  /// The meaning whose spelling stands here, the longest one if several do.
  template <class Key>
  std::optional<Key> take_longest(const std::map<Key, std::string>& spellings) {
    const std::pair<const Key, std::string>* best = nullptr;
    for (const auto& entry : spellings) {
      if (!cursor_.stands_here(entry.second)) continue;
      if (best == nullptr || entry.second.size() > best->second.size()) best = &entry;
    }
    if (best == nullptr) return std::nullopt;
    cursor_.accept(best->second);
    return best->first;
  }

  NodeIndex bracketed() {
    expect(rules_.open);
    const NodeIndex node = cursor_.failed() ? no_node : comparison();
    expect(rules_.close);
    return node;
  }

  void expect(const std::string& text) {
    if (cursor_.failed() || cursor_.accept(text)) return;
    cursor_.fail(fmt::format("'{}' is expected here", text),
                 "check the brackets and the spelling of the operator");
  }

  bool sign_before_other() const {
    if (cursor_.stands_here("-" + sheet_.variables.prefix)) return true;
    if (cursor_.stands_here("-" + rules_.open)) return true;
    return std::any_of(rules_.functions.begin(), rules_.functions.end(), [this](const auto& entry) {
      return cursor_.stands_here("-" + entry.second);
    });
  }

  NodeIndex negation(int column) {
    cursor_.take();
    const NodeIndex operand = value();
    return add(nodes_, {.kind = Node::Kind::negation, .first = operand, .column = column});
  }

  NodeIndex variable(int column) {
    const NodeIndex number = variable_number();
    return add(nodes_, {.kind = Node::Kind::variable, .first = number, .column = column});
  }

  NodeIndex call(Function function, int column) {
    Node node{.kind = Node::Kind::function, .function = function, .column = column};
    if (function != Function::arctangent) {
      node.first = bracketed();
    } else if (rules_.arctangent_form == ArctangentForm::slash) {
      two_brackets(node);
    } else {
      one_bracket(node);
    }
    return add(nodes_, node);
  }

  void two_brackets(Node& node) {
    node.first = bracketed();
    if (!cursor_.failed() && !cursor_.accept('/')) {
      cursor_.fail("the arc tangent needs a second value after a '/'", "write it as ATAN[y]/[x]");
    }
    if (!cursor_.failed()) node.second = bracketed();
  }

  void one_bracket(Node& node) {
    expect(rules_.open);
    if (cursor_.failed()) return;
    const std::string divider = rules_.arctangent_form == ArctangentForm::comma ? "," : "/";
    node.first = divider == "," ? operation(0) : value();
    expect(divider);
    if (!cursor_.failed()) node.second = divider == "," ? operation(0) : value();
    expect(rules_.close);
  }

  /// Precedence climbing; operators of one level go from left to right.
  NodeIndex operation(int lowest) {
    NodeIndex left = value();
    for (int links = 0; !cursor_.failed(); ++links) {
      const int column = cursor_.column();
      const std::optional<Operator> op = take_operator(lowest);
      if (!op) break;
      if (links == longest_chain) {
        cursor_.fail("the expression is too long", "split it over several lines");
      }
      const NodeIndex right = operation(tightness(*op) + 1);
      left = add(nodes_, {.kind = Node::Kind::binary,
                          .op = *op,
                          .first = left,
                          .second = right,
                          .column = column});
    }
    return left;
  }

  std::optional<Operator> take_operator(int lowest) {
    Cursor ahead = cursor_;
    const std::optional<Operator> op = take_longest(rules_.operators);
    if (op && tightness(*op) < lowest) {
      cursor_ = ahead;
      return std::nullopt;
    }
    return op;
  }

  /// Higher binds tighter.
  int tightness(Operator op) const {
    const auto level = std::find_if(
        rules_.precedence.begin(), rules_.precedence.end(), [op](const auto& operators) {
          return std::find(operators.begin(), operators.end(), op) != operators.end();
        });
    return static_cast<int>(rules_.precedence.end() - level);
  }

  Cursor& cursor_;
  const ControlSheet& sheet_;
  const ExpressionRules& rules_;
  Nodes& nodes_;
  int depth_ = 0;
};

double rounded_away(double value) {
  return value < 0.0 ? -std::floor(0.5 - value) : std::floor(0.5 + value);
}

/// Works out a tree.
class Evaluation {
 public:
  Evaluation(const Nodes& nodes, const ControlSheet& sheet, const VariableSource& source)
      : nodes_(nodes), sheet_(sheet), source_(source) {}

  Expected<double> of(NodeIndex index) const {
    const Node& node = nodes_[index];
    switch (node.kind) {
      case Node::Kind::number: return node.number;
      case Node::Kind::variable:
        return of(node.first).and_then([&](double number) {
          return source_.variable(number, node.column);
        });
      case Node::Kind::negation: return of(node.first).map([](double value) { return -value; });
      case Node::Kind::binary: return binary(node);
      case Node::Kind::comparison: return comparison(node);
      case Node::Kind::function: return function(node);
    }
    return 0.0;
  }

 private:
  Expected<double> binary(const Node& node) const {
    Expected<double> a = of(node.first);
    if (!a) return a;
    Expected<double> b = of(node.second);
    if (!b) return b;
    Expected<double> result = apply(node, *a, *b);
    if (result && !std::isfinite(*result)) {
      return source_.refuse(node.column, "the result is beyond the range of numbers",
                            "check the values of this expression");
    }
    return result;
  }

  Expected<double> comparison(const Node& node) const {
    Expected<double> a = of(node.first);
    if (!a) return a;
    return of(node.second).map([&](double b) { return holds(node.comparison, *a, b) ? 1.0 : 0.0; });
  }

  static bool holds(Comparison comparison, double a, double b) {
    switch (comparison) {
      case Comparison::equal: return a == b;
      case Comparison::not_equal: return a != b;
      case Comparison::less: return a < b;
      case Comparison::less_equal: return a <= b;
      case Comparison::greater: return a > b;
      case Comparison::greater_equal: return a >= b;
    }
    return false;
  }

  Expected<double> apply(const Node& node, double a, double b) const {
    switch (node.op) {
      case Operator::power: return power(node, a, b);
      case Operator::multiply: return a * b;
      case Operator::divide: return quotient(node, a, b);
      case Operator::modulo: return modulo(node, a, b);
      case Operator::add: return a + b;
      case Operator::subtract: return a - b;
      case Operator::both: return a != 0.0 && b != 0.0 ? 1.0 : 0.0;
      case Operator::either: return a != 0.0 || b != 0.0 ? 1.0 : 0.0;
      case Operator::one_of: return (a != 0.0) != (b != 0.0) ? 1.0 : 0.0;
    }
    return 0.0;
  }

  Expected<double> power(const Node& node, double a, double b) const {
    if (a < 0.0 && std::floor(b) != b) {
      return source_.refuse(node.column, "a negative number to a power that is not whole",
                            "use a whole power or a positive number");
    }
    return std::pow(a, b);
  }

  Expected<double> quotient(const Node& node, double a, double b) const {
    if (b == 0.0) {
      return source_.refuse(node.column, "division by zero", "check the divisor");
    }
    return a / b;
  }

  /// RS274/NGC: never negative, whatever the signs (NISTIR 6556, 3.3.2.3).
  Expected<double> modulo(const Node& node, double a, double b) const {
    if (b == 0.0) return source_.refuse(node.column, "MOD by zero", "check the divisor");
    const double rest = std::fmod(a, b);
    return sheet_.expressions.modulo_never_negative && rest < 0.0 ? rest + std::fabs(b) : rest;
  }

  Expected<double> function(const Node& node) const {
    Expected<double> a = of(node.first);
    if (!a) return a;
    if (node.function == Function::arctangent) {
      return of(node.second).map([&](double x) { return deg_from_rad(std::atan2(*a, x)); });
    }
    return one_argument(node, *a);
  }

  Expected<double> one_argument(const Node& node, double a) const {
    switch (node.function) {
      case Function::sine: return std::sin(rad_from_deg(a));
      case Function::cosine: return std::cos(rad_from_deg(a));
      case Function::tangent: return std::tan(rad_from_deg(a));
      case Function::arcsine: return arc(node, a, [](double v) { return std::asin(v); });
      case Function::arccosine: return arc(node, a, [](double v) { return std::acos(v); });
      case Function::square_root: return square_root(node, a);
      case Function::absolute: return std::fabs(a);
      case Function::round: return rounded_away(a);
      case Function::round_down:
        return sheet_.expressions.round_down_towards_zero ? std::trunc(a) : std::floor(a);
      case Function::round_up: return std::ceil(a);
      case Function::exponential: return exponential(node, a);
      case Function::logarithm: return natural_log(node, a);
      case Function::arctangent: break;
    }
    return 0.0;
  }

  template <class Arc>
  Expected<double> arc(const Node& node, double a, const Arc& of_value) const {
    if (std::fabs(a) > 1.0) {
      return source_.refuse(node.column, "the arc sine or arc cosine of a number beyond -1..1",
                            "check the value in the brackets");
    }
    return deg_from_rad(of_value(a));
  }

  Expected<double> square_root(const Node& node, double a) const {
    if (a < 0.0) {
      // Controls without branches are made to stop by this: the emitter's limit checks.
      const bool meant = sheet_.stops.root_of_negative_stops;
      return source_.refuse(
          node.column, "the square root of a negative number",
          meant ? "a limit checked by this line was exceeded; see the remark beside it"
                : "check the value in the brackets",
          meant ? ProblemNumber::program_stopped : ProblemNumber::program_error);
    }
    return std::sqrt(a);
  }

  Expected<double> exponential(const Node& node, double a) const {
    const double result = std::exp(a);
    if (!std::isfinite(result)) {
      return source_.refuse(node.column, "the result is beyond the range of numbers",
                            "check the value in the brackets");
    }
    return result;
  }

  Expected<double> natural_log(const Node& node, double a) const {
    if (a <= 0.0) {
      return source_.refuse(node.column, "the logarithm of zero or of a negative number",
                            "check the value in the brackets");
    }
    return std::log(a);
  }

  const Nodes& nodes_;
  const ControlSheet& sheet_;
  const VariableSource& source_;
};

}  // namespace

NodeIndex read_value(Cursor& cursor, const ControlSheet& sheet, Nodes& nodes) {
  return Reader(cursor, sheet, nodes).value();
}

NodeIndex read_bare(Cursor& cursor, const ControlSheet& sheet, Nodes& nodes) {
  return Reader(cursor, sheet, nodes).comparison();
}

NodeIndex read_variable_number(Cursor& cursor, const ControlSheet& sheet, Nodes& nodes) {
  return Reader(cursor, sheet, nodes).variable_number();
}

Expected<double> evaluate(const Nodes& nodes, NodeIndex node, const ControlSheet& sheet,
                          const VariableSource& source) {
  return Evaluation(nodes, sheet, source).of(node);
}

}  // namespace pivotrace::control
