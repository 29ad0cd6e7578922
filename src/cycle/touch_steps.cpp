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

/// As the control shows it with the stylus there.
Value3 TouchSteps::centre(const TouchPlace& at) const {
  return at.axes.shown(values(variables_.predicted));
}

Value3 TouchSteps::stand_off(const TouchPlace& at, const Directions& d, const Pass& pass) const {
  return plus(centre(at), times(pass.away, d.outward));
}

Value3 TouchSteps::entry(const TouchPlace& at, const Value& away) const {
  const Value3 out = at.visit.touches.direction(at.stay, {count(0), 0});
  const Value rise = at.distances.height - away * out[2] + parameters_.lift;
  return plus(plus(centre(at), times(away, at.axes.in_machine(out))),
              times(rise, at.axes.tool_axis()));
}

void TouchSteps::set_places(const TouchPlace& at, const Directions& d, const Pass& pass) const {
  const Value rise = at.distances.height - pass.away * d.out[2];
  steps_.set(variables_.stand_off, stand_off(at, d, pass));
  steps_.set(variables_.above,
             plus(values(variables_.stand_off), times(rise, at.axes.tool_axis())));
  const Value& wide = at.distances.away;
  steps_.set(variables_.aside, plus(centre(at), times(wide, d.outward)));
  steps_.set(variables_.over_aside,
             plus(values(variables_.aside),
                  times(at.distances.height - wide * d.out[2], at.axes.tool_axis())));
}

void TouchSteps::go_to_stand_off(const TouchPlace& at, const LoopIndex& which, const Directions& d,
                                 const Pass& pass) const {
  const auto either = [&](Comparison comparison, bool when_first, const auto& body) {
    std::optional<bool> known;
    if (which.known) known = (*which.known == 0) == when_first;
    steps_.only_if(known, {which.value, comparison, count(0)}, body);
  };
  either(Comparison::greater, false, [&] { go_on(at, which, d, pass); });
  either(Comparison::equal, true, [&] {
    if (at.part.looped) steps_.remark("in beside the surface");
    set_places(at, d, pass);
    moves_.guarded(variables_.stand_off, Retreat::back_over);
  });
}

/// Beside the artefact only where its place is known, and the plan found the way free.
void TouchSteps::go_on(const TouchPlace& at, const LoopIndex& which, const Directions& d,
                       const Pass& pass) const {
  const Value planned = at.visit.touches.beside(at.stay, which);
  Variable beside;
  std::optional<bool> known;
  if (pass.measures == false || planned.is_number(0.0)) {
    known = false;
  } else if (pass.measures && planned.number() != nullptr) {
    known = true;
  } else {
    beside = steps_.variable("beside");
    steps_.set(beside, count(0));
    steps_.only_if(pass.measures, pass.in_measuring_pass, [&] { steps_.set(beside, planned); });
  }
  const auto when = [&](bool way, const auto& body) {
    std::optional<bool> taken;
    if (known) taken = *known == way;
    steps_.only_if(taken, {beside, Comparison::equal, count(way ? 1 : 0)}, body);
  };
  when(true, [&] { go_beside(at, which, d, pass); });
  when(false, [&] { go_over(at, d, pass); });
}

void TouchSteps::go_over(const TouchPlace& at, const Directions& d, const Pass& pass) const {
  if (at.part.looped) steps_.remark("out along the spindle, across, then in beside the surface");
  leave(at.axes);
  set_places(at, d, pass);
  moves_.guarded(variables_.above, Retreat::back_across);
  moves_.guarded(variables_.stand_off, Retreat::back_over);
}

/// Nothing of a bore stands between two places inside it.
void TouchSteps::go_beside(const TouchPlace& at, const LoopIndex& which, const Directions& d,
                           const Pass& pass) const {
  if (at.distances.side > 0.0) {
    go_round(at, which, d, pass);
    return;
  }
  if (!at.distances.from_the_middle) {
    if (at.part.looped) steps_.remark("straight to the next stand-off, inside");
    steps_.set(variables_.corner, stand_off(at, d, pass));
    moves_.guarded(variables_.corner, Retreat::out_of_a_touch);
  }
  set_places(at, d, pass);
}

