#include "control/control_state.h"

#include <string_view>

namespace pivotrace::control {

namespace {

std::optional<int> numbered(const std::map<char, int>& numbers, int axis) {
  const auto found = numbers.find(axis_letters[axis]);
  if (found == numbers.end()) return std::nullopt;
  return found->second;
}

std::size_t system_index(Meaning meaning) {
  return static_cast<std::size_t>(static_cast<int>(meaning) -
                                  static_cast<int>(Meaning::work_offset_1));
}

}  // namespace

int axis_index(char letter) {
  const std::size_t at = std::string_view(axis_letters).find(letter);
  return at == std::string_view::npos ? -1 : static_cast<int>(at);
}

bool is_linear(int axis) { return axis < 3; }

ControlState::ControlState(const ControlSheet& sheet, const ControlStart& start,
                           Variables& variables)
    : sheet_(sheet), variables_(variables), in_force_(start.in_force) {
  load_origins(start);
  const std::optional<Meaning> system = in_force(ModalGroup::work_offset);
  if (system) choose_work_offset(*system);
}

std::optional<Meaning> ControlState::in_force(ModalGroup group) const {
  const auto found = in_force_.find(group);
  if (found == in_force_.end()) return std::nullopt;
  return found->second;
}

void ControlState::put_in_force(Meaning meaning) {
  const ModalGroup group = group_of(meaning);
  if (group == ModalGroup::none || group == ModalGroup::axis_offset) return;
  in_force_[group] = meaning;
  if (group == ModalGroup::work_offset) choose_work_offset(meaning);
}

double ControlState::shift(int axis) const { return active_origin_[axis] + axis_offsets_[axis]; }

std::size_t ControlState::active_system() const {
  const std::optional<Meaning> system = in_force(ModalGroup::work_offset);
  return system ? system_index(*system) : 0;
}

/// Origins are kept as raw numbers in variables where the control does so; the variables win when
/// they were set before the program began (a parameter file).
void ControlState::load_origins(const ControlStart& start) {
  origins_ = start.work_origins;
  for (std::size_t system = 0; system < work_offset_count; ++system) {
    for (int axis = 0; axis < 6; ++axis) {
      const std::optional<int> number = origin_variable(system, axis);
      if (!number) continue;
      if (variables_.is_set(*number)) {
        origins_[system][axis] = variables_.value(*number) * scale(axis);
      } else {
        variables_.set(*number, origins_[system][axis] / scale(axis));
      }
    }
  }
}

std::optional<int> ControlState::origin_variable(std::size_t system, int axis) const {
  const std::optional<int> first = numbered(sheet_.position.work_origin_1, axis);
  if (!first || (system > 0 && sheet_.position.work_origin_step == 0)) return std::nullopt;
  return *first + static_cast<int>(system) * sheet_.position.work_origin_step;
}

std::optional<int> ControlState::axis_offset_variable(int axis) const {
  return numbered(sheet_.position.axis_offset, axis);
}

void ControlState::choose_work_offset(Meaning meaning) {
  const std::size_t system = system_index(meaning);
  for (int axis = 0; axis < 6; ++axis) {
    const std::optional<int> number = origin_variable(system, axis);
    if (number) origins_[system][axis] = variables_.value(*number) * scale(axis);
  }
  active_origin_ = origins_[system];
  if (sheet_.position.active_work_offset > 0) {
    variables_.set(sheet_.position.active_work_offset, static_cast<double>(system) + 1.0);
  }
}

void ControlState::set_work_origin(int system, int axis, double value) {
  const auto index = static_cast<std::size_t>(system - 1);
  origins_[index][axis] = value * scale(axis);
  if (const std::optional<int> number = origin_variable(index, axis))
    variables_.set(*number, value);
  if (index == active_system()) active_origin_[axis] = origins_[index][axis];
}

void ControlState::set_axis_offset(int axis, double value, double machine) {
  axis_offsets_[axis] = machine - active_origin_[axis] - value * scale(axis);
  if (const std::optional<int> number = axis_offset_variable(axis)) {
    variables_.set(*number, axis_offsets_[axis] / scale(axis));
  }
}

void ControlState::clear_axis_offsets() {
  axis_offsets_ = {};
  for (int axis = 0; axis < 6; ++axis) {
    if (const std::optional<int> number = axis_offset_variable(axis)) variables_.set(*number, 0.0);
  }
}

void ControlState::resume_axis_offsets() {
  for (int axis = 0; axis < 6; ++axis) {
    const std::optional<int> number = axis_offset_variable(axis);
    if (number) axis_offsets_[axis] = variables_.value(*number) * scale(axis);
  }
}

}  // namespace pivotrace::control
