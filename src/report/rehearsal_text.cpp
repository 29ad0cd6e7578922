// The rehearsal report, for people and for programs.
#include "pivotrace/report/rehearsal_text.h"

#include <fmt/format.h>

#include <cmath>

#include "base/cautions.h"
#include "base/length_text.h"
#include "formats/json_writer.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

using formats::JsonLayout;
using formats::JsonWriter;

const char* end_word(ProgramEnd end) {
  switch (end) {
    case ProgramEnd::not_started: return "not run";
    case ProgramEnd::finished: return "ran to its end";
    case ProgramEnd::alarm: return "stopped with an alarm";
    case ProgramEnd::refused: return "was refused by the control";
    case ProgramEnd::machine: return "was stopped by the machine";
    case ProgramEnd::too_long: return "did not end";
  }
  return "not run";
}

std::string angles_text(const Machine& machine, const RotaryAngles& angles_rad) {
  std::string text;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    text += fmt::format("{}{} {:.3f}", i == 0 ? "" : " ", machine.rotary[i].letter,
                        deg_from_rad(angles_rad[i]));
  }
  return text.empty() ? text : text + " deg";
}

std::string moment_text(const Machine& machine, const Moment& moment) {
  return fmt::format("line {}, {}, {}", moment.line, position_words(moment.shown_mm, machine.inch),
                     angles_text(machine, moment.commanded_rad));
}

/// As the plan counts: motion, and the control's own time for every move.
double seconds_on_control(const RehearsalReport& report) {
  return report.seconds + control_s_per_move * report.moves;
}

std::string minutes_text(double seconds) { return fmt::format("{:.1f} min", seconds / 60.0); }

std::string stations_text(const RehearsalReport& report, const Machine& machine) {
  std::string text;
  for (const StationTime& station : report.stations) {
    if (station.touches == 0) continue;
    text += fmt::format("  {:<28} {:3} touches  {:6.1f} s  {:3.0f} %\n",
                        angles_text(machine, station.angles_rad), station.touches, station.seconds,
                        100.0 * station.seconds / report.seconds);
  }
  return text;
}

void add_angles(JsonWriter& json, const Machine& machine, const RotaryAngles& angles_rad) {
  json.begin_object("angles_deg", JsonLayout::one_line);
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    json.add(std::string(1, machine.rotary[i].letter), deg_from_rad(angles_rad[i]));
  }
  json.end();
}

void add_moment(JsonWriter& json, const Machine& machine, const Moment& moment) {
  json.add("line", moment.line);
  json.add("position_mm", moment.shown_mm);
  if (!machine.rotary.empty()) add_angles(json, machine, moment.commanded_rad);
}

void add_problem(JsonWriter& json, const Problem& problem) {
  json.begin_object();
  json.add("number", static_cast<int>(problem.number));
  json.add("text", problem.what);
  json.add("advice", problem.advice);
  json.add("line", problem.where.line);
  json.add("column", problem.where.column);
  json.end();
}

void add_violation(JsonWriter& json, const Machine& machine, const Violation& violation) {
  json.begin_object();
  add_moment(json, machine, violation.moment);
  json.add("number", static_cast<int>(violation.number));
  json.add("part", violation.tool_part ? tool_part_word(*violation.tool_part) : "");
  json.add("body", violation.body);
  json.add("text", violation.text);
  json.end();
}

void add_station(JsonWriter& json, const Machine& machine, const StationTime& station,
                 double seconds) {
  json.begin_object({}, JsonLayout::one_line);
  json.add("seconds", station.seconds);
  json.add("share", station.seconds / seconds);
  json.add("touches", station.touches);
  if (!machine.rotary.empty()) add_angles(json, machine, station.angles_rad);
  json.end();
}

