#include "cycle/cycle_layout.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <cmath>

#include "pivotrace/machine/tool_axis.h"
#include "pivotrace/plan/check_plan.h"

namespace pivotrace {

namespace {

/// Below this spread a centre from running sums would scatter more than 2.5 times a position.
constexpr double least_spread = 0.16;

bool same_target(const CycleTarget& target, const PlannedTouch& touch, ArtefactKind kind) {
  if (target.artefact != touch.artefact) return false;
  if (kind == ArtefactKind::ball) return true;
  if (kind == ArtefactKind::flat) {
    return target.out_mm == touch.out_mm &&
           (touch.out_mm == 0.0 || target.around_rad == touch.around_rad);
  }
  return target.along_mm == touch.along_mm;
}

class Arranger {
 public:
  Arranger(const Machine& machine, const MachineState& state, const Plan& plan, bool watched)
      : machine_(machine), state_(state), plan_(plan), watched_(watched) {}

  CycleLayout arrange() {
    std::vector<Stay> stays;
    for (const PlannedStation& station : plan_.stations) {
      stays.push_back(stay_of(station, static_cast<int>(stays.size()) + 1));
      prove_turn(stays.back());
    }
    for (std::size_t first = 0; first < stays.size();) {
      Segment segment = segment_from(stays, first);
      first += segment.stays.size();
      judge_sums(segment);
      layout_.segments.push_back(std::move(segment));
    }
    return std::move(layout_);
  }

 private:
  int target_of(const PlannedTouch& touch) {
    const Artefact& artefact = machine_.artefacts[touch.artefact];
    for (std::size_t i = 0; i < layout_.targets.size(); ++i) {
      if (same_target(layout_.targets[i], touch, artefact.kind)) return static_cast<int>(i);
    }
    const PlacedTouch placed = place_touch(machine_, state_, plan_.distances, {}, touch);
    CycleTarget target{touch.artefact,   touch.along_mm,   touch.out_mm,
                       touch.around_rad, placed.centre_mm, artefact.name};
    int same_artefact = 0;
    for (const CycleTarget& other : layout_.targets) {
      if (other.artefact == touch.artefact) ++same_artefact;
    }
    if (same_artefact > 0) target.name += fmt::format(" {}", same_artefact + 1);
    layout_.targets.push_back(target);
    return static_cast<int>(layout_.targets.size()) - 1;
  }

  Stay stay_of(const PlannedStation& station, int number) {
    Stay stay{number, station.angles_rad, station.flip,
              {},     TurnProof::none,    Eigen::Vector3d::Zero()};
    for (const PlannedTouch& touch : station.touches) {
      const int target = target_of(touch);
      if (stay.visits.empty() || stay.visits.back().target != target) {
        stay.visits.push_back({target, {}});
      }
      const PlacedTouch placed =
          place_touch(machine_, state_, plan_.distances, station.angles_rad, touch);
      stay.visits.back().touches.push_back(
          {direction_in_tool(machine_, state_, placed.outward, station.angles_rad),
           Eigen::Vector3d::Zero()});
    }
    for (Visit& visit : stay.visits) share_out(visit);
    return stay;
  }

  /// A self-finding program starts with the axes turned to station 1 already, by the operator.
  void prove_turn(Stay& stay) const {
    const bool first = stay.number == 1;
    if (first && plan_.self_find) return;
    const RotaryAngles before = first ? RotaryAngles{} : plan_.stations[stay.number - 2].angles_rad;
    const WrongTurn wrong = wrong_turn_at(machine_, state_, plan_.distances, before,
                                          plan_.stations[stay.number - 1], watched_);
    if (wrong.felt) return;
    stay.proof = wrong.empty_shown_mm ? TurnProof::feel : TurnProof::watch;
    stay.empty_shown_mm = wrong.empty_shown_mm.value_or(Eigen::Vector3d::Zero());
  }

