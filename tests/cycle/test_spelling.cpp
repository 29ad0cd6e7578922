// Expressions against published values, and every shipped control sheet's own rules.
#include <doctest/doctest.h>

#include <cctype>
#include <cmath>
#include <random>

#include "control/speller.h"
#include "cycle/demo_plans.h"
#include "pivotrace/control/value.h"
#include "pivotrace/geometry/angle.h"

using namespace pivotrace;

namespace {

/// A second, independent reader of RS274/NGC expressions for these tests: brackets, functions,
/// numbers, parameters; ** before * / MOD before + - OR XOR AND, left to right (NISTIR 6556).
class NgcReader {
 public:
  NgcReader(const std::string& text, const std::map<int, double>& parameters)
      : parameters_(parameters) {
    for (const char c : text) {
      if (c != ' ') text_ += static_cast<char>(std::toupper(static_cast<unsigned char>(c)));
    }
  }
  double value() {
    const double result = operand();
    if (at_ != text_.size()) throw std::runtime_error("left over: " + text_.substr(at_));
    return result;
  }

 private:
  bool take(const std::string& word) {
    if (text_.compare(at_, word.size(), word) != 0) return false;
    at_ += word.size();
    return true;
  }
  double operand() {
    if (at_ < text_.size() && text_[at_] == '[') return bracket();
    if (take("#")) return parameters_.at(static_cast<int>(std::lround(operand())));
    if (take("ATAN")) {
      const double y = bracket();
      if (!take("/")) throw std::runtime_error("slash missing");
      return deg_from_rad(std::atan2(y, bracket()));
    }
    if (take("SQRT")) return std::sqrt(bracket());
    if (take("ASIN")) return deg_from_rad(std::asin(bracket()));
    if (take("ACOS")) return deg_from_rad(std::acos(bracket()));
    if (take("SIN")) return std::sin(rad_from_deg(bracket()));
    if (take("COS")) return std::cos(rad_from_deg(bracket()));
    if (take("TAN")) return std::tan(rad_from_deg(bracket()));
    if (take("ABS")) return std::abs(bracket());
    if (take("ROUND")) return std::round(bracket());
    if (take("FIX")) return std::floor(bracket());
    if (take("FUP")) return std::ceil(bracket());
    if (take("EXP")) return std::exp(bracket());
    if (take("LN")) return std::log(bracket());
    return number();
  }
  double number() {
    const std::size_t start = at_;
    if (at_ < text_.size() && (text_[at_] == '-' || text_[at_] == '+')) ++at_;
    const std::size_t digits = at_;
    while (at_ < text_.size() &&
           (std::isdigit(static_cast<unsigned char>(text_[at_])) != 0 || text_[at_] == '.'))
      ++at_;
    if (at_ == digits) throw std::runtime_error("no digits in " + text_.substr(start));
    return std::stod(text_.substr(start, at_ - start));
  }
  double bracket() {
    if (!take("[")) throw std::runtime_error("bracket missing");
    std::vector<double> values = {operand()};
    std::vector<std::pair<int, char>> operators;
    while (!take("]")) {
      operators.push_back(next_operator());
      values.push_back(operand());
    }
    for (int level = 0; level < 3; ++level) {
      for (std::size_t i = 0; i < operators.size();) {
        if (operators[i].first != level) {
          ++i;
          continue;
        }
        values[i] = apply(operators[i].second, values[i], values[i + 1]);
        values.erase(values.begin() + static_cast<long>(i) + 1);
        operators.erase(operators.begin() + static_cast<long>(i));
      }
    }
    return values.front();
  }
  std::pair<int, char> next_operator() {
    if (take("**")) return {0, '^'};
    if (take("*")) return {1, '*'};
    if (take("/")) return {1, '/'};
    if (take("MOD")) return {1, '%'};
    if (take("+")) return {2, '+'};
    if (take("-")) return {2, '-'};
    if (take("OR")) return {2, '|'};
    if (take("XOR")) return {2, 'x'};
    if (take("AND")) return {2, '&'};
    throw std::runtime_error("no operator at " + text_.substr(at_));
  }
  static double apply(char op, double a, double b) {
    const bool p = a != 0.0, q = b != 0.0;
    switch (op) {
      case '^': return std::pow(a, b);
      case '*': return a * b;
      case '/': return a / b;
      case '%': return a - std::abs(b) * std::floor(a / std::abs(b));
      case '+': return a + b;
      case '-': return a - b;
      case '|': return p || q ? 1 : 0;
      case 'x': return p != q ? 1 : 0;
      default: return p && q ? 1 : 0;
    }
  }