void add_clearance(JsonWriter& json, const Machine& machine, const RehearsalReport& report) {
  json.begin_object("smallest_clearance");
  add_moment(json, machine, report.smallest_clearance.moment);
  json.add("mm", report.smallest_clearance.mm);
  json.add("part", tool_part_word(report.smallest_clearance.tool_part));
  json.add("body", report.smallest_clearance.body);
  json.end();
}

void add_lists(JsonWriter& json, const RehearsalReport& report, const Machine& machine) {
  json.begin_array("problems");
  for (const Problem& problem : report.run.problems) add_problem(json, problem);
  json.end();
  json.begin_array("violations");
  for (const Violation& violation : report.violations) add_violation(json, machine, violation);
  json.end();
}

}  // namespace

std::string rehearsal_text(const RehearsalReport& report, const Machine& machine) {
  std::string text = report.passed
                         ? "passed: the program ran to its end, nothing was hit\n"
                         : fmt::format("NOT PASSED: the program {}\n", end_word(report.run.end));
  if (!report.fault.empty()) text += "on purpose: " + report.fault + "\n";
  for (const Problem& problem : report.run.problems) text += describe(problem) + "\n";
  for (const Violation& violation : report.violations) {
    text += fmt::format("violation P{}: {} ({})\n", static_cast<int>(violation.number),
                        violation.text, moment_text(machine, violation.moment));
  }
  if (report.run.end != ProgramEnd::finished && report.run.blocks > 0) {
    text += fmt::format("it stands at {}\n", moment_text(machine, report.end));
  }
  text += fmt::format("moves {}, touches {}, operator stops {}, blocks {}\n", report.moves,
                      report.touches.size(), report.operator_stops, report.run.blocks);
  if (std::isfinite(report.smallest_clearance.mm)) {
    text += fmt::format("smallest clearance {}, {} to {} ({})\n",
                        length_text(report.smallest_clearance.mm, machine.inch, 2),
                        tool_part_word(report.smallest_clearance.tool_part),
                        report.smallest_clearance.body,
                        moment_text(machine, report.smallest_clearance.moment));
  }
  text += fmt::format("stylus pressed {} beyond the trigger at most\n",
                      length_text(report.largest_overtravel_mm, machine.inch, 3));
  text += fmt::format(
      "time {} of motion; about {} with {} s a move for the control, without the "
      "operator's\n",
      minutes_text(report.seconds), minutes_text(seconds_on_control(report)), control_s_per_move);
  text += stations_text(report, machine);
  for (const std::string& message : report.messages) text += "told: " + message + "\n";
  for (const std::string& note : report.notes) text += "note: " + note + "\n";
  text +=
      "A rehearsal checks what the files describe. Run the program on the machine slowly, "
      "hand on the stop,\nby the machine's manual and your local safety rules.\n";
  return text;
}

std::string rehearsal_json(const RehearsalReport& report, const Machine& machine) {
  JsonWriter json;
  json.begin_object();
  json.add("format", "pivotrace-rehearsal-1");
  json.add("caution", moving_machine_caution);
  json.add("passed", report.passed);
  json.add("end", end_word(report.run.end));
  add_lists(json, report, machine);
  json.add("fault", report.fault);
  json.begin_object("stands_at");
  add_moment(json, machine, report.end);
  json.end();
  json.add("moves", report.moves);
  json.add("touches", static_cast<int>(report.touches.size()));
  json.add("operator_stops", report.operator_stops);
  json.add("blocks", static_cast<int>(report.run.blocks));
  json.add("minutes_of_motion", report.seconds / 60.0);
  json.add("minutes", seconds_on_control(report) / 60.0);
  json.begin_array("stations");
  for (const StationTime& station : report.stations) {
    if (station.touches > 0) add_station(json, machine, station, report.seconds);
  }
  json.end();
  if (std::isfinite(report.smallest_clearance.mm)) add_clearance(json, machine, report);
  json.add("largest_overtravel_mm", report.largest_overtravel_mm);
  json.add("messages", report.messages);
  json.add("notes", report.notes);
  json.end();
  return json.take();
}

}  // namespace pivotrace
