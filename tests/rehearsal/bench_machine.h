// A small invented machine with one 4th axis along X and one ball, for the rehearsal tests.
#pragma once

#include "pivotrace/machine/machine.h"

namespace pivotrace::test {

inline Machine bench_machine() {
  Machine machine;
  machine.name = "bench";
  machine.linear.travel_mm = {Range{-300, 300}, Range{-300, 300}, Range{-300, 300}};
  RotaryAxis axis;
  axis.letter = 'A';
  axis.along = LinearAxis::X;
  axis.direction = Eigen::Vector3d::UnitX();
  axis.positive_turn = TurnSense::right_hand;
  machine.rotary.push_back(axis);
  machine.probe.stylus_diameter_mm = 6.0;
  machine.probe.stylus_length_mm = 50.0;
  machine.probe.shank_diameter_mm = 4.0;
  machine.probe.holder_diameter_mm = 40.0;
  machine.probe.holder_length_mm = 60.0;
  Artefact ball;
  ball.name = "ball";
  ball.carried_by = 0;
  ball.at_mm = {0, 0, 50};
  ball.diameter_mm = 20.0;
  ball.stem = Stem{-Eigen::Vector3d::UnitZ(), 8.0, 40.0};
  machine.artefacts.push_back(ball);
  return machine;
}

}  // namespace pivotrace::test