  /// Least-squares shift of the centre from the radial excess of each touch; directions the touches
  /// do not see (along a pin) get no share.
  static void share_out(Visit& visit) {
    Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
    for (const CycleTouch& touch : visit.touches) {
      normal += touch.direction * touch.direction.transpose();
    }
    const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> eigen(normal);
    Eigen::Matrix3d inverse = Eigen::Matrix3d::Zero();
    for (int i = 0; i < 3; ++i) {
      const double value = eigen.eigenvalues()[i];
      if (value < 0.1) continue;
      inverse += eigen.eigenvectors().col(i) * eigen.eigenvectors().col(i).transpose() / value;
    }
    for (CycleTouch& touch : visit.touches) touch.share = inverse * touch.direction;
  }

  static bool same_signature(const Stay& a, const Stay& b) {
    if (a.flip != b.flip || a.visits.size() != b.visits.size()) return false;
    for (std::size_t i = 0; i < a.visits.size(); ++i) {
      if (a.visits[i].target != b.visits[i].target ||
          a.visits[i].touches.size() != b.visits[i].touches.size()) {
        return false;
      }
    }
    return true;
  }

  /// The one axis in which two stays differ, -1 for none, -2 for several.
  int turned_between(const Stay& a, const Stay& b) const {
    int turned = -1;
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      if (a.angles_rad[i] == b.angles_rad[i]) continue;
      turned = turned == -1 ? static_cast<int>(i) : -2;
    }
    return turned;
  }

  Segment segment_from(const std::vector<Stay>& stays, std::size_t first) const {
    Segment segment;
    segment.stays.push_back(stays[first]);
    for (std::size_t i = first + 1; i < stays.size(); ++i) {
      if (!same_signature(stays[first], stays[i])) break;
      const int turned = turned_between(stays[first], stays[i]);
      if (turned == -2 || (segment.axis >= 0 && turned >= 0 && turned != segment.axis)) break;
      if (turned >= 0) segment.axis = turned;
      segment.stays.push_back(stays[i]);
    }
    return segment;
  }

  /// The centre of the artefact is seen in the plane the axis turns it in.
  bool seen_across(int artefact, const Eigen::Vector3d& axis) const {
    const ArtefactKind kind = machine_.artefacts[artefact].kind;
    if (kind == ArtefactKind::ball) return true;
    if (kind == ArtefactKind::flat) return false;
    return std::abs(state_.artefacts[artefact].direction.dot(axis.normalized())) > 0.99;
  }

  void judge_sums(Segment& segment) const {
    if (segment.axis < 0) return;
    const RotaryAxis& axis = machine_.rotary[segment.axis];
    const RotaryAngles& base = segment.stays.front().angles_rad;
    for (int outer = 0; outer < segment.axis; ++outer) {
      if (machine_.rotary[outer].side == axis.side && base[outer] != 0.0) return;
    }
    const int lead = layout_.targets[segment.stays.front().visits.front().target].artefact;
    if (axis.side == AxisSide::work && machine_.artefacts[lead].carried_by < segment.axis) return;
    if (!seen_across(lead, axis.direction)) return;
    std::vector<double> angles;
    for (const Stay& stay : segment.stays) {
      angles.push_back(stay.angles_rad[segment.axis]);
      if (angles.size() >= 3 && spread_of(angles) >= least_spread) {
        segment.updates_centre = true;
        segment.sums_usable_after = static_cast<int>(angles.size());
        return;
      }
    }
  }

  const Machine& machine_;
  const MachineState& state_;
  const Plan& plan_;
  bool watched_;
  CycleLayout layout_;
};

}  // namespace

double spread_of(const std::vector<double>& angles_rad) {
  double c = 0.0;
  double s = 0.0;
  for (const double angle : angles_rad) {
    c += std::cos(angle);
    s += std::sin(angle);
  }
  const auto n = static_cast<double>(angles_rad.size());
  return angles_rad.empty() ? 0.0 : n - (c * c + s * s) / n;
}

CycleLayout lay_out(const Machine& machine, const MachineState& state, const Plan& plan,
                    bool watched) {
  return Arranger(machine, state, plan, watched).arrange();
}

}  // namespace pivotrace
