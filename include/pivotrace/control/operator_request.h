// What a program asks of the operator, in one form: the emitter writes it, whoever stands in for the
// operator in a rehearsal reads it, both from the same table.
#pragma once

#include <array>
#include <optional>
#include <string>
#include <variant>
#include <vector>

namespace pivotrace {

/// What the operator has to do before starting again.
enum class OperatorTask {
  read,              ///< nothing but read and start
  turn_spindle,      ///< to `degrees`, and hold it there
  look_at_axes,      ///< start only if every rotary axis stands where it was told to
  look_for_trigger,  ///< start only if the probe has triggered
  type_position,     ///< put the machine position shown into three variables
  look_at_value,     ///< start only if a variable is not below 0: the control itself cannot stop
};

/// What stands in a variable: shown where the control can, else the variable is named.
struct ShownVariable {
  std::string name;
};
/// A variable as the control spells it.
struct NamedVariable {
  std::string name;
};
struct ShownLength {
  double mm = 0.0;
};
/// Origin of a work offset as the control keeps it.
struct ShownOrigin {
  int system = 1;
  char letter = 'X';
};
/// The words of the task itself, from the table.
struct TaskWords {};

using RequestPart =
    std::variant<std::string, ShownVariable, NamedVariable, ShownLength, ShownOrigin, TaskWords>;

struct OperatorRequest {
  OperatorTask task = OperatorTask::read;
  double degrees = 0.0;                  ///< of turn_spindle
  std::string where;                     ///< of look_at_axes: the angles commanded
  std::array<std::string, 3> variables;  ///< names; type_position: X Y Z, look_at_value: the first
  std::vector<RequestPart> text;
};

/// A stop that only tells something.
OperatorRequest told(std::vector<RequestPart> text);
OperatorRequest spindle_request(double degrees);
OperatorRequest look_at_axes_request(const std::string& where);
OperatorRequest look_for_trigger_request();
OperatorRequest type_position_request(const std::array<std::string, 3>& variable_names);
/// `wrong` says what is wrong where the variable is below 0.
OperatorRequest look_at_value_request(const std::string& variable_name, const std::string& wrong);

/// The words of a request's task; `spelled` are its variables as the control writes them.
std::string task_words(const OperatorRequest& request, const std::array<std::string, 3>& spelled);

/// What a text shown at a stop asks for. `variables` of the answer are as they stand in the text.
/// Letter case and spaces do not matter; a text without a task of the table is to be read.
OperatorRequest read_request(const std::string& text);

}  // namespace pivotrace
