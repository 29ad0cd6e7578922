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
                             bool keep_places, StepRecorder& steps)
    : part_(part),
      variables_(variables),
      steps_(steps),
      axis_(part.segment.axis),
      work_side_(job.machine.rotary[axis_].side == AxisSide::work),
      line_(job.state.axis_lines[axis_]),
      pair_(cross_pair(line_.direction)),
      keep_places_(keep_places),
      sums_(Sums::from_nothing(steps)) {}

void RunningCentre::add(const LoopIndex& stay, const CycleTarget& target, StandingAxes& axes) {
  const Value3 from = from_nominal(target, axes);
  const Variable u = steps_.variable("across 1");
  const Variable v = steps_.variable("across 2");
  steps_.remark("add it to the running sums of the axis centre");
  steps_.set(u, dot(pair_.first, from), "from nominal centre, first direction across");
  steps_.set(v, dot(pair_.second, from), "the same, second direction");
  add_to_sums(u, v, axes);
  if (keep_places_) keep_place(stay, u, v);
  const int usable = part_.segment.sums_usable_after;
  std::optional<bool> enough;
  if (stay.known) enough = *stay.known + 1 >= usable;
  steps_.only_if(enough, {sums_.n, Comparison::greater_equal, count(usable)},
                 [&] { work_out(axes); });
}

/// Places of one complex regression z = c + b e, e = exp(j angle), relative to the nominal centre so
/// that controls with few digits lose nothing. Work side: z is where the centre of the artefact is;
/// tool side: where the control stands with the stylus at that centre.
Value3 RunningCentre::from_nominal(const CycleTarget& target, const StandingAxes& axes) const {
  const Value3 predicted = values(variables_.predicted);
  if (work_side_) return minus(predicted, lengths(line_.point_mm));
  return minus(minus(predicted, axes.arm()), lengths(target.at_mm - line_.point_mm));
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

void RunningCentre::keep_place(const LoopIndex& stay, const Variable& u, const Variable& v) {
  if (!places_) {
    places_ = MeasuredPlaces{steps_.table("measured 1", part_.stays()),
                             steps_.table("measured 2", part_.stays())};
  }
  steps_.set_element((*places_)[0], stay.value, u);
  steps_.set_element((*places_)[1], stay.value, v);
}

void RunningCentre::work_out(StandingAxes& axes) {
  steps_.remark("axis centre from the sums: place = centre + spoke turned");
  const PlanarSolution<Value> solved =
      planar_solution(PlanarSums<Value>{sums_.n, sums_.cosines, sums_.sines, sums_.u, sums_.v,
                                        sums_.along, sums_.across},
                      [&](PlanarPart part, const Value& value) -> Value {
                        const Variable kept = steps_.variable(name_of(part));
                        steps_.set(kept, value);
                        return kept;
                      });
  found_ =
      FoundCentre{{solved.centre_x, solved.centre_y}, Value(sums_.axial) / Value(sums_.n), places_};
  if (work_side_) {
    move_work_centre(solved, axes);
  } else {
    move_tool_centre(solved, axes);
  }
}

Value3 RunningCentre::moved_across(const Value3& from, const Value& first,
                                   const Value& second) const {
  Value3 to = from;
  for (int i = 0; i < 3; ++i) {
    to[i] = to[i] + Value(tidy(pair_.first[i])) * first + Value(tidy(pair_.second[i])) * second;
  }
  return to;
}

void RunningCentre::move_work_centre(const PlanarSolution<Value>& solved,
                                     StandingAxes& axes) const {
  axes.move_centre(axis_, moved_across(lengths(line_.point_mm), solved.centre_x, solved.centre_y));
}

/// The spoke is the axis line seen from the shown position, less the inner arm.
void RunningCentre::move_tool_centre(const PlanarSolution<Value>& solved,
                                     StandingAxes& axes) const {
  const Value3& inner = axes.inner_arm(axis_);
  const Value3 foot = lengths(line_.direction * line_.direction.dot(line_.point_mm));
  const Value3 centre = moved_across(foot, solved.arm_x + dot(pair_.first, inner),
                                     solved.arm_y + dot(pair_.second, inner));
  const Vec& kept_shown = variables_.shift;
  steps_.set(kept_shown, axes.shown(values(variables_.predicted)));
  axes.move_centre(axis_, centre);
  steps_.set(variables_.predicted, axes.stylus(values(kept_shown)));
}

}  // namespace pivotrace
