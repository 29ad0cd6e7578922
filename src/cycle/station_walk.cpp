#include "cycle/station_walk.h"

#include <fmt/format.h>

#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

std::string heading_of(const Machine& machine, const Part& part) {
  const std::vector<int>& axes = part.segment.axes;
  if (part.stays() == 1)
    return fmt::format("PART {}: STATION {}", part.number, part.first().number);
  const std::string stations = fmt::format("PART {}: {} STATIONS", part.number, part.stays());
  if (axes.empty()) return stations;
  return fmt::format("{}, {} {} {}", stations, axes.size() == 1 ? "AXIS" : "AXES",
                     axes_text(machine, axes), axes.size() == 1 ? "TURNS" : "TURN");
}

/// Two angles of a table are the same when they are nearer than this [deg]: half the last decimal
/// that any control sheet writes.
constexpr double same_angle_deg = 5e-5;

}  // namespace

std::optional<FoundCentre> StationWalk::walk(const Part& part, bool solves) {
  steps_.heading(heading_of(job_.machine, part));
  moves_.up_to_safe_height();
  turn_to_first(part);
  std::optional<RunningCentre> centre;
  if (solves) centre.emplace(job_, part, variables_.touch, steps_);
  steps_.repeat(
      steps_.variable("station index"), 0, count(part.stays()), !part.looped,
      [&](const Value& index, int known) { run_stay(part, loop_index(index, known), centre); });
  standing_ = part.segment.stays.back().angles_rad;
  if (!centre) return std::nullopt;
  return centre->found();
}

/// Spindle and rotary axes, as they stand at the first station of the part.
void StationWalk::turn_to_first(const Part& part) {
  const CycleStay& first = part.first();
  if (flip_ != first.flip) {
    steps_.add(SpindleStep{first.flip ? 180.0 : 0.0});
    flip_ = first.flip;
  }
  const std::vector<Value> degrees = angles_deg_of(job_.machine, first);
  for (std::size_t i = 0; i < degrees.size(); ++i) {
    const int axis = static_cast<int>(i);
    const bool stands = standing_ && (*standing_)[i] == first.angles_rad[i];
    if (!stands) turn_axis(axis, degrees[i]);
    if (part.angle_in_table(axis)) steps_.set(angle_of(axis), degrees[i]);
  }
}

Variable StationWalk::angle_of(int axis) const {
  return steps_.variable(fmt::format("angle of {}", job_.machine.rotary[axis].letter));
}

/// One axis after the other, outermost first, and only those that do not stand there already.
std::vector<Value> StationWalk::turn_to(const Part& part, const LoopIndex& stay) const {
  std::vector<Value> degrees;
  for (std::size_t i = 0; i < part.angles_deg.size(); ++i) {
    const int axis = static_cast<int>(i);
    Value wanted = part.angles_deg[i].at(stay);
    if (part.angle_in_table(axis)) {
      const Variable now = angle_of(axis);
      steps_.only_if(
          std::nullopt, {absolute(wanted - now), Comparison::greater, angle(same_angle_deg)}, [&] {
            steps_.set(
                now, wanted,
                fmt::format("angle of {} at this station", job_.machine.rotary[axis].letter));
            turn_axis(axis, now);
          });
      wanted = now;
    } else if (stay.known && *stay.known > 0) {
      const std::vector<CycleStay>& stays = part.segment.stays;
      const bool stands = stays[*stay.known].angles_rad[i] == stays[*stay.known - 1].angles_rad[i];
      if (!stands) turn_axis(axis, wanted);
    }
    degrees.push_back(std::move(wanted));
  }
  return degrees;
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
  if (stay.known) {
    steps_.remark(fmt::format("STATION {}", part.segment.stays[*stay.known].number));
  }
  if (stay.known != 0) moves_.up_to_safe_height();
  const std::vector<Value> degrees = turn_to(part, stay);
  StandingAxes axes = centres_.standing_at(degrees, variables_.parameters.stylus_diameter);
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
  if (centre != nullptr) centre->add(stay, axes);
  if (part.segment.learns) {
    learn(part, stay, visit, axes);
    if (visit + 1 < part.visits.size() && axes.head_turns()) axes.work_out_arm();
    return;
  }
  steps_.remark("keep where it was found, seen with rotary at 0");
  axes.carry_back(variables_.parameters.places[index], values(variables_.touch.predicted),
                  job_.carrier_of(target));
}

/// Every coordinate takes its part of how far the target was from its prediction.
void StationWalk::learn(const Part& part, const LoopIndex& stay, std::size_t visit,
                        const StandingAxes& axes) const {
  const std::vector<std::array<StayColumn, 3>>& gain = part.visits[visit].gain;
  steps_.remark("what this tells of places and axis centres");
  for (std::size_t j = 0; j < gain.size(); ++j) {
    const LearnedCoordinate& c = job_.layout.coordinates[j];
    const Value3 factors = {gain[j][0].at(stay), gain[j][1].at(stay), gain[j][2].at(stay)};
    const Value more = dot(factors, values(variables_.touch.off));
    if (more.is_number(0.0)) continue;
    const Variable learned = c.axis >= 0 ? axes.centre_variable(c.axis, c.along)
                                         : variables_.parameters.places[c.target][c.along];
    steps_.set(learned, Value(learned) + more);
  }
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
