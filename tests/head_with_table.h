// A head over a table, of the swivel head that ships: two axes, one on either side.
#pragma once

#include <numbers>

#include "example_machine.h"

namespace pivotrace::testing {

/// The swivel head of the demo over a round table that carries the ball.
inline Machine head_with_table() {
  Machine machine = example("swivel-head");
  RotaryAxis table;
  table.letter = 'C';
  table.side = AxisSide::work;
  table.along = LinearAxis::Z;
  table.direction = Eigen::Vector3d::UnitZ();
  table.positive_turn = TurnSense::left_hand;
  table.centre_mm = {-480.0, -250.0, -400.0};
  table.quote_at_mm = -400.0;
  table.travel_rad = {-2.0 * std::numbers::pi, 2.0 * std::numbers::pi};
  table.index_sigma_rad = machine.rotary.front().index_sigma_rad;
  table.index_sigma_stated = true;
  machine.rotary.push_back(table);
  machine.artefacts.front().carried_by = machine.rotary_index('C');
  return machine;
}

}  // namespace pivotrace::testing
