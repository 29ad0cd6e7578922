// Builds a machine in code and asks where a point of the table stands after a turn.
#include <pivotrace/geometry/angle.h>
#include <pivotrace/machine/kinematics.h>
#include <pivotrace/results/statistics.h>

#include <cstdio>

int main() {
  pivotrace::Machine machine;
  machine.name = "invented table";
  pivotrace::RotaryAxis table;
  table.letter = 'C';
  table.direction = Eigen::Vector3d::UnitZ();
  table.along = pivotrace::LinearAxis::Z;
  table.centre_mm = {-300.0, -200.0, 0.0};
  machine.rotary.push_back(table);

  const pivotrace::MachineState state = pivotrace::nominal_state(machine);
  const pivotrace::RotaryAngles quarter = {pivotrace::rad_from_deg(90.0)};
  const Eigen::Vector3d carried_mm(-250.0, -200.0, 40.0);
  const Eigen::Vector3d machine_mm =
      pivotrace::machine_from_carried(machine, state, 0, carried_mm, quarter);
  std::printf("C90: X%.3f Y%.3f Z%.3f mm, factor of a 95 %% interval %.3f\n", machine_mm.x(),
              machine_mm.y(), machine_mm.z(), pivotrace::student_t_quantile(0.975, 10.0));

  // Right-handed by 90 degrees: 50 mm out along X becomes 50 mm out along Y.
  return (machine_mm - Eigen::Vector3d(-300.0, -150.0, 40.0)).norm() < 1e-9 ? 0 : 1;
}
