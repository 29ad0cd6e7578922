// Arithmetic a control is asked to do, as a tree: written once, spelled by a control sheet.
// Lengths mm, angles degrees (controls count in degrees). Known parts fold to numbers as the tree
// is built, so an unrolled program comes out as plain numbers.
#pragma once

#include <map>
#include <memory>
#include <string>
#include <variant>
#include <vector>

#include "pivotrace/control/control_sheet.h"

namespace pivotrace {

/// A named variable of the program. The emitter gives it a number the control sheet may use.
struct Variable {
  std::string name;  ///< plain English, "ball centre X": printed in the list at the top
};

/// A named list of variables with consecutive numbers.
struct Table {
  std::string name;
  int size = 0;
};

/// What a number means, for its decimals and for mm-to-inch.
enum class NumberKind { plain, length, angle, feed, count };

class Value;

struct NumberNode {
  double number = 0.0;
  NumberKind kind = NumberKind::plain;
};
struct VariableNode {
  std::string name;
};
struct ElementNode {
  std::string table;
  std::shared_ptr<const Value> index;  ///< 0 = first
};
/// A value of the control itself. machine_position: of rotary axes too, by letter.
enum class MachineValue { machine_position, program_position, machine_minus_program, trip_point };
struct MachineValueNode {
  MachineValue what = MachineValue::trip_point;
  char letter = 'X';
};
struct UnaryNode {
  Function function = Function::absolute;
  std::shared_ptr<const Value> argument;
};
struct BinaryNode {
  Operator op = Operator::add;
  std::shared_ptr<const Value> left;
  std::shared_ptr<const Value> right;
};
struct ArctangentNode {
  std::shared_ptr<const Value> y;
  std::shared_ptr<const Value> x;
};

class Value {
 public:
  using Node = std::variant<NumberNode, VariableNode, ElementNode, MachineValueNode, UnaryNode,
                            BinaryNode, ArctangentNode>;

  Value() : node_(NumberNode{}) {}
  Value(double number)
      : node_(NumberNode{number, NumberKind::plain}) {}  // NOLINT: reads as a number
  Value(const Variable& variable) : node_(VariableNode{variable.name}) {}  // NOLINT
  explicit Value(Node node) : node_(std::move(node)) {}

  const Node& node() const { return node_; }
  /// The number this is, when it is one.
  const double* number() const;
  bool is_number(double wanted) const;

 private:
  Node node_;
};

Value length(double mm);
Value angle(double degrees);
Value feed(double mm_per_min);
Value count(int number);
Value element(const Table& table, const Value& index);
Value machine_value(MachineValue what, char letter);

Value operator+(const Value& a, const Value& b);
Value operator-(const Value& a, const Value& b);
Value operator*(const Value& a, const Value& b);
Value operator/(const Value& a, const Value& b);
Value operator-(const Value& a);
Value sine(const Value& degrees);
Value cosine(const Value& degrees);
Value square_root(const Value& a);
Value absolute(const Value& a);
Value arctangent(const Value& y, const Value& x);

struct Condition {
  Value left;
  Comparison comparison = Comparison::less;
  Value right;
};

/// Three values, machine axes X, Y, Z.
using Value3 = std::array<Value, 3>;

}  // namespace pivotrace
