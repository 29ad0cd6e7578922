#include "cycle/cycle_parameters.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>

#include "pivotrace/base/length.h"

namespace pivotrace {

namespace {

/// A feed a person would set: two digits in the program's unit, never faster than asked for.
double round_feed(double mm_per_min, bool inch) {
  const double unit = inch ? mm_per_inch : 1.0;
  const double feed = mm_per_min / unit;
  if (!(feed > 0.0)) return mm_per_min;
  const double step = std::pow(10.0, std::floor(std::log10(feed)) - 1.0);
  return std::floor(feed / step * (1.0 + 1e-12)) * step * unit;
}

/// Parameters of one program, each with the unit of the file in its note.
class ParameterWriter {
 public:
  ParameterWriter(StepRecorder& steps, const CycleJob& job) : steps_(steps), job_(job) {}

  Value feed_of(const std::string& name, double mm_per_min, const std::string& meaning) {
    return steps_.parameter(name, feed(round_feed(mm_per_min, job_.machine.inch)),
                            meaning + ", " + job_.unit() + " per minute");
  }
  Value distance(const std::string& name, double mm, const std::string& meaning) {
    return steps_.parameter(name, length(mm), meaning + ", " + job_.unit());
  }
  Vec place_of(const CycleTarget& target) {
    const Vec place = steps_.vec("place of " + target.name);
    for (int axis = 0; axis < 3; ++axis) {
      steps_.set(place[axis], length(target.at_mm[axis]),
                 fmt::format("{} rough {} with rotary at 0, {}", target.name, linear_letters[axis],
                             job_.unit()));
    }
    return place;
  }

