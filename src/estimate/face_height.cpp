#include "estimate/face_height.h"

#include <cmath>

namespace pivotrace {

namespace {

/// Sine of the largest angle between an axis and a face it is said to lie along.
constexpr double along_the_face = 0.5;

}  // namespace

std::vector<Output> face_heights(const Model& model, int artefact,
                                 const Eigen::VectorXd& unknowns) {
  std::vector<Output> heights;
  const Machine& machine = model.machine();
  const Artefact& flat = machine.artefacts[artefact];
  if (flat.kind != ArtefactKind::flat) return heights;
  for (const int axis : machine.work_chain(flat.carried_by)) {
    const RotaryAxis& rotary = machine.rotary[axis];
    if (model.layout().axis_first[axis] < 0) continue;
    if (std::abs(rotary.direction.normalized().dot(flat.direction.normalized())) > along_the_face) {
      continue;
    }
    const auto height = [&](const Eigen::VectorXd& x) {
      const MachineState state = model.state(x);
      const ArtefactPlace& face = state.artefacts[artefact];
      return face.direction.dot(face.point_mm - state.axis_lines[axis].point_mm);
    };
    heights.push_back(
        {height_value(flat.name, rotary.letter), height(unknowns), differences(unknowns, height)});
  }
  return heights;
}

}  // namespace pivotrace
