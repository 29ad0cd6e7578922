// The formulas written down by the cycle's symbolic value, then worked out like a control would:
// the numbers must be those of plain arithmetic.
#include <doctest/doctest.h>

#include <cmath>
#include <map>

#include "contact/random_contact.h"
#include "cycle/symbolic_scalar.h"
#include "pivotrace/geometry/angle.h"

using namespace pivotrace;
using namespace pivotrace::testing;
using contact::Vec3;

namespace {

using Numbers = std::map<std::string, double>;

/// Works a tree out. Only what the formulas may use.
struct Worked {
  const Numbers& numbers;

  double of(const Value& value) const { return std::visit(*this, value.node()); }

  double operator()(const NumberNode& node) const { return node.number; }
  double operator()(const VariableNode& node) const { return numbers.at(node.name); }
  double operator()(const UnaryNode& node) const {
    const double x = of(*node.argument);
    switch (node.function) {
      case Function::sine: return std::sin(rad_from_deg(x));
      case Function::cosine: return std::cos(rad_from_deg(x));
      case Function::square_root: return std::sqrt(x);
      default: FAIL("a function the formulas do not use"); return 0.0;
    }
  }
  double operator()(const BinaryNode& node) const {
    const double a = of(*node.left);
    const double b = of(*node.right);
    switch (node.op) {
      case Operator::add: return a + b;
      case Operator::subtract: return a - b;
      case Operator::multiply: return a * b;
      case Operator::divide: return a / b;
      default: FAIL("an operator the formulas do not use"); return 0.0;
    }
  }
  template <class Other>
  double operator()(const Other&) const {
    FAIL("something the formulas do not use");
    return 0.0;
  }
};

/// A row of variables n0, n1, ... but for the directions, which a program knows.
Row<Value> symbols_of(const Case& c, Numbers& known) {
  Row<Value> row;
  for (int i = 0; i < numbers; ++i) {
    const int within = i < axis_first ? -1 : (i - axis_first) % per_axis;
    const std::string name = "n" + std::to_string(i);
    row[i] = within >= 3 && within < 6 ? Value(c.row[i]) : Value(Variable{name});
    known[name] = within == 6 ? deg_from_rad(c.row[i]) : c.row[i];
  }
  return row;
}

Value cosine_of(const Value& degrees) { return cosine(degrees); }
Value sine_of(const Value& degrees) { return sine(degrees); }

contact::Chain<Value> symbolic_chain(const Row<Value>& row) {
  contact::Chain<Value> chain;
  for (int k = 0; k < 4; ++k) {
    const int first = axis_first + k * per_axis;
    chain.add(on_tool_side[k], three(row, first), three(row, first + 3), Value(sense_of[k]));
    chain.axes[k].stand_at(cosine_of(row[first + 6]), sine_of(row[first + 6]));
  }
  return chain;
}

}  // namespace

TEST_CASE("the formula a program would carry works out to the same gap") {
  for (unsigned seed = 1; seed <= 20; ++seed) {
    CAPTURE(seed);
    const Case c = random_case(seed);
    Numbers known;
    const Row<Value> row = symbols_of(c, known);
    const Value gap = contact::gap_of(symbolic_chain(row), c.last, reading_of(c, row), c.kind,
                                      place_of(row), row[stylus_radius_at]);
    CHECK(std::abs(Worked{known}.of(gap) - gap_from(c, c.row)) < 1e-11);
  }
}

TEST_CASE("an axis along X leaves X alone, and one at 0 leaves everything alone") {
  contact::Chain<Value> chain;
  const Vec3<Value> p{{Variable{"x"}, Variable{"y"}, Variable{"z"}}};
  chain.add(false, {{Variable{"cx"}, Variable{"cy"}, Variable{"cz"}}}, {{1.0, 0.0, 0.0}}, 1.0);
  const auto named = [](const Value& value, const std::string& name) {
    const auto* node = std::get_if<VariableNode>(&value.node());
    return node != nullptr && node->name == name;
  };
  for (int i = 0; i < 3; ++i) {
    CHECK(named(contact::machine_from_carried(chain, 0, p)[i], std::string(1, "xyz"[i])));
  }
  chain.axes[0].stand_at(Variable{"cos"}, Variable{"sin"});
  const Vec3<Value> moved = contact::machine_from_carried(chain, 0, p);
  CHECK(named(moved[0], "x"));
  CHECK_FALSE(named(moved[1], "y"));
}

TEST_CASE("names can be given to what lies between") {
  contact::Chain<Value> chain;
  chain.add(false, Vec3<Value>{}, {{0.0, 0.0, 1.0}}, 1.0);
  chain.add(false, Vec3<Value>{}, {{1.0, 0.0, 0.0}}, 1.0);
  for (int k = 0; k < 2; ++k) chain.axes[k].stand_at(Variable{"cos"}, Variable{"sin"});
  struct KeepCount {
    int spokes = 0;
    std::vector<int> turned_axes;
    void spoke(const contact::Axis<Value>&, Vec3<Value>&) { ++spokes; }
    void turned(int axis, Vec3<Value>& point) {
      turned_axes.push_back(axis);
      point[2] = Variable{"renamed"};
    }
  } keep;
  const Vec3<Value> start{{Variable{"x"}, Variable{"y"}, Variable{"z"}}};
  const Vec3<Value> end = contact::machine_from_carried(chain, 1, start, keep);
  CHECK(keep.spokes == 2);
  CHECK(keep.turned_axes == std::vector<int>{1, 0});
  CHECK(std::get<VariableNode>(end[2].node()).name == "renamed");
}
