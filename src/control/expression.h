// Values of a program: numbers, variables, functions and operators, read into a tree.
#pragma once

#include <vector>

#include "control/source_line.h"
#include "pivotrace/base/problem.h"
#include "pivotrace/control/control_sheet.h"

namespace pivotrace::control {

using NodeIndex = int;
inline constexpr NodeIndex no_node = -1;

struct Node {
  enum class Kind { number, variable, negation, binary, comparison, function };
  Kind kind = Kind::number;
  double number = 0.0;
  bool has_mark = false;  ///< a number written with a decimal mark
  Operator op = Operator::add;
  Comparison comparison = Comparison::equal;
  Function function = Function::sine;
  NodeIndex first = no_node;
  NodeIndex second = no_node;
  int column = 0;
};

/// The trees of one program; nodes refer to one another by index.
using Nodes = std::vector<Node>;

/// Reads a value at the cursor: a number, a variable, a bracketed expression or a function.
NodeIndex read_value(Cursor& cursor, const ControlSheet& sheet, Nodes& nodes);

/// Reads an expression that stands without brackets, a comparison included.
NodeIndex read_bare(Cursor& cursor, const ControlSheet& sheet, Nodes& nodes);

/// Reads the number of a variable, the prefix already taken; takes the suffix.
NodeIndex read_variable_number(Cursor& cursor, const ControlSheet& sheet, Nodes& nodes);

/// What a value is right now.
class VariableSource {
 public:
  virtual ~VariableSource() = default;
  virtual Expected<double> variable(double number, int column) const = 0;
  virtual tl::unexpected<Problems> refuse(
      int column, const std::string& what, const std::string& advice,
      ProblemNumber number = ProblemNumber::program_error) const = 0;
};

Expected<double> evaluate(const Nodes& nodes, NodeIndex node, const ControlSheet& sheet,
                          const VariableSource& source);

/// How far a value may be from a whole number and still be taken for one (NISTIR 6556, 3.3.2.1).
inline constexpr double whole_number_slack = 0.0001;

}  // namespace pivotrace::control
