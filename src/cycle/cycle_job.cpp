#include "cycle/cycle_job.h"

#include <fmt/format.h>

#include "pivotrace/geometry/angle.h"

namespace pivotrace {

CycleJob::CycleJob(const Machine& machine_file, const Plan& its_plan, const CycleOptions& how)
    : machine(machine_file),
      plan(its_plan),
      options(how),
      state(nominal_state(machine_file)),
      layout(lay_out(machine_file, state, its_plan, {how.watched, how.solve_axis.has_value()})) {}

bool CycleJob::is_looped(const Segment& segment) const {
  return options.loops && options.watched && segment.stays.size() > 1;
}

std::optional<std::size_t> CycleJob::solved_segment() const {
  for (std::size_t i = 0; i < layout.segments.size(); ++i) {
    const Segment& segment = layout.segments[i];
    if (segment.gives_centre && options.solve_axis == segment.axes.front()) return i;
  }
  return std::nullopt;
}

std::string axes_text(const Machine& machine, const std::vector<int>& axes) {
  std::string text;
  for (const int axis : axes) {
    text += fmt::format("{}{}", text.empty() ? "" : " and ", machine.rotary[axis].letter);
  }
  return text;
}

std::string angles_text(const Machine& machine, const CycleStay& stay) {
  std::string text;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    text += fmt::format("{}{} at {:g} deg", text.empty() ? "" : ", ", machine.rotary[i].letter,
                        deg_from_rad(stay.angles_rad[i]));
  }
  return text;
}

std::vector<Value> angles_deg_of(const Machine& machine, const CycleStay& stay) {
  std::vector<Value> degrees;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    degrees.push_back(angle(deg_from_rad(stay.angles_rad[i])));
  }
  return degrees;
}

}  // namespace pivotrace
