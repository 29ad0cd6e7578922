#include "pivotrace/machine/bounds.h"

#include <algorithm>

#include "pivotrace/machine/machine.h"

namespace pivotrace {

const char* class_word(MachineClass word) {
  switch (word) {
    case MachineClass::precise: return "precise";
    case MachineClass::usual: return "usual";
    case MachineClass::light: return "light";
  }
  return "";
}

StatedBounds assumed_bounds(MachineClass machine_class) {
  switch (machine_class) {
    case MachineClass::precise: return {0.001, 0.003, 10e-6, 5e-6, 0.001, {}, 0.002};
    case MachineClass::usual: return {0.002, 0.005, 20e-6, 10e-6, 0.002, {}, 0.003};
    case MachineClass::light: return {0.005, 0.02, 100e-6, 50e-6, 0.01, {}, 0.01};
  }
  return {};
}

double assumed_offset_u_mm(MachineClass machine_class) {
  switch (machine_class) {
    case MachineClass::precise: return 0.001;
    case MachineClass::usual: return 0.002;
    case MachineClass::light: return 0.005;
  }
  return 0.0;
}

const char* text_of(BoundKind kind) {
  switch (kind) {
    case BoundKind::lobing: return "lobing";
    case BoundKind::drift: return "drift";
    case BoundKind::squareness: return "squareness";
    case BoundKind::scale: return "scale";
    case BoundKind::place: return "place";
    case BoundKind::index_wave: return "index wave";
    case BoundKind::between_surveys: return "between surveys";
  }
  return "";
}

StatedBounds no_disturbance() { return {0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0}; }

namespace {

bool any_left_to_bound(const std::array<double, 3>& stated_u) {
  return std::any_of(stated_u.begin(), stated_u.end(), [](double u) { return u == 0.0; });
}

}  // namespace

std::vector<Bound> bounds_in_force(const Machine& machine) {
  const StatedBounds& stated = machine.bounds;
  const StatedBounds assumed = assumed_bounds(machine.machine_class);
  std::vector<Bound> bounds;
  const auto add = [&](BoundKind kind, const std::optional<double>& said, double otherwise,
                       int axis = -1) {
    const double half_width = said.value_or(otherwise);
    // Nothing between surveys stays in the list: comparisons must not take it for not stated.
    const bool says_nothing_shifts = said && kind == BoundKind::between_surveys;
    if (!(half_width > 0.0) && !says_nothing_shifts) return;
    bounds.push_back({kind, axis, half_width, said ? BoundSource::stated : BoundSource::assumed});
  };
  add(BoundKind::lobing, stated.lobing_mm, *assumed.lobing_mm);
  add(BoundKind::drift, stated.drift_per_run_mm, *assumed.drift_per_run_mm);
  if (any_left_to_bound(machine.linear.squareness_u_rad)) {
    add(BoundKind::squareness, stated.squareness_rad, *assumed.squareness_rad);
  }
  if (any_left_to_bound(machine.linear.scale_u)) {
    add(BoundKind::scale, stated.scale, *assumed.scale);
  }
  add(BoundKind::place, stated.place_mm, *assumed.place_mm);
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    add(BoundKind::index_wave, stated.index_wave_rad,
        wave_per_sigma * machine.rotary[axis].index_sigma_rad, static_cast<int>(axis));
  }
  add(BoundKind::between_surveys, stated.between_surveys_mm, *assumed.between_surveys_mm);
  return bounds;
}

}  // namespace pivotrace
