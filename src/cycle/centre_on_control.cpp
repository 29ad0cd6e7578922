#include "cycle/centre_on_control.h"

#include <fmt/format.h>

#include <cmath>

namespace pivotrace {

namespace {

/// The machine axis a direction lies along.
int machine_axis_of(const Eigen::Vector3d& direction) {
  for (int i = 0; i < 3; ++i) {
    if (std::abs(direction[i]) > 0.5) return i;
  }
  return 2;
}

struct RadiusRange {
  Variable largest, smallest;
};

/// One coordinate of the centre, in the variable an operator is shown.
struct CentreCoordinate {
  int machine_axis = 0;
  double nominal_mm = 0.0;
  Variable shown;

  char letter() const { return linear_letters[machine_axis]; }
};

class CentreOnControl {
 public:
  CentreOnControl(StepRecorder& steps, const CycleJob& job, const CycleMoves& moves,
                  const Part& part, const FoundCentre& centre)
      : steps_(steps),
        job_(job),
        moves_(moves),
        part_(part),
        centre_(centre),
        axis_(job.machine.rotary[part.segment.axes.front()]),
        pair_(cross_pair(job.state.axis_lines[part.segment.axes.front()].direction)) {}

  void write() {
    steps_.heading(fmt::format("CENTRE OF {} WORKED OUT BY THE CONTROL", axis_.letter));
    moves_.up_to_safe_height();
    const RadiusRange radii = radius_range();
    const std::array<CentreCoordinate, 2> shown = {
        coordinate(machine_axis_of(pair_.first), centre_.across[0]),
        coordinate(machine_axis_of(pair_.second), centre_.across[1])};
    show(shown, radii);
    if (job_.options.set_offset) offer_offset(*job_.options.set_offset, shown);
  }

 private:
  RadiusRange radius_range() {
    const Variable radius = steps_.variable("radius");
    const RadiusRange range{steps_.variable("largest radius"), steps_.variable("smallest radius")};
    const Value largest = range.largest, smallest = range.smallest;
    steps_.set(range.largest, length(0.0));
    steps_.set(range.smallest, length(100000.0));
    steps_.repeat(
        steps_.variable("station index"), 0, count(part_.stays()), !part_.looped,
        [&](const Value& index, int) {
          const Variable du = steps_.variable("across 1"), dv = steps_.variable("across 2");
          steps_.set(du, element(centre_.places[0], index) - centre_.across[0]);
          steps_.set(dv, element(centre_.places[1], index) - centre_.across[1]);
          steps_.set(radius, square_root(du * du + dv * dv));
          // Larger and smaller of two numbers without a branch: (a + b +- |a - b|) / 2.
          steps_.set(range.largest, (largest + radius + absolute(largest - radius)) / Value(2.0));
          steps_.set(range.smallest,
                     (smallest + radius - absolute(smallest - radius)) / Value(2.0));
        });
    return range;
  }

  CentreCoordinate coordinate(int machine_axis, const Value& from_nominal) {
    CentreCoordinate made{machine_axis, axis_.centre_mm[machine_axis], {}};
    made.shown = steps_.variable(fmt::format("new centre {}", made.letter()));
    steps_.set(made.shown, length(made.nominal_mm) + from_nominal,
               fmt::format("centre of {}, {}", axis_.letter, made.letter()));
    return made;
  }

  void show(const std::array<CentreCoordinate, 2>& shown, const RadiusRange& radii) {
    steps_.set(steps_.variable("quoted at"), centre_.quoted_at,
               fmt::format("quoted at this {}", linear_letters[static_cast<int>(*axis_.along)]));
    const Variable spread = steps_.variable("radius spread");
    steps_.set(spread, Value(radii.largest) - radii.smallest, "largest minus smallest radius");
    const Variable moved = steps_.variable("centre moved by");
    const auto& [c1, c2] = centre_.across;
    steps_.set(moved, square_root(c1 * c1 + c2 * c2),
               "distance from the centre of the machine file");
    std::vector<RequestPart> text = {fmt::format("centre of {}: ", axis_.letter)};
    for (const CentreCoordinate& c : shown) {
      text.insert(text.end(), {std::string(1, c.letter()) + " in ", ShownVariable{c.shown.name},
                               ", was ", ShownLength{c.nominal_mm}, "; "});
    }
    text.insert(text.end(), {"spread in ", ShownVariable{spread.name}, ", moved by ",
                             ShownVariable{moved.name}});
    steps_.add(OperatorStopStep{told(std::move(text))});
    moves_.demand(moved, Comparison::less_equal, length(job_.options.centre_limit_mm),
                  fmt::format("centre of {} moved further than allowed", axis_.letter));
  }

  /// Nothing is written to the control's offsets before the operator has seen old and new.
  void offer_offset(int system, const std::array<CentreCoordinate, 2>& shown) {
    std::vector<RequestPart> text = {fmt::format("start writes work offset {}: ", system)};
    for (const CentreCoordinate& c : shown) {
      text.insert(text.end(),
                  {std::string(1, c.letter()) + " old ", ShownOrigin{system, c.letter()}, " new ",
                   ShownVariable{c.shown.name}});
      text.emplace_back(", ");
    }
    text.back() = "; no outlier test, no U95; reset to keep the old";
    steps_.add(OperatorStopStep{told(std::move(text))});
    SetOffsetStep set;
    set.system = system;
    for (const CentreCoordinate& c : shown) set.origin[c.machine_axis] = c.shown;
    steps_.add(set);
    steps_.remark(fmt::format("centre of {} written to work offset {}", axis_.letter, system));
  }

  StepRecorder& steps_;
  const CycleJob& job_;
  const CycleMoves& moves_;
  const Part& part_;
  const FoundCentre& centre_;
  const RotaryAxis& axis_;
  const CrossPair pair_;
};

}  // namespace

void write_centre_on_control(StepRecorder& steps, const CycleJob& job, const CycleMoves& moves,
                             const Part& part, const FoundCentre& centre) {
  CentreOnControl(steps, job, moves, part, centre).write();
}

}  // namespace pivotrace
