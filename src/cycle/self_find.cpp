#include "cycle/self_find.h"

#include <fmt/format.h>

#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/plan/check_plan.h"

namespace pivotrace {

namespace {

class SelfFind {
 public:
  SelfFind(StepRecorder& steps, const CycleJob& job, const CycleVariables& variables)
      : steps_(steps),
        job_(job),
        variables_(variables),
        moves_(variables, steps),
        stay_(job.layout.segments.front().stays.front()),
        index_(stay_.visits.front().target),
        target_(job.layout.targets[index_]) {}

  void write(const AxisCentres& centres) {
    steps_.heading("FIND " + target_.name + " FROM THE JOGGED POSITION");
    steps_.add(OperatorStopStep{jog_request()});
    stand_at_first_station();
    const StandingAxes axes = centres.standing_at(angles_deg_of(job_.machine, stay_),
                                                  variables_.parameters.stylus_diameter);
    clamp_axes();
    touch_down();
    move_places(axes);
  }

 private:
  std::string length_text(double mm) const {
    return job_.machine.inch ? fmt::format("{:.2f} inch", mm / mm_per_inch)
                             : fmt::format("{:.1f} mm", mm);
  }

  /// Where to stand is told in numbers: along a pin nothing else shows it. No words such as "above":
  /// the spindle may be horizontal.
  OperatorRequest jog_request() const {
    const Eigen::Vector3d start_mm = start_position_mm(job_.machine, job_.plan);
    const ProbingDistances& d = job_.plan.distances;
    return told(
        {"test the probe by hand now, it must show a trigger. Jog the stylus to X ",
         ShownLength{start_mm.x()}, " Y ", ShownLength{start_mm.y()}, ", within ",
         ShownLength{d.rough},
         fmt::format(", on the spindle side of {} and along Z at most {} from it, with {}. "
                     "Then start",
                     target_.name, length_text(d.clearance), angles_text(job_.machine, stay_))});
  }

  /// Everything found from a wrong angle would be carried to the wrong place.
  void stand_at_first_station() {
    const std::vector<Value> degrees = angles_deg_of(job_.machine, stay_);
    for (std::size_t i = 0; i < degrees.size(); ++i) {
      const char letter = job_.machine.rotary[i].letter;
      steps_.add(
          StandsAtStep{letter, degrees[i], fmt::format("axis {} is not at station 1", letter)});
    }
  }

  void clamp_axes() {
    for (const RotaryAxis& axis : job_.machine.rotary) {
      if (!axis.clamp.empty()) steps_.add(ClampStep{axis.clamp});
    }
  }

  void touch_down() {
    const OperatorParameters& p = variables_.parameters;
    steps_.add(SkipStep{{std::nullopt, std::nullopt, Value(0.0) - p.clearance - p.search},
                        p.find_feed,
                        target_.name + " not found along Z from the start",
                        std::nullopt,
                        "",
                        Retreat::up,
                        true});
    moves_.read_trip_point();
    moves_.back_up();
  }

  void move_places(const StandingAxes& axes) {
    const std::vector<Vec>& places = variables_.parameters.places;
    const Vec& shift = variables_.touch.shift;
    steps_.remark("all positions of the file move by what was found here");
    Value3 centre = axes.stylus(values(variables_.touch.trip));
    centre[2] = centre[2] - variables_.distances[index_].reach;
    const Vec carried = steps_.vec("carried");
    axes.carry_back(carried, centre, job_.carrier_of(target_));
    steps_.set(shift, minus(values(carried), values(places[index_])));
    steps_.remark("nothing goes in beside it unless it is where the file says, in every direction");
    for (int i = 0; i < 3; ++i) {
      moves_.demand(absolute(shift[i]), Comparison::less_equal, variables_.parameters.rough,
                    fmt::format("{} {} is not as in the file", target_.name, linear_letters[i]));
    }
    for (const Vec& place : places) steps_.set(place, plus(values(place), values(shift)));
  }

  StepRecorder& steps_;
  const CycleJob& job_;
  const CycleVariables& variables_;
  CycleMoves moves_;
  const CycleStay& stay_;
  int index_;
  const CycleTarget& target_;
};

}  // namespace

void write_self_find(StepRecorder& steps, const CycleJob& job, const CycleVariables& variables,
                     const AxisCentres& centres) {
  SelfFind(steps, job, variables).write(centres);
}

}  // namespace pivotrace
