// The numbers of a program's loops: one column per quantity that differs from stay to stay or from
// touch to touch. A quantity that is the same everywhere needs no table and is a plain number.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include "control/step_recorder.h"
#include "cycle/cycle_job.h"

namespace pivotrace {

/// Which one of a row is meant: a number where the program is written out, else a counter of it.
struct LoopIndex {
  Value value;
  std::optional<int> known;
};

/// As StepRecorder::repeat counts: -1 when only the program knows the number.
inline LoopIndex loop_index(const Value& value, int number) {
  return {value, number < 0 ? std::nullopt : std::optional<int>(number)};
}

/// One number for every stay of a part.
class StayColumn {
 public:
  /// Known at every stay: of a part written out, or the same number at all of them.
  explicit StayColumn(std::vector<Value> numbers) : numbers_(std::move(numbers)) {}
  /// Read from a table of the program inside its loop.
  StayColumn(std::vector<Value> numbers, Table table)
      : numbers_(std::move(numbers)), table_(std::move(table)) {}

  Value at(const LoopIndex& stay) const;
  /// The same number at every stay.
  bool is_uniform() const;

 private:
  std::vector<Value> numbers_;
  std::optional<Table> table_;
};

/// Columns of a touch: where to touch, tool frame, what its excess tells of the centre, and whether
/// it is come to beside the artefact.
inline constexpr int touch_columns = 7;

/// The touches of one visit, at every stay of a part.
class TouchTable {
 public:
  /// `rows`: the different touches; `starts`: the row where those of a stay begin; `tables`: of the
  /// columns that are not the same number in all rows.
  TouchTable(std::vector<const CycleVisit*> visits, std::vector<CycleTouch> rows, StayColumn starts,
             std::array<std::optional<Table>, touch_columns> tables)
      : visits_(std::move(visits)),
        rows_(std::move(rows)),
        starts_(std::move(starts)),
        tables_(std::move(tables)) {}

  Value3 direction(const LoopIndex& stay, const LoopIndex& touch) const;
  Value3 share(const LoopIndex& stay, const LoopIndex& touch) const;
  /// 1 or 0, CycleTouch::beside.
  Value beside(const LoopIndex& stay, const LoopIndex& touch) const;

 private:
  Value entry(int column, const LoopIndex& stay, const LoopIndex& touch) const;

  std::vector<const CycleVisit*> visits_;  ///< per stay
  std::vector<CycleTouch> rows_;
  StayColumn starts_;
  std::array<std::optional<Table>, touch_columns> tables_;
};

/// One visit, at every stay of a part.
struct VisitTable {
  TouchTable touches;
  StayColumn touch_count;
  StayColumn passes;  ///< fast ones to find, and the one that measures
  /// How far from its prediction a touch that only finds may be, and a feeler, in shares of `rough`.
  StayColumn met_off, felt_off;
  /// Per coordinate of the layout, machine X, Y, Z: empty where the part does not learn.
  std::vector<std::array<StayColumn, 3>> gain;
};

/// One segment of the layout as a part of the program, with its numbers.
struct Part {
  const Segment& segment;
  int number = 1;  ///< from 1
  bool looped = false;
  std::vector<StayColumn> angles_deg;  ///< per rotary axis
  StayColumn proof;                    ///< TurnProof as a count
  std::vector<StayColumn> empty;       ///< X, Y, Z of the place to be felt empty
  std::vector<VisitTable> visits;

  const CycleStay& first() const { return segment.stays.front(); }
  /// The program reads the angle of this axis from a table.
  bool angle_in_table(int axis) const { return looped && !angles_deg[axis].is_uniform(); }
  int stays() const { return static_cast<int>(segment.stays.size()); }
};

/// Some stay of the part has this proof.
bool uses_proof(const Segment& segment, TurnProof proof);

/// The parts in order; the tables of those that are looped are recorded.
std::vector<Part> write_tables(StepRecorder& steps, const CycleJob& job);

}  // namespace pivotrace
