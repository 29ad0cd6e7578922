#include "pivotrace/formats/history_file.h"

#include <cmath>

#include "base/number_text.h"
#include "formats/json_room.h"
#include "formats/json_writer.h"
#include "formats/note_word.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

using formats::JsonLayout;
using formats::JsonWriter;

const char* why_word(LeftOutOfHistory::Why why) {
  using Why = LeftOutOfHistory::Why;
  switch (why) {
    case Why::unreadable: return "unreadable";
    case Why::other_machine: return "other-machine";
    case Why::not_usable: return "not-usable";
    case Why::no_date: return "no-date";
    case Why::duplicate: return "duplicate";
    case Why::no_values: return "no-values";
    case Why::other_tables: return "other-tables";
  }
  return "";
}

const char* next_word(NextCheck::Kind kind) {
  using Kind = NextCheck::Kind;
  switch (kind) {
    case Kind::no_limit: return "no-limit";
    case Kind::not_enough_results: return "not-enough-results";
    case Kind::overdue: return "overdue";
    case Kind::by_date: return "by-date";
    case Kind::beyond_horizon: return "beyond-horizon";
  }
  return "";
}

double unit_of(const ValueName& name) { return is_angle(name) ? deg_from_rad(1.0) : 1.0; }
const char* unit_word(const ValueName& name) { return is_angle(name) ? "deg" : "mm"; }

void add_point(JsonWriter& json, const HistoryPoint& point, double unit) {
  json.begin_object({}, JsonLayout::one_line);
  json.add("result", static_cast<int>(point.epoch));
  json.add("value", unit * point.value);
  json.add("U95", unit * point.U95);
  json.add("residual", point.residual);
  json.add("chart", point.chart);
  json.add("alarm", point.alarm);
  json.end();
}

void add_trend(JsonWriter& json, const ValueHistory& value, double unit) {
  json.begin_object("trend", JsonLayout::one_line);
  json.add("results", value.trend.results);
  json.add("per_month", unit * value.trend.per_month);
  json.add("U95", unit * value.trend.U95);
  json.add("creeps", value.trend.creeps);
  json.end();
  json.begin_object("next_check", JsonLayout::one_line);
  json.add("kind", next_word(value.next.kind));
  json.add("unix_s", std::round(value.next.time_s));
  json.end();
}

void add_value(JsonWriter& json, const ValueHistory& value) {
  const double unit = unit_of(value.name);
  json.begin_object();
  json.add("name", text_of(value.name));
  json.add("unit", unit_word(value.name));
  json.begin_array("points");
  for (const HistoryPoint& point : value.points) add_point(json, point, unit);
  json.end();
  json.begin_array("jumps");
  for (const Jump& jump : value.jumps) {
    json.begin_object({}, JsonLayout::one_line);
    json.add("after_result", static_cast<int>(value.points[jump.before].epoch));
    json.add("size", unit * jump.size);
    json.add("U95", unit * jump.U95);
    json.end();
  }
  json.end();
  add_trend(json, value, unit);
  formats::add_room(json, "limits", value.limits, unit);
  json.add("scatter", value.scatter);
  json.end();
}

void add_axis(JsonWriter& json, const AxisHistory& axis) {
  json.begin_object();
  json.add("axis", std::string(1, axis.letter));
  json.add("limit", axis.design.limit);
  json.begin_array("points");
  for (std::size_t i = 0; i < axis.epochs.size(); ++i) {
    json.begin_object({}, JsonLayout::one_line);
    json.add("result", static_cast<int>(axis.epochs[i]));
    json.add("statistic", axis.statistic[i]);
    json.add("alarm", static_cast<bool>(axis.alarm[i]));
    json.end();
  }
  json.end();
  json.end();
}

void add_files(JsonWriter& json, const History& history) {
  json.begin_array("results");
  for (const Epoch& epoch : history.epochs) {
    json.begin_object({}, JsonLayout::one_line);
    json.add("file", epoch.file);
    json.add("started", epoch.started);
    json.add("simulated", epoch.simulated);
    json.end();
  }
  json.end();
  json.begin_array("left_out");
  for (const LeftOutOfHistory& file : history.left_out) {
    json.begin_object({}, JsonLayout::one_line);
    json.add("file", file.file);
    json.add("why", why_word(file.why));
    json.add("detail", file.detail);
    json.end();
  }
  json.end();
}

void add_conditions(JsonWriter& json, const History& history) {
  json.begin_array("conditions");
  for (const OtherConditions& other : history.conditions) {
    json.begin_object({}, JsonLayout::one_line);
    json.add("what", formats::note_word(other.what.kind));
    if (other.what.axis == '\0') {
      json.add_null("axis");
    } else {
      json.add("axis", std::string(1, other.what.axis));
    }
    json.begin_array("results");
    for (const std::size_t epoch : other.epochs) json.add({}, static_cast<int>(epoch));
    json.end();
    json.end();
  }
  json.end();
}

/// A field as RFC 4180 wants it.
std::string field(const std::string& text) {
  if (text.find_first_of(",\"\n\r") == std::string::npos) return text;
  std::string quoted = "\"";
  for (const char c : text) quoted += c == '"' ? std::string("\"\"") : std::string(1, c);
  return quoted + "\"";
}

std::string number(double value) { return std::isfinite(value) ? shortest_text(value) : ""; }

}  // namespace

std::string write_history(const History& history) {
  JsonWriter json;
  json.begin_object();
  json.add("format", history_format);
  json.add("machine", history.machine_name);
  json.add("simulated", history.simulated());
  json.begin_object("design", JsonLayout::one_line);
  json.add("weight", history.design.weight);
  json.add("limit", history.design.limit);
  json.add("run_length", history.run_length);
  json.add("between_surveys_mm", history.between_surveys_mm);
  json.end();
  add_files(json, history);
  add_conditions(json, history);
  json.begin_array("values");
  for (const ValueHistory& value : history.values) add_value(json, value);
  json.end();
  json.begin_array("axes");
  for (const AxisHistory& axis : history.axes) add_axis(json, axis);
  json.end();
  json.end();
  return json.take();
}

std::string write_history_rows(const History& history) {
  std::string text = "file,started,simulated,value,unit,measured,U95,residual,chart,alarm\n";
  for (const ValueHistory& value : history.values) {
    const double unit = unit_of(value.name);
    for (const HistoryPoint& point : value.points) {
      const Epoch& epoch = history.epochs[point.epoch];
      text += field(epoch.file) + "," + epoch.started + "," + (epoch.simulated ? "yes" : "no") +
              "," + field(text_of(value.name)) + "," + unit_word(value.name) + "," +
              number(unit * point.value) + "," + number(unit * point.U95) + "," +
              number(point.residual) + "," + number(point.chart) + "," + (point.alarm ? "1" : "0") +
              "\n";
    }
  }
  return text;
}

}  // namespace pivotrace
