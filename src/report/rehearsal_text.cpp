// The rehearsal report, for people and for programs.
#include <fmt/format.h>

#include <cmath>
#include <nlohmann/json.hpp>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/rehearsal/rehearse.h"

namespace pivotrace {

namespace {

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
  return fmt::format("line {}, X {:.3f} Y {:.3f} Z {:.3f} mm, {}", moment.line, moment.shown_mm.x(),
                     moment.shown_mm.y(), moment.shown_mm.z(),
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

nlohmann::ordered_json moment_json(const Machine& machine, const Moment& moment) {
  nlohmann::ordered_json json = {
      {"line", moment.line},
      {"position_mm", {moment.shown_mm.x(), moment.shown_mm.y(), moment.shown_mm.z()}}};
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    json["angles_deg"][std::string(1, machine.rotary[i].letter)] =
        deg_from_rad(moment.commanded_rad[i]);
  }
  return json;
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
    text +=
        fmt::format("smallest clearance {:.2f} mm, {} to {} ({})\n", report.smallest_clearance.mm,
                    report.smallest_clearance.tool_part, report.smallest_clearance.body,
                    moment_text(machine, report.smallest_clearance.moment));
  }
  text += fmt::format("stylus pressed {:.3f} mm beyond the trigger at most\n",
                      report.largest_overtravel_mm);
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
  nlohmann::ordered_json json;
  json["format"] = "pivotrace-rehearsal-1";
  json["passed"] = report.passed;
  json["end"] = end_word(report.run.end);
  json["problems"] = nlohmann::ordered_json::array();
  for (const Problem& problem : report.run.problems) {
    json["problems"].push_back({{"number", static_cast<int>(problem.number)},
                                {"text", problem.what},
                                {"advice", problem.advice},
                                {"line", problem.where.line},
                                {"column", problem.where.column}});
  }
  json["violations"] = nlohmann::ordered_json::array();
  for (const Violation& violation : report.violations) {
    nlohmann::ordered_json entry = moment_json(machine, violation.moment);
    entry["number"] = static_cast<int>(violation.number);
    entry["part"] = violation.tool_part;
    entry["body"] = violation.body;
    entry["text"] = violation.text;
    json["violations"].push_back(entry);
  }
  json["fault"] = report.fault;
  json["stands_at"] = moment_json(machine, report.end);
  json["moves"] = report.moves;
  json["touches"] = report.touches.size();
  json["operator_stops"] = report.operator_stops;
  json["blocks"] = report.run.blocks;
  json["minutes_of_motion"] = report.seconds / 60.0;
  json["minutes"] = seconds_on_control(report) / 60.0;
  json["stations"] = nlohmann::ordered_json::array();
  for (const StationTime& station : report.stations) {
    if (station.touches == 0) continue;
    nlohmann::ordered_json entry = {{"seconds", station.seconds},
                                    {"share", station.seconds / report.seconds},
                                    {"touches", station.touches}};
    for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
      entry["angles_deg"][std::string(1, machine.rotary[i].letter)] =
          deg_from_rad(station.angles_rad[i]);
    }
    json["stations"].push_back(entry);
  }
  if (std::isfinite(report.smallest_clearance.mm)) {
    nlohmann::ordered_json entry = moment_json(machine, report.smallest_clearance.moment);
    entry["mm"] = report.smallest_clearance.mm;
    entry["part"] = report.smallest_clearance.tool_part;
    entry["body"] = report.smallest_clearance.body;
    json["smallest_clearance"] = entry;
  }
  json["largest_overtravel_mm"] = report.largest_overtravel_mm;
  json["messages"] = report.messages;
  json["notes"] = report.notes;
  return json.dump(2) + "\n";
}

}  // namespace pivotrace
