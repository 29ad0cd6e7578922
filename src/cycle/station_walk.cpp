#include "cycle/station_walk.h"

#include <fmt/format.h>

#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

std::string heading_of(const Machine& machine, const Part& part) {
  const int axis = part.segment.axis;
  return axis >= 0 ? fmt::format("PART {}: {} STATIONS, AXIS {} TURNS", part.number, part.stays(),
                                 machine.rotary[axis].letter)
                   : fmt::format("PART {}: STATION {}", part.number, part.first().number);
}

/// The axis of the part stands at this stay as it did at the one before.
bool stands_there(const Segment& segment, const LoopIndex& stay) {
  if (segment.axis < 0) return true;
  if (!stay.known || *stay.known == 0) return false;
  return segment.stays[*stay.known].angles_rad[segment.axis] ==
         segment.stays[*stay.known - 1].angles_rad[segment.axis];
}

}  // namespace

std::optional<FoundCentre> StationWalk::walk(const Part& part, bool keep_places) {
  const Segment& segment = part.segment;
  steps_.heading(heading_of(job_.machine, part));
  moves_.up_to_safe_height();
  turn_others(part);
  std::optional<RunningCentre> centre;
  if (segment.updates_centre) {
    centre.emplace(job_, part, variables_.touch, keep_places, steps_);
  }
  steps_.repeat(
      steps_.variable("station index"), 0, count(part.stays()), !part.looped,
      [&](const Value& index, int known) { run_stay(part, loop_index(index, known), centre); });
  standing_ = segment.stays.back().angles_rad;
  return centre ? centre->found() : std::nullopt;
}

/// Spindle and the axes that do not turn in this part.
void StationWalk::turn_others(const Part& part) {
  const Stay& first = part.first();
  if (flip_ != first.flip) {
    steps_.add(SpindleStep{first.flip ? 180.0 : 0.0});
    flip_ = first.flip;
  }
  const std::vector<Value> degrees = angles_deg_of(job_.machine, first);
  for (std::size_t i = 0; i < degrees.size(); ++i) {
    const int axis = static_cast<int>(i);
    if (axis == part.segment.axis || (standing_ && (*standing_)[i] == first.angles_rad[i]))
      continue;
    turn_axis(axis, degrees[i]);
  }
}

/// Every angle is reached from the same side, so that play in the drive does not show.
void StationWalk::turn_axis(int axis, const Value& to) const {
  const RotaryAxis& rotary = job_.machine.rotary[axis];
  const double run_up_deg = job_.plan.distances.turn_run_up_deg;
  if (!rotary.unclamp.empty()) steps_.add(ClampStep{rotary.unclamp});
  if (run_up_deg != 0.0) steps_.add(TurnStep{rotary.letter, to - angle(run_up_deg)});
  steps_.add(TurnStep{rotary.letter, to});
  if (!rotary.clamp.empty()) steps_.add(ClampStep{rotary.clamp});
}

void StationWalk::run_stay(const Part& part, const LoopIndex& stay,
                           std::optional<RunningCentre>& centre) {
  const Segment& segment = part.segment;
  if (stay.known) {
    steps_.remark(fmt::format("STATION {}", segment.stays[*stay.known].number));
  }
  if (stay.known != 0) moves_.up_to_safe_height();
  std::vector<Value> degrees;
  for (const StayColumn& column : part.angles_deg) degrees.push_back(column.at(stay));
  StandingAxes axes = centres_.standing_at(degrees, variables_.parameters.stylus_diameter);
  if (!stands_there(segment, stay)) turn_axis(segment.axis, axes.angle_deg(segment.axis));
  prove_turn(part, stay);
  for (std::size_t i = 0; i < part.visits.size(); ++i) {
    if (i > 0) moves_.up_to_safe_height();
    run_visit(part, stay, i, axes, i == 0 && centre ? &*centre : nullptr);
  }
}

/// `centre`: where this visit adds to it.
void StationWalk::run_visit(const Part& part, const LoopIndex& stay, std::size_t visit,
                            StandingAxes& axes, RunningCentre* centre) {
  const int index = part.first().visits[visit].target;
  const CycleTarget& target = job_.layout.targets[index];
  visits_.visit(part, stay, visit, axes);
  if (centre != nullptr) centre->add(stay, target, axes);
  steps_.remark("keep where it was found, seen with rotary at 0");
  axes.carry_back(variables_.parameters.places[index], values(variables_.touch.predicted),
                  job_.carrier_of(target));
}

/// Where a turn the wrong way would bring the shank or the holder to harm before the stylus could
/// feel it, the program finds out first.
void StationWalk::prove_turn(const Part& part, const LoopIndex& stay) const {
  const Value proof = part.proof.at(stay);
  const auto when = [&](TurnProof wanted, const auto& body) {
    if (!uses_proof(part.segment, wanted)) return;
    const int number = static_cast<int>(wanted);
    std::optional<bool> known;
    if (proof.number() != nullptr) known = *proof.number() == number;
    steps_.only_if(known, {proof, Comparison::equal, count(number)}, body);
  };
  when(TurnProof::feel, [&] { feel_empty_place(part, stay); });
  when(TurnProof::watch, [&] { ask_operator_to_look(part, stay); });
}

/// Watched, down to where the artefact would be met after a wrong turn.
void StationWalk::feel_empty_place(const Part& part, const LoopIndex& stay) const {
  const Vec& place = variables_.touch.left;
  steps_.remark("a wrong turn could not be felt on the way: prove that this place is empty");
  for (int i = 0; i < 3; ++i) steps_.set(place[i], part.empty[i].at(stay));
  moves_.down_to(place);
  moves_.back_up();
}

void StationWalk::ask_operator_to_look(const Part& part, const LoopIndex& stay) const {
  steps_.add(OperatorStopStep{
      look_at_axes_request(stay.known ? angles_text(job_.machine, part.segment.stays[*stay.known])
                                      : std::string("the angles commanded"))});
}

}  // namespace pivotrace
