#include "cycle/running_centre.h"

namespace pivotrace {

namespace {

Variable sum_from_nothing(StepRecorder& steps, const char* name) {
  Variable sum = steps.variable(std::string("sum ") + name);
  steps.set(sum, Value(0.0));
  return sum;
}

/// Names of the variables that hold what the sums give.
const char* name_of(PlanarPart part) {
  switch (part) {
    case PlanarPart::spread: return "spread of angles";
    case PlanarPart::arm_x: return "spoke 1";
    case PlanarPart::arm_y: return "spoke 2";
    case PlanarPart::centre_x: return "centre 1";
    case PlanarPart::centre_y: return "centre 2";
  }
  return "";
}

}  // namespace

RunningCentre::Sums::Sums(StepRecorder& steps)
    : n(sum_from_nothing(steps, "n")),
      cosines(sum_from_nothing(steps, "cos")),
      sines(sum_from_nothing(steps, "sin")),
      u(sum_from_nothing(steps, "u")),
      v(sum_from_nothing(steps, "v")),
      along(sum_from_nothing(steps, "uc+vs")),
      across(sum_from_nothing(steps, "vc-us")),
      axial(sum_from_nothing(steps, "axial")) {}

RunningCentre::Sums RunningCentre::Sums::from_nothing(StepRecorder& steps) {
  steps.remark("running sums for the axis centre start at nothing");
  return Sums(steps);
}

RunningCentre::RunningCentre(const CycleJob& job, const Part& part, const TouchVariables& variables,
                             StepRecorder& steps)
    : variables_(variables),
      steps_(steps),
      axis_(part.segment.axes.front()),
      line_(job.state.axis_lines[axis_]),
      pair_(cross_pair(line_.direction)),
      sums_(Sums::from_nothing(steps)),
      places_{steps.table("measured 1", part.stays()), steps.table("measured 2", part.stays())} {}

/// Places of one complex regression z = c + b e, e = exp(j angle), relative to the nominal centre so
/// that controls with few digits lose nothing.
void RunningCentre::add(const LoopIndex& stay, const StandingAxes& axes) {
  const Value3 from = minus(values(variables_.predicted), lengths(line_.point_mm));
  const Variable u = steps_.variable("across 1");
  const Variable v = steps_.variable("across 2");
  steps_.remark("add it to the running sums of the axis centre");
  steps_.set(u, dot(pair_.first, from), "from nominal centre, first direction across");
  steps_.set(v, dot(pair_.second, from), "the same, second direction");
  add_to_sums(u, v, axes);
  steps_.set_element(places_[0], stay.value, u);
  steps_.set_element(places_[1], stay.value, v);
}

void RunningCentre::add_to_sums(const Variable& u, const Variable& v,
                                const StandingAxes& axes) const {
  const auto add = [&](const Variable& sum, const Value& value) {
    steps_.set(sum, Value(sum) + value);
  };
  const PlanarSums<Value> more =
      planar_summands<Value>(axes.turn_cosine(axis_), axes.turn_sine(axis_), u, v);
  add(sums_.n, count(1));
  add(sums_.cosines, more.cosines);
  add(sums_.sines, more.sines);
  add(sums_.u, more.x);
  add(sums_.v, more.y);
  add(sums_.along, more.along);
  add(sums_.across, more.across);
  add(sums_.axial, dot(line_.direction, values(variables_.predicted)));
}

FoundCentre RunningCentre::found() {
  steps_.remark("axis centre from the sums: place = centre + spoke turned");
  const PlanarSolution<Value> solved =
      planar_solution(PlanarSums<Value>{sums_.n, sums_.cosines, sums_.sines, sums_.u, sums_.v,
                                        sums_.along, sums_.across},
                      [&](PlanarPart part, const Value& value) -> Value {
                        const Variable kept = steps_.variable(name_of(part));
                        steps_.set(kept, value);
                        return kept;
                      });
  return {{solved.centre_x, solved.centre_y}, Value(sums_.axial) / Value(sums_.n), places_};
}

}  // namespace pivotrace
