#include <doctest/doctest.h>

#include "pivotrace/machine/length_datum.h"
#include "pivotrace/machine/tool_axis.h"

using namespace pivotrace;

// From the meaning of the words: where the control shows Z of the tip, the centre of a stylus ball of
// 6 mm stands 3 mm higher than the Z shown.
TEST_CASE("the Z a control shows of the tip lies a stylus radius under the centre") {
  Machine machine;
  machine.probe.stylus_diameter_mm = 6.0;
  const Eigen::Vector3d centre_mm(10.0, 20.0, 30.0);
  CHECK(shown_by_control(machine, 3.0, centre_mm) == centre_mm);
  machine.probe.length_datum = LengthDatum::tip;
  CHECK(shown_by_control(machine, 3.0, centre_mm) == Eigen::Vector3d(10.0, 20.0, 27.0));
  CHECK(shown_inside(machine, 3.0, shown_by_control(machine, 3.0, centre_mm)) == centre_mm);
}

TEST_CASE("a head turned by a right angle lays the tool axis flat and finds it in the tool again") {
  Machine machine;
  RotaryAxis head;
  head.letter = 'B';
  head.side = AxisSide::tool;
  head.direction = Eigen::Vector3d::UnitY();
  machine.rotary.push_back(head);
  const MachineState state = nominal_state(machine);
  const RotaryAngles quarter = {1.5707963267948966};
  const Eigen::Vector3d axis = tool_axis_in_machine(machine, state, quarter);
  CHECK((axis - Eigen::Vector3d::UnitX()).norm() < 1e-15);
  CHECK((direction_in_tool(machine, state, axis, quarter) - Eigen::Vector3d::UnitZ()).norm() <
        1e-15);
  CHECK(
      (tool_rotation(machine, state, quarter) * Eigen::Vector3d::UnitX() + Eigen::Vector3d::UnitZ())
          .norm() < 1e-15);
}
