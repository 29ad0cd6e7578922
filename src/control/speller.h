// Writes numbers, variables, expressions and remarks the way one control wants them.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "pivotrace/control/steps.h"

namespace pivotrace {

/// Numbers given to the names of a program's variables and tables.
class VariableNumbers {
 public:
  VariableNumbers(const ControlProgram& program, const ControlSheet& sheet);

  /// False when the control sheet has fewer variables than the program needs; `needed()` says how many.
  bool fits() const { return fits_; }
  int needed() const { return needed_; }
  int number_of(const std::string& name) const;
  const std::map<std::string, int>& all() const { return numbers_; }

 private:
  void give(const std::string& name, int size, int& next_single, int& next_table);

  const ControlSheet& sheet_;
  std::map<std::string, int> numbers_;
  bool fits_ = true;
  int needed_ = 0;
};

class Speller {
 public:
  Speller(const ControlSheet& sheet, const VariableNumbers& numbers, bool inch)
      : sheet_(sheet), numbers_(numbers), inch_(inch) {}

  std::string number(double value, NumberKind kind) const;
  std::string variable(int number) const;
  std::string variable(const std::string& name) const { return variable(numbers_.number_of(name)); }
  std::string element(const ElementNode& node) const;

  /// The value as it stands after an equals sign.
  std::string assigned(const Value& value) const;
  /// The value as it stands after an axis letter.
  std::string after_letter(const Value& value) const;
  std::string condition(const Condition& condition) const;
  std::string negated(const Condition& condition) const;

  /// Text made of characters a remark may hold, in capitals where asked for.
  std::string plain_text(const std::string& text) const;
  std::string in_case(std::string text) const;

 private:
  enum class Side { first, left, right };
  std::string spell(const Value& value, int looser_than, Side side) const;
  std::string spell_number(const NumberNode& node, Side side) const;
  std::string spell_binary(const BinaryNode& node, int outer_level, Side side) const;
  std::string spell_arctangent(const ArctangentNode& node) const;
  std::string spell_machine_value(const MachineValueNode& node) const;
  int level_of(Operator op) const;
  std::string bracketed(const std::string& text) const;
  std::string operator_text(Operator op) const;
  std::string function_text(Function function) const;

  const ControlSheet& sheet_;
  const VariableNumbers& numbers_;
  bool inch_;
};

/// Lines of at most `width` characters, broken between words (0 = no limit).
std::vector<std::string> wrapped(const std::string& text, int width);

}  // namespace pivotrace
