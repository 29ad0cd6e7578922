// The slots of a control sheet: one table for reading a sheet, for listing what is open, and for the
// questions that fill one in.
#pragma once

#include <map>
#include <string>
#include <variant>
#include <vector>

#include "pivotrace/control/control_sheet.h"

namespace pivotrace {

/// Where the answer to a slot is kept. Each place finds its entry in a sheet.
using TextPlace = std::string& (*)(ControlSheet&);
using FlagPlace = bool& (*)(ControlSheet&);
using WholePlace = int& (*)(ControlSheet&);
using NumberPlace = double& (*)(ControlSheet&);
using RangePlace = VariableRange& (*)(ControlSheet&);
using OptionalRangePlace = std::optional<VariableRange>& (*)(ControlSheet&);
/// Variable numbers by axis letter.
using AxesPlace = std::map<char, int>& (*)(ControlSheet&);
using LinesPlace = std::vector<std::string>& (*)(ControlSheet&);
/// The spellings of one word; the first is the one written.
struct WordPlace {
  Meaning meaning;
};
struct OperatorPlace {
  Operator op;
};
struct ComparisonPlace {
  Comparison comparison;
};
struct FunctionPlace {
  Function function;
};
/// The variable that holds the number of the word in force.
struct ModalPlace {
  ModalGroup group;
};
/// One of a few words; `choices` of the slot, in the order of the enumerators.
struct ChoicePlace {
  int (*get)(const ControlSheet&);
  void (*set)(ControlSheet&, int);
};

using SlotPlace = std::variant<TextPlace, FlagPlace, WholePlace, NumberPlace, RangePlace,
                               OptionalRangePlace, AxesPlace, LinesPlace, WordPlace, OperatorPlace,
                               ComparisonPlace, FunctionPlace, ModalPlace, ChoicePlace>;

struct Slot {
  std::string table;  ///< "" = the top of the file
  std::string key;
  SlotPlace place;
  /// What the manual is asked; empty: not asked, the default serves nearly every control.
  std::string question;
  std::string needed_for;  ///< which features use it
  std::string without;     ///< what programs do while it is open; empty: no program is made
  std::string example;     ///< an answer in general form
  std::vector<std::string> choices;

  /// "skip.trip_variable"; "name" at the top.
  std::string name() const { return table.empty() ? key : table + "." + key; }
  bool is_asked() const { return !question.empty(); }
};

/// All slots, in the order of a sheet.
const std::vector<Slot>& slots();
const Slot* find_slot(const std::string& name);

/// The slots a sheet leaves open, in the order of the table.
std::vector<const Slot*> open_slots(const ControlSheet& sheet);

}  // namespace pivotrace