/// By the corner of the two tangents: (a + b) / (1 + a b) stand-offs from the centre.
void TouchSteps::go_round(const TouchPlace& at, const LoopIndex& which, const Directions& d,
                          const Pass& pass) const {
  LoopIndex last{which.value - count(1), std::nullopt};
  if (which.known) last = {count(*which.known - 1), *which.known - 1};
  const Value3 before = at.visit.touches.direction(at.stay, last);
  Value spread = Value(1.0) + dot(before, d.out);
  Value3 corner = plus(before, d.out);
  if (at.part.looped) {
    steps_.remark("round it by the corner of two tangents");
    const Variable kept = steps_.variable("spread");
    steps_.set(kept, spread);
    spread = kept;
  }
  for (Value& part : corner) part = part / spread;
  if (at.part.looped) {
    // By parts: with the places of a table in it, the whole would be nested deeper than some controls go.
    const Vec parts = steps_.vec("round");
    steps_.set(parts, corner);
    for (int k = 0; k < 3; ++k) {
      if (corner[k].number() == nullptr) corner[k] = parts[k];
    }
  }
  steps_.set(variables_.corner, plus(centre(at), times(pass.away, at.axes.in_machine(corner))));
  moves_.guarded(variables_.corner, Retreat::out_of_a_touch);
  const Value rise = at.distances.height - pass.away * corner[2];
  steps_.set(variables_.left, plus(values(variables_.corner), times(rise, at.axes.tool_axis())));
  set_places(at, d, pass);
  moves_.guarded(variables_.stand_off, Retreat::back_round);
}

void TouchSteps::find_fast(const TouchPlace& at, const Directions& d, const Pass& pass) const {
  if (at.part.looped) steps_.remark("find fast");
  const Vec& look_to = variables_.look_to;
  steps_.set(look_to, plus(centre(at), times(pass.look, d.outward)));
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

void TouchSteps::leave(const StandingAxes& axes) const {
  steps_.set(variables_.left,
             plus(values(variables_.above), times(parameters_.lift, axes.tool_axis())));
  moves_.back_to(variables_.left);
}

void TouchSteps::touch(const TouchPlace& at, const LoopIndex& which, const Pass& pass) {
  const Directions d = directions(at, which);
  const Vec& trip = variables_.trip;
  go_to_stand_off(at, which, d, pass);
  find_fast(at, d, pass);
  if (at.part.looped && pass.measures != false) {
    steps_.remark("measuring pass: back off and touch again, slowly");
  }
  std::optional<Variable> fast;
  steps_.only_if(pass.measures, pass.in_measuring_pass,
                 [&] { fast = measure_slowly(d.outward, at.distances.side); });
  if (at.part.looped) steps_.remark("back the way it came, and compare with the prediction");
  moves_.back_to(variables_.stand_off);
  const Variable excess = steps_.variable("excess");
  steps_.set(excess, dot(d.outward, minus(values(trip), centre(at))) - at.distances.reach,
             "how much further out than predicted");
  moves_.demand(absolute(excess), Comparison::less_equal, pass.touch_limit,
                at.target.name + " is not where it should be", Retreat::out_of_a_touch);
  steps_.set(variables_.shift, plus(values(variables_.shift), times(excess, d.share)));
  steps_.only_if(pass.measures, pass.in_measuring_pass, [&] {
    moves_.demand(absolute(dot(d.outward, values(trip)) - *fast), Comparison::less_equal,
                  parameters_.agreement, "fast and slow touch of " + at.target.name + " disagree",
                  Retreat::out_of_a_touch);
    record_.write(at.part, at.stay, at.target, at.axes);
  });
}

}  // namespace pivotrace
