// A program as a neutral list of steps, before any control's spelling.
// Targets are machine coordinates as the control shows them (length datum applied), mm; rotary
// angles are degrees; feeds mm/min.
#pragma once

#include <array>
#include <map>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "pivotrace/control/operator_request.h"
#include "pivotrace/control/value.h"

namespace pivotrace {

struct Step;
using Steps = std::vector<Step>;

/// A remark for the reader; `heading` gets room around it.
struct RemarkStep {
  std::string text;
  bool heading = false;
};

/// variable := value. `note` stands beside it in the program.
struct AssignStep {
  std::variant<Variable, ElementNode> target;
  Value value;
  std::string note;
};

/// How much a move trusts the way to be free.
enum class MoveKind {
  rapid,    ///< only where nothing known is near
  feed,     ///< back along a way already travelled
  guarded,  ///< into unproved space: a trigger on the way ends it and stops the program
};

/// How an alarm gets the stylus away from where a step left it: always back the way it came, never
/// on through space no move has proved free.
enum class Retreat {
  none,           ///< nothing has moved yet
  up,             ///< straight up: it came straight down, or has left the artefact already
  back_across,    ///< to where the crossing in the travel plane began, then up
  back_over,      ///< over the stand-off, in the travel plane, then up
  back_round,     ///< to the corner of the way round, over it, then up
  out_of_a_touch  ///< to the stand-off, over it, then up
};

/// Straight move of X, Y, Z; axes without a value stay.
struct MoveStep {
  MoveKind kind = MoveKind::guarded;
  std::array<std::optional<Value>, 3> to;
  Value feed;                     ///< unused by rapid moves
  Retreat retreat = Retreat::up;  ///< of a guarded move that met something
};

/// Straight move that is to trigger before it ends. The trip point is MachineValue::trip_point.
struct SkipStep {
  std::array<std::optional<Value>, 3> to;
  Value feed;
  std::string untriggered;  ///< alarm when nothing was met
  /// Where the move starts, and the alarm when it triggered there, before it moved.
  std::optional<Value3> start;
  std::string early;
  Retreat retreat = Retreat::out_of_a_touch;
  /// Targets count from where the machine stands (the very first find, from a jogged position).
  bool from_here = false;
};

/// Moves one rotary axis, at the safe height.
struct TurnStep {
  char axis = 'A';
  Value to_deg;
};

/// A word of the machine builder, such as the one that clamps an axis.
struct ClampStep {
  std::string word;
};

/// The program goes on only where the rotary axis stands at this angle, whole turns aside. Nothing
/// is written where the control does not tell it or cannot stop: there the operator has been asked.
struct StandsAtStep {
  char axis = 'A';
  Value at_deg;
  std::string alarm;
};

/// Stops the spindle, turns it to an angle and holds it there; by hand where the control has no
/// word for it.
struct SpindleStep {
  std::optional<double> orient_deg;
};

/// One column of a record: a text, or a value.
struct RecordItem {
  std::string text;
  std::optional<Value> value = std::nullopt;
  NumberKind kind = NumberKind::plain;  ///< of the value: decides its decimals
};

/// One line of the record, or `at` in three variables where the control writes none.
struct LogStep {
  Value number;  ///< running number of the line, from 1
  Value3 at;
  std::vector<RecordItem> items;
};

/// Opens (with column names) or closes the record.
struct LogFileStep {
  bool open = true;
  std::vector<std::string> columns;
};

/// The program waits for the operator.
struct OperatorStopStep {
  OperatorRequest request;
};

/// The program ends with an alarm, retracted, unless the condition holds (less or less_equal).
struct DemandStep {
  Condition condition;
  std::string alarm;
  Retreat retreat = Retreat::up;
};

struct WhileStep {
  Condition condition;
  Steps body;
};

struct IfStep {
  Condition condition;
  Steps then;
};

/// Writes the origin of a work offset.
struct SetOffsetStep {
  int system = 1;
  std::array<std::optional<Value>, 3> origin;
};

struct Step {
  std::variant<RemarkStep, AssignStep, MoveStep, SkipStep, TurnStep, ClampStep, StandsAtStep,
               SpindleStep, LogStep, LogFileStep, OperatorStopStep, DemandStep, WhileStep, IfStep,
               SetOffsetStep>
      what;
};

/// One variable or table the program uses, in the order it was introduced.
struct ProgramVariable {
  std::string name;
  int size = 0;  ///< 0 = a single variable, otherwise the length of the table
};

/// What a program is for: decides what stands round its steps.
enum class ProgramKind {
  probing,  ///< moves and touches: plain state, refusals, cautions
  offsets,  ///< writes offsets, moves nothing
  proof,    ///< shows whether the control sheet is right
};

/// A whole program: what every control sheet spells.
struct ControlProgram {
  std::string title;
  int program_number = 7100;   ///< not in the 9000s, where many controls keep protected programs
  std::string identity;        ///< short fingerprint of what the program was made from
  double identity_number = 0;  ///< the same as a number, left in the results
  ProgramKind kind = ProgramKind::probing;
  bool inch = false;                ///< lengths and feeds are written in inches
  bool simulated = false;           ///< made from a rehearsal: the head says so
  bool clamps = false;              ///< the machine has words that clamp rotary axes
  std::vector<std::string> header;  ///< remarks: what, units, cautions
  std::vector<ProgramVariable> variables;
  Steps steps;
  std::map<Retreat, Steps> retreats;  ///< the moves of each, carried out before the alarm
  int record_lines = 0;
};

}  // namespace pivotrace