  std::string text_;
  std::map<int, double> parameters_;
  std::size_t at_ = 0;
};

double worked_out(const Value& value, const std::map<std::string, double>& variables) {
  return std::visit(
      [&](const auto& node) -> double {
        using Node = std::decay_t<decltype(node)>;
        if constexpr (std::is_same_v<Node, NumberNode>) return node.number;
        if constexpr (std::is_same_v<Node, VariableNode>) return variables.at(node.name);
        if constexpr (std::is_same_v<Node, UnaryNode>) {
          const double a = worked_out(*node.argument, variables);
          switch (node.function) {
            case Function::sine: return std::sin(rad_from_deg(a));
            case Function::cosine: return std::cos(rad_from_deg(a));
            case Function::absolute: return std::abs(a);
            default: return std::sqrt(a);
          }
        }
        if constexpr (std::is_same_v<Node, BinaryNode>) {
          const double a = worked_out(*node.left, variables);
          const double b = worked_out(*node.right, variables);
          switch (node.op) {
            case Operator::add: return a + b;
            case Operator::subtract: return a - b;
            case Operator::multiply: return a * b;
            default: return a / b;
          }
        }
        if constexpr (std::is_same_v<Node, ArctangentNode>) {
          return deg_from_rad(
              std::atan2(worked_out(*node.y, variables), worked_out(*node.x, variables)));
        }
        return 0.0;
      },
      value.node());
}

struct RandomValues {
  std::mt19937 random;
  Value make(int depth) {
    const auto pick = [&](int n) { return static_cast<int>(random() % static_cast<unsigned>(n)); };
    if (depth == 0 || pick(5) == 0) {
      static const std::vector<std::string> names = {"a", "b", "c"};
      if (pick(2) == 0) return Variable{names[static_cast<std::size_t>(pick(3))]};
      return Value(static_cast<double>(pick(2001) - 1000) / 8.0);
    }
    switch (pick(9)) {
      case 0: return make(depth - 1) + make(depth - 1);
      case 1: return make(depth - 1) - make(depth - 1);
      case 2: return make(depth - 1) * make(depth - 1);
      case 3: return make(depth - 1) / (absolute(make(depth - 1)) + Value(1.0));
      case 4: return -make(depth - 1);
      case 5: return sine(make(depth - 1));
      case 6: return cosine(make(depth - 1));
      case 7: return square_root(absolute(make(depth - 1)));
      default: return arctangent(make(depth - 1), make(depth - 1) + Value(0.5));
    }
  }
};

}  // namespace

TEST_CASE("the tests' own reader gives the values of NISTIR 6556 appendix C.2") {
  const std::map<int, double> p = {{1, 2.0}, {2, 0.375}, {3, 7.0}};
  const std::vector<std::pair<const char*, double>> published = {
      {"[1 + 2]", 3},
      {"[1 --3]", 4},
      {"[2/5]", 0.4},
      {"[15 MOD 4.0]", 3},
      {"[1 + 2 * 3 - 4 / 5]", 6.2},
      {"sin[30]", 0.5},
      {"cos[0.0]", 1},
      {"tan[60.0]", 1.7321},
      {"sqrt[3]", 1.7321},
      {"atan[1.7321]/[1.0]", 60},
      {"asin[1.0]", 90},
      {"acos[0.707107]", 45},
      {"abs[-1.23]", 1.23},
      {"round[-0.5001]", -1},
      {"fix[-0.499]", -1},
      {"fup[2.444]", 3},
      {"exp[2.3026]", 10},
      {"ln[10.0]", 2.3026},
      {"[2 ** 3.0]", 8},
      {"##1", 0.375},
      {"sqrt[3**2 + 4**2]", 5},
      {"[2 xor 2]", 0},
      {"[2 and 2]", 1},
      {"[0 OR 1]", 1},
  };
  for (const auto& [text, value] : published) {
    CAPTURE(text);
    CHECK(NgcReader(text, p).value() == doctest::Approx(value).epsilon(1e-4));
  }
  CHECK_THROWS(NgcReader("[-#1]", p).value());  // as the published interpreter
}

