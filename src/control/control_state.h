// What a control remembers between blocks: words in force, offsets, feed.
#pragma once

#include <map>
#include <optional>

#include "pivotrace/base/length.h"
#include "pivotrace/control/interpreter.h"

namespace pivotrace::control {

inline constexpr std::size_t work_offset_count = 9;

/// Index 0..5 of X Y Z A B C, or -1.
int axis_index(char letter);
bool is_linear(int axis);

class ControlState {
 public:
  ControlState(const ControlSheet& sheet, const ControlStart& start, Variables& variables);

  std::optional<Meaning> in_force(ModalGroup group) const;
  void put_in_force(Meaning meaning);
  bool is_inch() const { return in_force(ModalGroup::units) == Meaning::inches; }
  bool units_known() const { return in_force(ModalGroup::units).has_value(); }

  /// Program units per mm or deg of an axis: what a program number is multiplied by.
  double scale(int axis) const { return is_linear(axis) && is_inch() ? mm_per_inch : 1.0; }

  /// Machine coordinate = program coordinate + this; mm, deg.
  double shift(int axis) const;

  /// Writes the origin of system 1..9 [program units], variables included; acts at once when the
  /// system is in force.
  void set_work_origin(int system, int axis, double value);
  /// Shifts the program origin so that the axis, now at `machine`, reads `value` [program units].
  void set_axis_offset(int axis, double value, double machine);
  void clear_axis_offsets();
  void suspend_axis_offsets() { axis_offsets_ = {}; }
  void resume_axis_offsets();

  /// mm/min, or deg/min when only rotary axes move; nothing = no F yet.
  std::optional<double> feed;

 private:
  std::size_t active_system() const;
  void load_origins(const ControlStart& start);
  std::optional<int> origin_variable(std::size_t system, int axis) const;
  std::optional<int> axis_offset_variable(int axis) const;
  void choose_work_offset(Meaning meaning);

  const ControlSheet& sheet_;
  Variables& variables_;
  std::map<ModalGroup, Meaning> in_force_;
  std::array<AxisValues, work_offset_count> origins_{};
  AxisValues active_origin_{};
  AxisValues axis_offsets_{};
};

}  // namespace pivotrace::control
