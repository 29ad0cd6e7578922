#include "rehearsal/made_up_fault.h"

#include <fmt/format.h>

#include <algorithm>

#include "pivotrace/geometry/angle.h"

namespace pivotrace::rehearsal {

bool MadeUpFault::begin_at(int touch, const RotaryAngles& commanded_rad) {
  if (!fault_ || begun_ || touch != std::max(0, fault_->touch)) return false;
  begun_ = true;
  switch (fault_->kind) {
    case FaultKind::no_trigger:
    case FaultKind::early_trigger: return false;
    case FaultKind::moved_artefact: return true;
    case FaultKind::wrong_turn:
      mirrored_at_rad_ = touch == 0 ? RotaryAngles{} : commanded_rad;
      return false;
    case FaultKind::index_slip: slip_pending_ = true; return false;
  }
  return false;
}

std::optional<std::string> MadeUpFault::turn(const RotaryAngles& from_rad,
                                             const RotaryAngles& to_rad) {
  if (mirrored_at_rad_ && !mirror_said_) {
    mirror_said_ = true;
    return "the rotary axes turn the wrong way from here on";
  }
  if (!slip_pending_) return std::nullopt;
  slip_pending_ = false;
  for (std::size_t i = 0; i < slip_rad_.size(); ++i) {
    if (to_rad[i] != from_rad[i]) slip_rad_[i] = index_slip_rad;
  }
  return fmt::format("this turn ends {:g} deg off and stays so", deg_from_rad(index_slip_rad));
}

double MadeUpFault::goes_to_rad(int axis, double target_rad) const {
  return mirrored_at_rad_ ? 2.0 * (*mirrored_at_rad_)[axis] - target_rad : target_rad;
}

}  // namespace pivotrace::rehearsal
