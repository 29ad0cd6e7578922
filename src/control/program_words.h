// The words of one block with their values, and what the parts of a running program share.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "control/block.h"
#include "control/control_state.h"
#include "pivotrace/control/interpreter.h"

namespace pivotrace::control {

struct WordValue {
  double value = 0.0;
  int column = 0;
  bool used = false;
};

struct Words {
  struct Code {
    std::optional<Meaning> meaning;
    std::string auxiliary;
    int column = 0;
  };

  std::map<char, WordValue> letters;
  std::vector<Code> codes;

  const Code* find(Meaning meaning) const;
  const Code* find(ModalGroup group) const;
  /// The word of this letter, counted as used; nullptr when there is none.
  WordValue* take(char letter);
};

/// Why the program does not go on.
struct Halt {
  ProgramEnd end = ProgramEnd::refused;
  Problem problem;
};
/// Nothing = go on.
using Stop = std::optional<Halt>;

/// What the parts of a run share.
struct RunContext {
  const Program& program;
  const ControlSheet& sheet;
  const Vocabulary& vocabulary;
  ControlledMachine& machine;
  Variables& variables;
  ControlState state;
  const Block* block = nullptr;  ///< the one being executed

  Halt refusal(int column, const std::string& what, const std::string& advice) const;
  Halt alarm(ProblemNumber number, int column, const std::string& what,
             const std::string& advice) const;

  bool has_axis_word(const Words& words) const;
  /// Marks every axis word as used and hands it over: action(axis 0..5, value).
  template <class Action>
  Stop for_each_axis_word(Words& words, const Action& action) const {
    for (auto& [letter, word] : words.letters) {
      if (!vocabulary.is_axis_letter(letter)) continue;
      const int axis = axis_index(letter);
      if (axis < 0) return refusal(word.column, "no such axis", "use X Y Z A B C");
      if (is_linear(axis) && !state.units_known()) {
        return refusal(word.column, "a length before the units are known", "say the units first");
      }
      word.used = true;
      action(axis, word.value);
    }
    return std::nullopt;
  }
};

/// What a machine answered, as a reason to stop.
Stop from_machine(MachineAnswer answer);

/// The whole number a value stands for, or nothing.
std::optional<int> whole_number(double number);

}  // namespace pivotrace::control
