// RS274/NGC version 3 (NISTIR 6556, Kramer, Proctor, Messina, 2000) as a control sheet, retyped from the
// report: words of tables 5 and 7, functions of table 3, operators of section 3.3.2.3.
#pragma once

#include "pivotrace/control/control_sheet.h"

namespace pivotrace::test {

inline std::map<Meaning, std::vector<std::string>> rs274ngc_words() {
  return {{Meaning::rapid, {"G0"}},
          {Meaning::feed, {"G1"}},
          {Meaning::dwell, {"G4"}},
          {Meaning::set_data, {"G10"}},
          {Meaning::plane_xy, {"G17"}},
          {Meaning::plane_zx, {"G18"}},
          {Meaning::plane_yz, {"G19"}},
          {Meaning::inches, {"G20"}},
          {Meaning::millimetres, {"G21"}},
          {Meaning::skip, {"G38.2"}},
          {Meaning::radius_compensation_off, {"G40"}},
          {Meaning::radius_compensation_left, {"G41"}},
          {Meaning::radius_compensation_right, {"G42"}},
          {Meaning::length_compensation_on, {"G43"}},
          {Meaning::length_compensation_off, {"G49"}},
          {Meaning::machine_coordinates, {"G53"}},
          {Meaning::work_offset_1, {"G54"}},
          {Meaning::work_offset_2, {"G55"}},
          {Meaning::work_offset_3, {"G56"}},
          {Meaning::work_offset_4, {"G57"}},
          {Meaning::work_offset_5, {"G58"}},
          {Meaning::work_offset_6, {"G59"}},
          {Meaning::work_offset_7, {"G59.1"}},
          {Meaning::work_offset_8, {"G59.2"}},
          {Meaning::work_offset_9, {"G59.3"}},
          {Meaning::exact_path, {"G61"}},
          {Meaning::exact_stop, {"G61.1"}},
          {Meaning::blended_path, {"G64"}},
          {Meaning::canned_cycle_off, {"G80"}},
          {Meaning::absolute, {"G90"}},
          {Meaning::incremental, {"G91"}},
          {Meaning::axis_offset_set, {"G92"}},
          {Meaning::axis_offset_clear, {"G92.1"}},
          {Meaning::axis_offset_suspend, {"G92.2"}},
          {Meaning::axis_offset_resume, {"G92.3"}},
          {Meaning::feed_inverse_time, {"G93"}},
          {Meaning::feed_per_minute, {"G94"}},
          {Meaning::program_stop, {"M0"}},
          {Meaning::optional_stop, {"M1"}},
          {Meaning::program_end, {"M2", "M30"}},
          {Meaning::spindle_clockwise, {"M3"}},
          {Meaning::spindle_counterclockwise, {"M4"}},
          {Meaning::spindle_stop, {"M5"}},
          {Meaning::coolant_on, {"M8"}},
          {Meaning::coolant_off, {"M9"}}};
}

inline ExpressionRules rs274ngc_expressions() {
  ExpressionRules rules;
  rules.operators = {{Operator::add, "+"},    {Operator::subtract, "-"}, {Operator::multiply, "*"},
                     {Operator::divide, "/"}, {Operator::power, "**"},   {Operator::modulo, "MOD"},
                     {Operator::both, "AND"}, {Operator::either, "OR"},  {Operator::one_of, "XOR"}};
  rules.functions = {{Function::sine, "SIN"},         {Function::cosine, "COS"},
                     {Function::tangent, "TAN"},      {Function::arcsine, "ASIN"},
                     {Function::arccosine, "ACOS"},   {Function::arctangent, "ATAN"},
                     {Function::square_root, "SQRT"}, {Function::absolute, "ABS"},
                     {Function::round, "ROUND"},      {Function::round_down, "FIX"},
                     {Function::round_up, "FUP"},     {Function::exponential, "EXP"},
                     {Function::logarithm, "LN"}};
  rules.sign_before_variable = false;
  return rules;
}

inline ControlSheet rs274ngc() {
  ControlSheet d;
  d.name = "rs274ngc";
  d.text.max_line_length = 253;
  d.text.line_number_prefix = "N";
  d.text.line_number_max = 99999;
  d.variables.readable = {1, 5399};
  d.variables.chained = true;
  d.expressions = rs274ngc_expressions();
  d.assignment.takes_effect_after_block = true;
  d.assignment.per_block = 0;
  d.assignment.value_needs_brackets = true;
  d.skip.trip_variable = {{'X', 5061}, {'Y', 5062}, {'Z', 5063},
                          {'A', 5064}, {'B', 5065}, {'C', 5066}};
  d.skip.untriggered = WhenUntriggered::stops_with_error;
  d.skip.triggered_at_start_is_error = true;
  d.skip.min_distance_mm = 0.254;
  d.skip.rotary_words_allowed = true;
  d.position.work_origin_1 = {{'X', 5221}, {'Y', 5222}, {'Z', 5223},
                              {'A', 5224}, {'B', 5225}, {'C', 5226}};
  d.position.work_origin_step = 20;
  d.position.active_work_offset = 5220;
  d.position.axis_offset = {{'X', 5211}, {'Y', 5212}, {'Z', 5213},
                            {'A', 5214}, {'B', 5215}, {'C', 5216}};
  d.stops.message = "(MSG,{text})";
  d.offsets = {"G10 L2 P{system} {axes}", 1, 9};
  d.dwell = {"P", 1.0};
  d.program_start = {"%"};
  d.program_end = {"%"};
  d.words = rs274ngc_words();
  return d;
}

}  // namespace pivotrace::test