TEST_CASE("whatever the emitter spells for ngc reads back as the value meant") {
  const ControlSheet ngc = demo::sheet("ngc");
  ControlProgram program;
  for (const char* name : {"a", "b", "c"}) program.variables.push_back({name, 0});
  const VariableNumbers numbers(program, ngc);
  const Speller speller(ngc, numbers, false);
  const unsigned seed = 6556;
  INFO("seed ", seed);
  RandomValues values{std::mt19937(seed)};
  const std::map<std::string, double> by_name = {{"a", 1.25}, {"b", -3.5}, {"c", 0.0625}};
  std::map<int, double> by_number;
  for (const auto& [name, value] : by_name) by_number[numbers.number_of(name)] = value;
  for (int i = 0; i < 2000; ++i) {
    const Value value = values.make(4);
    const std::string text = speller.assigned(value);
    CAPTURE(text);
    const double meant = worked_out(value, by_name);
    if (!std::isfinite(meant) || std::abs(meant) > 1e9) continue;
    // Factors are written with six decimals.
    CHECK(NgcReader(text, by_number).value() ==
          doctest::Approx(meant).epsilon(1e-3).scale(1.0 + std::abs(meant)));
  }
}

TEST_CASE("known parts fold away") {
  const Value x = Variable{"x"};
  CHECK((Value(2.0) + Value(3.0)).is_number(5.0));
  CHECK((Value(0.0) * x).is_number(0.0));
  CHECK(cosine(Value(90.0)).is_number(0.0));
  CHECK(std::holds_alternative<VariableNode>((x + Value(0.0)).node()));
  CHECK(std::holds_alternative<VariableNode>((Value(1.0) * x).node()));
  // a + (0 - x) is a - x: no sign ever stands before a variable.
  const Value sum = Value(Variable{"a"}) + -x;
  CHECK(std::get<BinaryNode>(sum.node()).op == Operator::subtract);
}

TEST_CASE("forms are read back as they were filled") {
  const std::map<std::string, std::string> values = {{"condition", "#1 < 5"}, {"label", "901"}};
  const std::string form = "WHEN [{condition}] LEAP {label}";
  CHECK(fill_form(form, values) == "WHEN [#1 < 5] LEAP 901");
  const auto read = match_form(form, "when  [#1 < 5]  leap 901");
  REQUIRE(read.has_value());
  CHECK(read->at("condition") == "#1 < 5");
  CHECK(read->at("label") == "901");
  CHECK_FALSE(match_form(form, "WHEN [#1 < 5] JUMP 901").has_value());
  CHECK_FALSE(match_form(form, "G0 X1").has_value());
  CHECK_FALSE(match_form("", "G0 X1").has_value());
}

TEST_CASE("a control sheet that cannot work is refused with the reason") {
  ControlSheet sheet = demo::sheet("demo-control");
  CHECK(sheet.validate().empty());
  SUBCASE("no skip word") { sheet.words.erase(Meaning::skip); }
  SUBCASE("an own work offset that does not exist") { sheet.offsets.own_system = 12; }
  SUBCASE("an own work offset without a line that writes it") {
    sheet.offsets.own_system = 2;
    sheet.offsets.form.clear();
  }
  SUBCASE("negative decimals") { sheet.log.decimals = -1; }
  SUBCASE("no way to keep touches") { sheet.log.begin.clear(); }
  SUBCASE("set-up asks for a word it does not have") { sheet.words.erase(Meaning::absolute); }
  SUBCASE("variables outside what can be read") { sheet.variables.working = {90000, 90100}; }
  const Problems problems = sheet.validate();
  REQUIRE_FALSE(problems.empty());
  CHECK(problems.front().number == ProblemNumber::bad_control_sheet);
  CHECK_FALSE(problems.front().advice.empty());
}
