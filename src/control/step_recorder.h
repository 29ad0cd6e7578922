// Records neutral steps one after the other, with names for variables and tables.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <utility>

#include "pivotrace/control/steps.h"

namespace pivotrace {

/// Three program variables, machine axes X, Y, Z.
using Vec = std::array<Variable, 3>;

Value3 values(const Vec& vec);
Value3 lengths(const Eigen::Vector3d& v_mm);
Value3 plus(const Value3& a, const Value3& b);
Value3 minus(const Value3& a, const Value3& b);
Value3 times(const Value& factor, const Value3& v);
Value dot(const Value3& a, const Value3& b);
/// Sum of v_i * factor_i with fixed factors; rounding dust of the factors is dropped.
Value dot(const Eigen::Vector3d& factors, const Value3& v);
/// Nearest whole number when the value is one but for rounding.
double tidy(double value);

class StepRecorder {
 public:
  explicit StepRecorder(ControlProgram& program) : program_(program), current_(&program.steps) {}

  template <class What>
  void add(What what) {
    current_->push_back(Step{std::move(what)});
  }
  void remark(const std::string& text) { add(RemarkStep{text, false}); }
  void heading(const std::string& text) { add(RemarkStep{text, true}); }

  /// The variable of this name, introduced when it is new. Throws std::logic_error where the name
  /// already stands for a table.
  Variable variable(const std::string& name);
  Vec vec(const std::string& name);
  /// The table of this name and size, introduced when it is new. Throws std::logic_error where the name
  /// already stands for a table of another size, or for a single variable.
  Table table(const std::string& name, int size);

  void set(const Variable& target, const Value& value, const std::string& note = {});
  void set(const Vec& target, const Value3& value);
  void set_element(const Table& target, const Value& index, const Value& value,
                   const std::string& note = {});
  Variable parameter(const std::string& name, const Value& value, const std::string& note);

  /// Steps that run when a condition holds: decided here when that is known, in the program else.
  template <class Body>
  void only_if(std::optional<bool> known, const Condition& condition, Body body) {
    if (known) {
      if (*known) body();
      return;
    }
    add(IfStep{condition, recorded(body)});
  }

  /// counter = first, first + 1, ... while counter < end. With `written_out` the body is recorded
  /// once per round with the counter as a number. body(counter value, number or -1).
  template <class Body>
  void repeat(const Variable& counter, int first, const Value& end, bool written_out, Body body) {
    if (written_out) {
      for (int i = first; i < static_cast<int>(*end.number()); ++i) body(count(i), i);
      return;
    }
    set(counter, count(first));
    Steps inner = recorded([&] {
      body(Value(counter), -1);
      set(counter, Value(counter) + count(1));
    });
    add(WhileStep{{counter, Comparison::less, end}, std::move(inner)});
  }

 private:
  template <class Body>
  Steps recorded(Body body) {
    Steps inner;
    Steps* const outer = std::exchange(current_, &inner);
    body();
    current_ = outer;
    return inner;
  }
  void introduce(const std::string& name, int size);

  ControlProgram& program_;
  Steps* current_;
};

}  // namespace pivotrace
