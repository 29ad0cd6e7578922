#include "cycle/cycle_layout.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <iterator>

#include "pivotrace/machine/tool_axis.h"
#include "pivotrace/plan/check_plan.h"

namespace pivotrace {

namespace {

/// Below this spread a centre from running sums would scatter more than 2.5 times a position.
constexpr double least_spread = 0.16;

class Arranger {
 public:
  Arranger(const Machine& machine, const MachineState& state, const Plan& plan,
           const Arrangement& how)
      : machine_(machine),
        state_(state),
        plan_(plan),
        how_(how),
        foresight_(how.for_sums ? foresee(machine, plan, sums_sure_mm) : foresee(machine, plan)) {}

  CycleLayout arrange() {
    layout_.coordinates = foresight_.coordinates;
    for (const PlannedTouch& touch : foresight_.targets)
      layout_.targets.push_back(target_at(touch));
    std::vector<CycleStay> stays;
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
  CycleTarget target_at(const PlannedTouch& touch) const {
    const PlacedTouch placed = place_touch(machine_, state_, plan_.distances, {}, touch);
    CycleTarget target{touch.artefact,   touch.along_mm,   touch.out_mm,
                       touch.around_rad, placed.centre_mm, machine_.artefacts[touch.artefact].name};
    int same_artefact = 0;
    for (const CycleTarget& other : layout_.targets) {
      if (other.artefact == touch.artefact) ++same_artefact;
    }
    if (same_artefact > 0) target.name += fmt::format(" {}", same_artefact + 1);
    return target;
  }

  CycleStay stay_of(const PlannedStation& station, int number) const {
    CycleStay stay{number, station.angles_rad, station.flip,
                   {},     TurnProof::none,    Eigen::Vector3d::Zero()};
    std::vector<WayBetween> ways(station.touches.size(), WayBetween::over);
    if (how_.watched) ways = ways_between(machine_, state_, plan_.distances, station);
    for (const ForeseenVisit& foreseen : foresight_.stations[number - 1]) {
      CycleVisit visit{foreseen.target,         {},
                       foreseen.finding_passes, foreseen.met_off_mm,
                       foreseen.felt_off_mm,    foreseen.gain};
      for (std::size_t i = 0; i < foreseen.touches; ++i) {
        const PlacedTouch placed =
            place_touch(machine_, state_, plan_.distances, station.angles_rad,
                        station.touches[foreseen.first_touch + i]);
        visit.touches.push_back(
            {direction_in_tool(machine_, state_, placed.outward, station.angles_rad),
             Eigen::Vector3d::Zero(), ways[foreseen.first_touch + i] != WayBetween::over});
      }
      if (visit.touches.size() > 1) visit.touches[0].beside = visit.touches[1].beside;
      share_out(visit);
      stay.visits.push_back(std::move(visit));
    }
    return stay;
  }

  /// A self-finding program starts with the axes turned to station 1 already, by the operator.
  void prove_turn(CycleStay& stay) const {
    const bool first = stay.number == 1;
    if (first && plan_.self_find) return;
    const RotaryAngles before = first ? RotaryAngles{} : plan_.stations[stay.number - 2].angles_rad;
    const WrongTurn wrong = wrong_turn_at(machine_, state_, plan_.distances, before,
                                          plan_.stations[stay.number - 1], how_.watched);
    if (wrong.felt) return;
    stay.proof = wrong.empty_shown_mm ? TurnProof::feel : TurnProof::watch;
    stay.empty_shown_mm = wrong.empty_shown_mm.value_or(Eigen::Vector3d::Zero());
  }

  /// Least-squares shift of the centre from the radial excess of each touch; directions the touches
  /// do not see (along a pin) get no share.
  static void share_out(CycleVisit& visit) {
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

  bool learns(const CycleStay& stay) const {
    return how_.for_sums || static_cast<std::size_t>(stay.number - 1) < foresight_.learned_after;
  }

  bool same_signature(const CycleStay& a, const CycleStay& b) const {
    if (a.flip != b.flip || a.visits.size() != b.visits.size() || learns(a) != learns(b)) {
      return false;
    }
    for (std::size_t i = 0; i < a.visits.size(); ++i) {
      if (a.visits[i].target != b.visits[i].target) return false;
    }
    return true;
  }

  /// The axes in which two stays differ.
  std::vector<int> turned_between(const CycleStay& a, const CycleStay& b) const {
    std::vector<int> turned;
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      if (a.angles_rad[i] != b.angles_rad[i]) turned.push_back(static_cast<int>(i));
    }
    return turned;
  }

  Segment segment_from(const std::vector<CycleStay>& stays, std::size_t first) const {
    Segment segment;
    segment.learns = learns(stays[first]);
    segment.stays.push_back(stays[first]);
    for (std::size_t i = first + 1; i < stays.size(); ++i) {
      if (!same_signature(stays[first], stays[i])) break;
      std::vector<int> axes;
      std::vector<int> turned = turned_between(stays[first], stays[i]);
      std::set_union(segment.axes.begin(), segment.axes.end(), turned.begin(), turned.end(),
                     std::back_inserter(axes));
      if (how_.for_sums && axes.size() > 1) break;
      segment.axes = std::move(axes);
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
    if (segment.axes.size() != 1 || segment.stays.size() < 3) return;
    const int turning = segment.axes.front();
    const RotaryAxis& axis = machine_.rotary[turning];
    const RotaryAngles& base = segment.stays.front().angles_rad;
    for (int outer = 0; outer < turning; ++outer) {
      if (machine_.rotary[outer].side == axis.side && base[outer] != 0.0) return;
    }
    const int lead = layout_.targets[segment.stays.front().visits.front().target].artefact;
    if (axis.side == AxisSide::work && machine_.artefacts[lead].carried_by < turning) return;
    if (!seen_across(lead, axis.direction)) return;
    std::vector<double> angles;
    for (const CycleStay& stay : segment.stays) angles.push_back(stay.angles_rad[turning]);
    segment.gives_centre = spread_of(angles) >= least_spread;
  }

  const Machine& machine_;
  const MachineState& state_;
  const Plan& plan_;
  const Arrangement how_;
  const Foresight foresight_;
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
                    const Arrangement& how) {
  return Arranger(machine, state, plan, how).arrange();
}

}  // namespace pivotrace
