#include "cycle/touch_steps.h"

namespace pivotrace {

TouchSteps::Directions TouchSteps::directions(const TouchPlace& at, const LoopIndex& which) const {
  Directions d;
  d.out = at.visit.touches.direction(at.stay, which);
  d.share = at.visit.touches.share(at.stay, which);
  if (at.part.looped) {
    const Vec out_now = steps_.vec("out");
    steps_.set(out_now, d.out);
    for (int i = 0; i < 3; ++i) {
      if (d.out[i].number() == nullptr) d.out[i] = out_now[i];
    }
  }
  d.outward = at.axes.in_machine(d.out);
  if (at.axes.head_turns()) {
    const Vec turned = steps_.vec("turned");
    steps_.set(turned, d.outward);
    d.outward = values(turned);
    d.share = at.axes.in_machine(d.share);
  }
  return d;
}

void TouchSteps::go_beside(const TouchPlace& at, const Directions& d, const Value3& from) const {
  const Value rise = at.distances.height - at.distances.away * d.out[2];
  steps_.set(variables_.stand_off, plus(from, times(at.distances.away, d.outward)));
  steps_.set(variables_.above,
             plus(values(variables_.stand_off), times(rise, at.axes.tool_axis())));
  if (at.part.looped) steps_.remark("over the stand-off, then down beside the surface");
  moves_.guarded(variables_.above, Retreat::back_across);
  moves_.guarded(variables_.stand_off, Retreat::back_over);
}

void TouchSteps::find_fast(const TouchPlace& at, const Directions& d, const Value3& from) const {
  if (at.part.looped) steps_.remark("find fast");
  const Vec& look_to = variables_.look_to;
  steps_.set(look_to, plus(from, times(at.distances.look, d.outward)));
  steps_.add(SkipStep{{look_to[0], look_to[1], look_to[2]},
                      parameters_.find_feed,
                      at.target.name + " not found",
                      values(variables_.stand_off),
                      "probe triggered before it moved"});
  moves_.read_trip_point();
}

Variable TouchSteps::measure_slowly(const Value3& outward, double side) const {
  const Value3 back = times(Value(side) * parameters_.back_off, outward);
  Variable fast = steps_.variable("fast");
  steps_.set(fast, dot(outward, values(variables_.trip)), "the fast touch");
  steps_.set(variables_.backed_off, plus(values(variables_.trip), back));
  const Vec& look_to = variables_.look_to;
  steps_.set(look_to, minus(values(variables_.trip), back));
  moves_.back_to(variables_.backed_off);
  steps_.add(SkipStep{{look_to[0], look_to[1], look_to[2]},
                      parameters_.measure_feed,
                      "no trigger in the slow touch",
                      values(variables_.backed_off),
                      "probe still triggered after backing off"});
  moves_.read_trip_point();
  return fast;
}

void TouchSteps::back_away(const StandingAxes& axes) const {
  moves_.back_to(variables_.stand_off);
  steps_.set(variables_.left,
             plus(values(variables_.above), times(parameters_.lift, axes.tool_axis())));
  moves_.back_to(variables_.left);
}

void TouchSteps::touch(const TouchPlace& at, const LoopIndex& which, const Pass& pass) {
  const Directions d = directions(at, which);
  const Value3 from = at.axes.shown(values(variables_.predicted));
  const Vec& trip = variables_.trip;
  go_beside(at, d, from);
  find_fast(at, d, from);
  if (at.part.looped) steps_.remark("measuring pass: back off and touch again, slowly");
  std::optional<Variable> fast;
  steps_.only_if(pass.measures, pass.in_measuring_pass,
                 [&] { fast = measure_slowly(d.outward, at.distances.side); });
  if (at.part.looped) steps_.remark("back the way it came, up, and compare with the prediction");
  back_away(at.axes);
  const Variable excess = steps_.variable("excess");
  steps_.set(excess, dot(d.outward, minus(values(trip), from)) - at.distances.reach,
             "how much further out than predicted");
  moves_.demand(absolute(excess), Comparison::less_equal, pass.touch_limit,
                at.target.name + " is not where it should be");
  steps_.set(variables_.shift, plus(values(variables_.shift), times(excess, d.share)));
  steps_.only_if(pass.measures, pass.in_measuring_pass, [&] {
    moves_.demand(absolute(dot(d.outward, values(trip)) - *fast), Comparison::less_equal,
                  parameters_.agreement, "fast and slow touch of " + at.target.name + " disagree");
    record_.write(at.part, at.stay, at.target, at.axes);
  });
}

}  // namespace pivotrace
