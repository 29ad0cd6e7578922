// Names of meanings, groups, operators and functions, as control sheets spell them.
#include <algorithm>
#include <array>
#include <string_view>

#include "pivotrace/control/control_sheet.h"

namespace pivotrace {

namespace {

struct MeaningRow {
  Meaning meaning;
  ModalGroup group;
  std::string_view key;
};

constexpr std::array meaning_rows = {
    MeaningRow{Meaning::rapid, ModalGroup::motion, "rapid"},
    MeaningRow{Meaning::feed, ModalGroup::motion, "feed"},
    MeaningRow{Meaning::skip, ModalGroup::motion, "skip"},
    MeaningRow{Meaning::arc_clockwise, ModalGroup::motion, "arc-clockwise"},
    MeaningRow{Meaning::arc_counterclockwise, ModalGroup::motion, "arc-counterclockwise"},
    MeaningRow{Meaning::canned_cycle_off, ModalGroup::motion, "canned-cycle-off"},
    MeaningRow{Meaning::machine_coordinates, ModalGroup::none, "machine-coordinates"},
    MeaningRow{Meaning::dwell, ModalGroup::none, "dwell"},
    MeaningRow{Meaning::set_data, ModalGroup::none, "set-data"},
    MeaningRow{Meaning::absolute, ModalGroup::distance, "absolute"},
    MeaningRow{Meaning::incremental, ModalGroup::distance, "incremental"},
    MeaningRow{Meaning::millimetres, ModalGroup::units, "millimetres"},
    MeaningRow{Meaning::inches, ModalGroup::units, "inches"},
    MeaningRow{Meaning::plane_xy, ModalGroup::plane, "plane-xy"},
    MeaningRow{Meaning::plane_zx, ModalGroup::plane, "plane-zx"},
    MeaningRow{Meaning::plane_yz, ModalGroup::plane, "plane-yz"},
    MeaningRow{Meaning::feed_per_minute, ModalGroup::feed_mode, "feed-per-minute"},
    MeaningRow{Meaning::feed_per_revolution, ModalGroup::feed_mode, "feed-per-revolution"},
    MeaningRow{Meaning::feed_inverse_time, ModalGroup::feed_mode, "feed-inverse-time"},
    MeaningRow{Meaning::radius_compensation_off, ModalGroup::radius_compensation,
               "radius-compensation-off"},
    MeaningRow{Meaning::radius_compensation_left, ModalGroup::radius_compensation,
               "radius-compensation-left"},
    MeaningRow{Meaning::radius_compensation_right, ModalGroup::radius_compensation,
               "radius-compensation-right"},
    MeaningRow{Meaning::length_compensation_off, ModalGroup::length_compensation,
               "length-compensation-off"},
    MeaningRow{Meaning::length_compensation_on, ModalGroup::length_compensation,
               "length-compensation-on"},
    MeaningRow{Meaning::scaling_off, ModalGroup::scaling, "scaling-off"},
    MeaningRow{Meaning::scaling_on, ModalGroup::scaling, "scaling-on"},
    MeaningRow{Meaning::mirror_off, ModalGroup::mirror, "mirror-off"},
    MeaningRow{Meaning::mirror_on, ModalGroup::mirror, "mirror-on"},
    MeaningRow{Meaning::rotation_off, ModalGroup::rotation, "rotation-off"},
    MeaningRow{Meaning::rotation_on, ModalGroup::rotation, "rotation-on"},
    MeaningRow{Meaning::tool_centre_off, ModalGroup::tool_centre, "tool-centre-off"},
    MeaningRow{Meaning::tool_centre_on, ModalGroup::tool_centre, "tool-centre-on"},
    MeaningRow{Meaning::work_offset_1, ModalGroup::work_offset, "work-offset-1"},
    MeaningRow{Meaning::work_offset_2, ModalGroup::work_offset, "work-offset-2"},
    MeaningRow{Meaning::work_offset_3, ModalGroup::work_offset, "work-offset-3"},
    MeaningRow{Meaning::work_offset_4, ModalGroup::work_offset, "work-offset-4"},
    MeaningRow{Meaning::work_offset_5, ModalGroup::work_offset, "work-offset-5"},
    MeaningRow{Meaning::work_offset_6, ModalGroup::work_offset, "work-offset-6"},
    MeaningRow{Meaning::work_offset_7, ModalGroup::work_offset, "work-offset-7"},
    MeaningRow{Meaning::work_offset_8, ModalGroup::work_offset, "work-offset-8"},
    MeaningRow{Meaning::work_offset_9, ModalGroup::work_offset, "work-offset-9"},
    MeaningRow{Meaning::axis_offset_suspend, ModalGroup::axis_offset, "axis-offset-suspend"},
    MeaningRow{Meaning::axis_offset_resume, ModalGroup::axis_offset, "axis-offset-resume"},
    MeaningRow{Meaning::axis_offset_set, ModalGroup::none, "axis-offset-set"},
    MeaningRow{Meaning::axis_offset_clear, ModalGroup::axis_offset, "axis-offset-clear"},
    MeaningRow{Meaning::exact_path, ModalGroup::path_control, "exact-path"},
    MeaningRow{Meaning::exact_stop, ModalGroup::path_control, "exact-stop"},
    MeaningRow{Meaning::blended_path, ModalGroup::path_control, "blended-path"},
    MeaningRow{Meaning::spindle_stop, ModalGroup::spindle, "spindle-stop"},
    MeaningRow{Meaning::spindle_clockwise, ModalGroup::spindle, "spindle-clockwise"},
    MeaningRow{Meaning::spindle_counterclockwise, ModalGroup::spindle, "spindle-counterclockwise"},
    MeaningRow{Meaning::spindle_orient, ModalGroup::spindle, "spindle-orient"},
    MeaningRow{Meaning::coolant_off, ModalGroup::coolant, "coolant-off"},
    MeaningRow{Meaning::coolant_on, ModalGroup::coolant, "coolant-on"},
    MeaningRow{Meaning::program_stop, ModalGroup::stopping, "program-stop"},
    MeaningRow{Meaning::optional_stop, ModalGroup::stopping, "optional-stop"},
    MeaningRow{Meaning::program_end, ModalGroup::stopping, "program-end"},
    MeaningRow{Meaning::unknown_harmless, ModalGroup::none, "ignored"},
};

template <class T>
struct Named {
  T item;
  std::string_view key;
};

constexpr std::array group_rows = {
    Named<ModalGroup>{ModalGroup::motion, "motion"},
    Named<ModalGroup>{ModalGroup::distance, "distance"},
    Named<ModalGroup>{ModalGroup::units, "units"},
    Named<ModalGroup>{ModalGroup::plane, "plane"},
    Named<ModalGroup>{ModalGroup::feed_mode, "feed-mode"},
    Named<ModalGroup>{ModalGroup::radius_compensation, "radius-compensation"},
    Named<ModalGroup>{ModalGroup::length_compensation, "length-compensation"},
    Named<ModalGroup>{ModalGroup::scaling, "scaling"},
    Named<ModalGroup>{ModalGroup::mirror, "mirror"},
    Named<ModalGroup>{ModalGroup::rotation, "rotation"},
    Named<ModalGroup>{ModalGroup::tool_centre, "tool-centre"},
    Named<ModalGroup>{ModalGroup::work_offset, "work-offset"},
    Named<ModalGroup>{ModalGroup::axis_offset, "axis-offset"},
    Named<ModalGroup>{ModalGroup::path_control, "path-control"},
    Named<ModalGroup>{ModalGroup::spindle, "spindle"},
    Named<ModalGroup>{ModalGroup::coolant, "coolant"},
    Named<ModalGroup>{ModalGroup::stopping, "stopping"},
};

constexpr std::array operator_rows = {
    Named<Operator>{Operator::add, "add"},
    Named<Operator>{Operator::subtract, "subtract"},
    Named<Operator>{Operator::multiply, "multiply"},
    Named<Operator>{Operator::divide, "divide"},
    Named<Operator>{Operator::power, "power"},
    Named<Operator>{Operator::modulo, "modulo"},
    Named<Operator>{Operator::both, "and"},
    Named<Operator>{Operator::either, "or"},
    Named<Operator>{Operator::one_of, "one-of"},
};

constexpr std::array comparison_rows = {
    Named<Comparison>{Comparison::equal, "equal"},
    Named<Comparison>{Comparison::not_equal, "not-equal"},
    Named<Comparison>{Comparison::less, "less"},
    Named<Comparison>{Comparison::less_equal, "less-or-equal"},
    Named<Comparison>{Comparison::greater, "greater"},
    Named<Comparison>{Comparison::greater_equal, "greater-or-equal"},
};

constexpr std::array function_rows = {
    Named<Function>{Function::sine, "sine"},
    Named<Function>{Function::cosine, "cosine"},
    Named<Function>{Function::tangent, "tangent"},
    Named<Function>{Function::arcsine, "arcsine"},
    Named<Function>{Function::arccosine, "arccosine"},
    Named<Function>{Function::arctangent, "arctangent"},
    Named<Function>{Function::square_root, "square-root"},
    Named<Function>{Function::absolute, "absolute"},
    Named<Function>{Function::round, "round"},
    Named<Function>{Function::round_down, "round-down"},
    Named<Function>{Function::round_up, "round-up"},
    Named<Function>{Function::exponential, "exponential"},
    Named<Function>{Function::logarithm, "logarithm"},
};

template <class T, std::size_t n>
std::string key_in(const std::array<Named<T>, n>& rows, T item) {
  for (const auto& row : rows) {
    if (row.item == item) return std::string(row.key);
  }
  return "none";
}

template <class T, std::size_t n>
std::vector<T> items_of(const std::array<Named<T>, n>& rows) {
  std::vector<T> items;
  items.reserve(rows.size());
  for (const auto& row : rows) items.push_back(row.item);
  return items;
}

}  // namespace

ModalGroup group_of(Meaning meaning) {
  for (const MeaningRow& row : meaning_rows) {
    if (row.meaning == meaning) return row.group;
  }
  return ModalGroup::none;
}

std::string key_of(Meaning meaning) {
  for (const MeaningRow& row : meaning_rows) {
    if (row.meaning == meaning) return std::string(row.key);
  }
  return "unknown";
}

std::optional<Meaning> meaning_from_key(const std::string& key) {
  for (const MeaningRow& row : meaning_rows) {
    if (row.key == key) return row.meaning;
  }
  return std::nullopt;
}

std::vector<Meaning> all_meanings() {
  std::vector<Meaning> meanings;
  meanings.reserve(std::size(meaning_rows));
  for (const MeaningRow& row : meaning_rows) meanings.push_back(row.meaning);
  return meanings;
}

std::string key_of(ModalGroup group) { return key_in(group_rows, group); }
std::string key_of(Operator op) { return key_in(operator_rows, op); }
std::string key_of(Comparison comparison) { return key_in(comparison_rows, comparison); }
std::string key_of(Function function) { return key_in(function_rows, function); }
std::vector<ModalGroup> all_groups() { return items_of(group_rows); }
std::vector<Operator> all_operators() { return items_of(operator_rows); }
std::vector<Comparison> all_comparisons() { return items_of(comparison_rows); }
std::vector<Function> all_functions() { return items_of(function_rows); }

std::optional<ModalGroup> group_from_key(const std::string& key) {
  for (const auto& row : group_rows) {
    if (row.key == key) return row.item;
  }
  return std::nullopt;
}

}  // namespace pivotrace
