#include "cycle/touch_record.h"

namespace pivotrace {

std::vector<std::string> record_columns(const Machine& machine) {
  std::vector<std::string> columns = {"touch", "station", "artefact"};
  for (const RotaryAxis& axis : machine.rotary) columns.emplace_back(1, axis.letter);
  for (const char letter : linear_letters) columns.emplace_back(1, letter);
  columns.emplace_back("flip");
  columns.emplace_back("units");
  return columns;
}

/// A program with loops counts by itself, or parts written out would not go on from its number.
Value TouchRecord::next_number() {
  if (!job_.options.loops) return count(++written_);
  steps_.set(variables_.number, Value(variables_.number) + count(1));
  return variables_.number;
}

void TouchRecord::write(const Part& part, const LoopIndex& stay, const CycleTarget& target,
                        const StandingAxes& axes) {
  LogStep log;
  log.number = next_number();
  log.at = values(variables_.trip);
  const Value station = stay.known ? count(part.segment.stays[*stay.known].number)
                                   : stay.value + count(part.first().number);
  log.items = {{"", log.number, NumberKind::count},
               {"", station, NumberKind::count},
               {job_.machine.artefacts[target.artefact].name}};
  for (std::size_t i = 0; i < job_.machine.rotary.size(); ++i) {
    log.items.push_back({"", axes.angle_deg(static_cast<int>(i)), NumberKind::angle});
  }
  for (const Value& coordinate : log.at) log.items.push_back({"", coordinate, NumberKind::length});
  log.items.push_back({part.first().flip ? "1" : "0"});
  log.items.push_back({job_.unit()});
  steps_.add(log);
}

}  // namespace pivotrace