 private:
  StepRecorder& steps_;
  const CycleJob& job_;
};

void write_places(ParameterWriter& writer, const CycleJob& job, OperatorParameters& made) {
  for (const CycleTarget& target : job.layout.targets) {
    const Artefact& artefact = job.machine.artefacts[target.artefact];
    if (artefact.kind != ArtefactKind::flat && !made.diameters.contains(target.artefact)) {
      made.diameters[target.artefact] = writer.distance(
          "diameter of " + artefact.name, 2.0 * job.state.artefacts[target.artefact].radius_mm,
          "diameter of " + artefact.name);
    }
    made.places.push_back(writer.place_of(target));
  }
}

Value reach_of(const Artefact& artefact, int index, const OperatorParameters& parameters) {
  const Value two(2.0);
  const Value& stylus = parameters.stylus_diameter;
  switch (artefact.kind) {
    case ArtefactKind::flat: break;
    case ArtefactKind::bore: return (parameters.diameters.at(index) - stylus) / two;
    case ArtefactKind::ball:
    case ArtefactKind::pin: return (parameters.diameters.at(index) + stylus) / two;
  }
  return stylus / two;
}

/// A bore narrower than the gap is left from its middle.
bool is_narrow(const CycleJob& job, int artefact, double gap_mm) {
  const double reach_mm = job.state.artefacts[artefact].radius_mm - job.state.stylus_radius_mm;
  return reach_mm <= gap_mm;
}

double deepest_mm(const CycleJob& job, int artefact) {
  double depth = 0.0;
  for (const CycleTarget& target : job.layout.targets) {
    if (target.artefact == artefact) depth = std::max(depth, target.along_mm);
  }
  return depth;
}

/// Before and behind a surface whose place is known.
void write_close(int index, StepRecorder& steps, const CycleJob& job, const OperatorParameters& p,
                 ArtefactDistances& made) {
  const std::string& name = job.machine.artefacts[index].name;
  const bool inside = made.side < 0.0;
  const bool narrow = inside && is_narrow(job, index, widest_approach_mm(job.plan.distances));
  const Value away = narrow   ? length(0.0)
                     : inside ? made.reach - p.approach
                              : made.reach + p.approach;
  made.from_the_middle = narrow;
  made.close_away = steps.parameter("approach to " + name, away, "before a touch, place known");
  made.close_look = steps.parameter("end of touch of " + name,
                                    inside ? made.reach + p.search : made.reach - p.search,
                                    "where it gives up, place known");
}

ArtefactDistances distances_of(int index, StepRecorder& steps, const CycleJob& job,
                               const OperatorParameters& p) {
  const Artefact& artefact = job.machine.artefacts[index];
  const bool inside = artefact.kind == ArtefactKind::bore;
  ArtefactDistances made;
  made.side = inside ? -1.0 : 1.0;
  made.reach = steps.parameter("reach of " + artefact.name, reach_of(artefact, index, p),
                               artefact.name + " centre to stylus centre at contact");
  const ProbingDistances& d = job.plan.distances;
  const Value away = inside && is_narrow(job, index, d.clearance + d.rough) ? length(0.0)
                     : inside ? made.reach - p.clearance - p.rough
                              : made.reach + p.clearance + p.rough;
  made.away = steps.parameter("stand-off of " + artefact.name, away, "the same before a touch");
  made.look =
      steps.parameter("end of search of " + artefact.name,
                      inside ? made.reach + p.rough + p.search : made.reach - p.rough - p.search,
                      "the same where a touch gives up");
  made.close_away = made.away;
  made.close_look = made.look;
  const bool close = artefact.kind == ArtefactKind::ball || artefact.kind == ArtefactKind::bore;
  if (job.options.watched && close) write_close(index, steps, job, p, made);
  made.height = steps.parameter(
      "height over " + artefact.name,
      inside ? length(deepest_mm(job, index)) + p.clearance + p.rough + p.lift : made.away + p.lift,
      "travel plane, from the centre towards the spindle");
  return made;
}

Variable counted_touches(StepRecorder& steps) {
  Variable number = steps.variable("touch number");
  steps.set(number, count(0), "touches recorded so far");
  return number;
}

}  // namespace

OperatorParameters write_parameters(StepRecorder& steps, const CycleJob& job) {
  const ProbingDistances& d = job.plan.distances;
  const ProbingFeeds& feeds = job.plan.feeds;
  ParameterWriter writer(steps, job);
  steps.heading("PARAMETERS THE OPERATOR MAY EDIT");
  OperatorParameters made;
  made.find_feed = writer.feed_of("find feed", feeds.find, "feed to find");
  made.measure_feed = writer.feed_of("measure feed", feeds.measure, "feed to measure");
  made.position_feed = writer.feed_of("position feed", feeds.position, "feed between touches");
  made.clearance = writer.distance("clearance", d.clearance, "clearance before a surface");
  made.rough = writer.distance("rough", d.rough, "how far off the positions that follow may be");
  made.search = writer.distance("search", d.search, "how far to look past a surface");
  if (job.options.watched) {
    made.approach =
        writer.distance("approach", widest_approach_mm(d), "before a surface whose place is known");
  }
  made.back_off = writer.distance("back off", d.back_off, "back off before the slow touch");
  made.lift = writer.distance("lift", d.lift, "extra way back along the spindle between touches");
  made.limit = writer.distance("limit", d.limit, "largest distance from prediction");
  made.agreement =
      writer.distance("agreement", d.agreement, "fast and slow touch may differ by this");
  made.safe_height =
      writer.distance("safe height", d.safe_height, "machine Z to turn and rapid at");
  made.stylus_diameter = writer.distance("stylus diameter", job.machine.probe.stylus_diameter_mm,
                                         "stylus ball diameter");
  write_places(writer, job, made);
  return made;
}

std::vector<ArtefactDistances> write_distances(StepRecorder& steps, const CycleJob& job,
                                               const OperatorParameters& parameters) {
  std::map<int, ArtefactDistances> written;
  std::vector<ArtefactDistances> made;
  for (const CycleTarget& target : job.layout.targets) {
    const int artefact = target.artefact;
    if (!written.contains(artefact)) {
      written[artefact] = distances_of(artefact, steps, job, parameters);
    }
    made.push_back(written[artefact]);
  }
  return made;
}

TouchVariables::TouchVariables(StepRecorder& steps)
    : number(counted_touches(steps)),
      predicted(steps.vec("predicted")),
      shift(steps.vec("shift")),
      off(steps.vec("off")),
      stand_off(steps.vec("stand-off")),
      above(steps.vec("above")),
      aside(steps.vec("aside")),
      over_aside(steps.vec("over aside")),
      left(steps.vec("left")),
      corner(steps.vec("corner")),
      look_to(steps.vec("look to")),
      backed_off(steps.vec("backed off")),
      trip(steps.vec("trip")) {}

std::map<Retreat, Steps> retreats_of(const OperatorParameters& parameters,
                                     const TouchVariables& variables) {
  const Value& feed_back = parameters.position_feed;
  const Step up{
      MoveStep{MoveKind::feed, {std::nullopt, std::nullopt, parameters.safe_height}, feed_back}};
  const auto back_to = [&](const Vec& place) {
    return Step{MoveStep{MoveKind::feed, {place[0], place[1], place[2]}, feed_back}};
  };
  return {{Retreat::up, {up}},
          {Retreat::back_across, {back_to(variables.left), up}},
          {Retreat::back_over, {back_to(variables.above), up}},
          {Retreat::back_round, {back_to(variables.corner), back_to(variables.left), up}},
          {Retreat::out_of_a_touch, {back_to(variables.aside), back_to(variables.over_aside), up}}};
}

}  // namespace pivotrace
