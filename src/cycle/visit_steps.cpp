#include "cycle/visit_steps.h"

#include "pivotrace/plan/check_plan.h"

namespace pivotrace {

namespace {

/// Feed of the feeler in finding feeds: it has a long way, and the slides must stop within what a
/// stylus gives. Common practice, no source.
constexpr double feeler_feed_factor = 2.0;

}  // namespace

void VisitSteps::visit(const Part& part, const LoopIndex& stay, std::size_t visit,
                       const StandingAxes& axes) {
  const int index = part.first().visits[visit].target;
  const CycleTarget& target = job_.layout.targets[index];
  steps_.remark("where " + target.name + " should be now");
  axes.carry(variables_.touch.predicted, values(variables_.parameters.places[index]),
             job_.carrier_of(target));
  const TouchPlace at{part, stay, target, variables_.distances[index], part.visits[visit], axes};
  if (part.segment.learns) steps_.set(variables_.touch.off, lengths(Eigen::Vector3d::Zero()));
  if (!job_.options.watched && !needs_no_feeler(at, visit == 0)) feel_from_above(at);
  go_above(at);
  run_passes(at);
}

/// It was found a moment ago, or nothing can come down on it from above.
bool VisitSteps::needs_no_feeler(const TouchPlace& at, bool first_visit) const {
  const CycleStay& stay = at.part.segment.stays[*at.stay.known];
  if (job_.plan.self_find && stay.number == 1 && first_visit) return true;
  const PlannedTouch place{at.target.artefact, at.target.around_rad, 0.0, at.target.along_mm,
                           at.target.out_mm};
  return objection_to_feeler(job_.machine, job_.state, job_.plan.distances, stay.angles_rad,
                             stay.flip, place)
      .has_value();
}

/// Straight down from the safe height onto the artefact, all the way as a move that must trigger:
/// an axis that turned the wrong way, or an artefact that was moved, stops the program here and not
/// beside the artefact, where nothing watches.
void VisitSteps::feel_from_above(const TouchPlace& at) const {
  const TouchVariables& v = variables_.touch;
  const Value3 from = at.axes.shown(values(v.predicted));
  steps_.remark("nothing watches the ways on this control: feel first whether " + at.target.name +
                " is there");
  steps_.set(v.stand_off, plus(from, {Value(), Value(), at.distances.away}));
  moves_.rapid_over(v.stand_off);
  steps_.set(v.look_to[2], from[2] + at.distances.look);
  steps_.add(SkipStep{{std::nullopt, std::nullopt, v.look_to[2]},
                      Value(feeler_feed_factor) * variables_.parameters.find_feed,
                      at.target.name + " not found from the spindle side",
                      std::nullopt,
                      "",
                      Retreat::up});
  moves_.read_trip_point();
  moves_.back_up();
  moves_.demand(absolute(Value(v.trip[2]) - from[2] - at.distances.reach), Comparison::less_equal,
                far_off(at.visit.felt_off.at(at.stay)),
                at.target.name + " is not where it should be");
}

/// At the safe height over the first touch, then down to one lift above its travel plane.
void VisitSteps::go_above(const TouchPlace& at) const {
  const Value passes = at.visit.passes.at(at.stay);
  const ArtefactDistances& a = at.distances;
  Value away = passes.is_number(1.0) ? a.close_away : a.away;
  if (passes.number() == nullptr) {
    const Variable chosen = steps_.variable("away");
    steps_.set(chosen, a.away, "centre to stylus centre before a touch");
    steps_.only_if(std::nullopt, {passes, Comparison::equal, count(1)},
                   [&] { steps_.set(chosen, a.close_away, "the same, place known"); });
    away = chosen;
  }
  steps_.set(variables_.touch.left, touches_.entry(at, away));
  moves_.down_to(variables_.touch.left);
}

/// How far from its prediction a touch may be that only finds: what `rough` allows at this station,
/// after all the stations before it.
Value VisitSteps::far_off(const Value& shares_of_rough) const {
  return shares_of_rough * variables_.parameters.rough + variables_.parameters.limit;
}

void VisitSteps::run_passes(const TouchPlace& at) {
  const Value passes = at.visit.passes.at(at.stay);
  if (passes.is_number(1.0) || !at.part.looped) {
    const int all = static_cast<int>(*passes.number());
    for (int i = 1; i <= all; ++i) run_pass(at, known_pass(at, i == all), i > 1);
    return;
  }
  steps_.remark("fast passes to find it, where it is not known well, then one to measure");
  const Variable pass = steps_.variable("pass");
  steps_.repeat(pass, 1, passes + count(1), false, [&](const Value&, int) {
    run_pass(at, undecided_pass(at, {pass, Comparison::equal, passes}), std::nullopt);
  });
}

Pass VisitSteps::known_pass(const TouchPlace& at, bool measures) const {
  const ArtefactDistances& a = at.distances;
  Pass pass{measures,
            {},
            steps_.variable("touch limit"),
            measures ? a.close_away : a.away,
            measures ? a.close_look : a.look};
  steps_.set(pass.touch_limit,
             measures ? variables_.parameters.limit : far_off(at.visit.met_off.at(at.stay)),
             measures ? "measuring pass" : "finding pass");
  return pass;
}

/// The program decides whether it measures, and how near it goes.
Pass VisitSteps::undecided_pass(const TouchPlace& at, const Condition& measures) const {
  const ArtefactDistances& a = at.distances;
  const Variable away = steps_.variable("away"), look = steps_.variable("look");
  const Pass pass{std::nullopt, measures, steps_.variable("touch limit"), away, look};
  steps_.set(pass.touch_limit, far_off(at.visit.met_off.at(at.stay)),
             "a finding pass may be far off");
  steps_.set(away, a.away);
  steps_.set(look, a.look);
  steps_.only_if(std::nullopt, measures, [&] {
    steps_.set(pass.touch_limit, variables_.parameters.limit, "the measuring pass may not");
    steps_.set(away, a.close_away, "and goes nearer");
    steps_.set(look, a.close_look);
  });
  return pass;
}

/// `again`: another pass went before, and the stylus stands over its last touch.
void VisitSteps::run_pass(const TouchPlace& at, const Pass& pass, std::optional<bool> again) {
  const TouchVariables& v = variables_.touch;
  Condition later;
  if (!again) later = {steps_.variable("pass"), Comparison::greater, count(1)};
  steps_.only_if(again, later, [&] {
    steps_.set(v.above, touches_.entry(at, pass.away));
    moves_.guarded(v.above, Retreat::back_across);
  });
  for (const Variable& part : v.shift) steps_.set(part, length(0.0));
  steps_.repeat(
      steps_.variable("touch index"), 0, at.visit.touch_count.at(at.stay), !at.part.looped,
      [&](const Value& index, int known) { touches_.touch(at, loop_index(index, known), pass); });
  touches_.leave(at.axes);
  steps_.remark("the centre these touches show");
  steps_.set(v.predicted, plus(values(v.predicted), values(v.shift)));
  if (at.part.segment.learns) steps_.set(v.off, plus(values(v.off), values(v.shift)));
}

}  // namespace pivotrace
