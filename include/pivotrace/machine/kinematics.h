// From the position a control shows to the frame an artefact is carried in, and back.
//
// Work side, outermost first: p_machine = R1(t1) R2(t2) ... p_carried, Ri the right-handed rotation
// by s_i t_i about line i. Tool side: stylus = shown + H1(t1) H2(t2) ... arm, lines relative to the
// shown position, so the shown position itself does not move the lines.
#pragma once

#include "pivotrace/contact/chain.h"
#include "pivotrace/contact/gap.h"
#include "pivotrace/machine/state.h"

namespace pivotrace {

/// The rotary axes of this state as a chain of `contact`, all at 0.
contact::Chain<double> chain_at_zero(const Machine& machine, const MachineState& state);

/// Turns a chain that stands at 0 to these angles.
void stand_at(contact::Chain<double>& chain, const RotaryAngles& angles_rad);

/// The rotary axes of this state as they stand at these angles.
contact::Chain<double> chain_at(const Machine& machine, const MachineState& state,
                                const RotaryAngles& angles_rad);

/// The same place in the fixed-size types of `contact`.
contact::Place<double> contact_place(const ArtefactPlace& place);

/// Stylus-ball centre in the machine frame for a shown position [mm] and rotary angles [rad].
/// `flip` = spindle turned by 180 deg: the X and Y parts of the stylus offset change sign.
Eigen::Vector3d stylus_in_machine(const Machine& machine, const MachineState& state,
                                  const Eigen::Vector3d& shown_mm, const RotaryAngles& angles_rad,
                                  bool flip = false);

/// Shown position that brings the stylus-ball centre to `stylus_mm`: inverse of the above.
Eigen::Vector3d shown_from_stylus(const Machine& machine, const MachineState& state,
                                  const Eigen::Vector3d& stylus_mm, const RotaryAngles& angles_rad,
                                  bool flip = false);

/// A machine-frame point seen from what work-side axis `last` carries (-1 = bed: unchanged).
Eigen::Vector3d carried_from_machine(const Machine& machine, const MachineState& state, int last,
                                     const Eigen::Vector3d& p_mm, const RotaryAngles& angles_rad);

/// A carried-frame point seen from the machine: inverse of the above.
Eigen::Vector3d machine_from_carried(const Machine& machine, const MachineState& state, int last,
                                     const Eigen::Vector3d& p_mm, const RotaryAngles& angles_rad);

/// Rotation part of machine_from_carried, 3x3.
Eigen::Matrix3d machine_from_carried_rotation(const Machine& machine, const MachineState& state,
                                              int last, const RotaryAngles& angles_rad);

/// Signed distance from the stylus-ball surface to the artefact surface [mm]: 0 = just touching,
/// positive = in the air. Stylus centre in the carried frame. Ball: |p-b|-(R+r);
/// pin: distance to the axis-(R+r); bore: (R-r)-distance; flat: n.(p-q)-r.
double gap_mm(ArtefactKind kind, const ArtefactPlace& place, double stylus_radius_mm,
              const Eigen::Vector3d& stylus_in_carried_mm);

/// Unit vector, carried frame, along which the gap grows fastest (outward surface normal).
Eigen::Vector3d outward_normal(ArtefactKind kind, const ArtefactPlace& place,
                               const Eigen::Vector3d& stylus_in_carried_mm);

}  // namespace pivotrace
