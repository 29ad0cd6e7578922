#include <algorithm>

#include "base/number_text.h"
#include "pivotrace/formats/touch_file.h"

namespace pivotrace {

namespace {

bool needs_quotes(std::string_view cell) {
  if (cell.empty()) return false;
  const bool blank_end = cell.front() == ' ' || cell.back() == ' ' || cell.front() == '#';
  return blank_end || cell.find_first_of(",;\t\"\r\n") != std::string_view::npos;
}

void append_cell(std::string& text, std::string_view cell) {
  if (!needs_quotes(cell)) {
    text += cell;
    return;
  }
  text += '"';
  for (const char letter : cell) {
    if (letter == '"') text += '"';
    text += letter;
  }
  text += '"';
}

template <class Test>
bool any_touch(const Survey& survey, Test test) {
  return std::any_of(survey.touches.begin(), survey.touches.end(), test);
}

/// Columns that would be the same in every row say nothing and are left out.
struct UsedColumns {
  bool kind, approach, time, temp, flip, indicator, stylus;

  explicit UsedColumns(const Survey& survey)
      : kind(any_touch(survey, [](const Touch& t) { return t.kind != TouchKind::touch; })),
        approach(any_touch(survey, [](const Touch& t) { return t.approach.has_value(); })),
        time(any_touch(survey, [](const Touch& t) { return t.time_s.has_value(); })),
        temp(any_touch(survey, [](const Touch& t) { return t.temperature_degC.has_value(); })),
        flip(any_touch(survey, [](const Touch& t) { return t.flip; })),
        indicator(any_touch(survey, [](const Touch& t) { return t.kind == TouchKind::indicator; })),
        stylus(any_touch(survey, [](const Touch& t) { return t.stylus != 0; })) {}
};

void append_preamble(std::string& text, const Survey& survey, const Machine& machine) {
  text += "# format: 1\n# units: mm\n";
  if (!survey.machine_name.empty()) text += "# machine: " + survey.machine_name + "\n";
  if (survey.simulated) text += "# simulated: yes\n";
  if (!survey.started.empty()) text += "# started: " + survey.started + "\n";
  // Positions of a Survey belong to the ball centre; undoing that here would cost the last digit.
  if (machine.probe.length_datum == LengthDatum::tip) text += "# length_datum: centre\n";
}

void append_header(std::string& text, const Survey& survey, const Machine& machine,
                   const UsedColumns& used) {
  text += "touch,station,artefact";
  if (used.kind) text += ",kind";
  for (const RotaryAxis& axis : machine.rotary) {
    text += ',';
    text += axis.letter;
  }
  text += ",X,Y,Z";
  if (used.approach) text += ",I,J,K";
  if (used.time) text += ",time";
  if (used.temp) text += ",temp";
  if (used.flip) text += ",flip";
  if (used.indicator) text += ",reading,setting";
  if (used.stylus) text += ",stylus";
  for (const auto& [name, values] : survey.extra_columns) {
    text += ',';
    append_cell(text, name);
  }
  text += '\n';
}

void append_optional(std::string& text, const std::optional<double>& value) {
  text += ',';
  if (value) append_shortest(text, *value);
}

void append_vector(std::string& text, const Eigen::Vector3d& vector) {
  for (int i = 0; i < 3; ++i) {
    text += ',';
    append_shortest(text, vector[i]);
  }
}

const char* kind_of_row(TouchKind kind) {
  switch (kind) {
    case TouchKind::touch: return "touch";
    case TouchKind::centre: return "centre";
    case TouchKind::indicator: return "indicator";
  }
  return "";
}

void append_row(std::string& text, const Survey& survey, const Machine& machine,
                const UsedColumns& used, std::size_t index) {
  const Touch& touch = survey.touches[index];
  const Station& station = survey.stations[static_cast<std::size_t>(touch.station)];
  append_cell(text, touch.label);
  text += ',';
  append_cell(text, station.label);
  text += ',';
  append_cell(text, machine.artefacts[static_cast<std::size_t>(touch.artefact)].name);
  if (used.kind) text += std::string(",") + kind_of_row(touch.kind);
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    text += ',';
    append_shortest(text, deg_to_write(station.angles_rad[axis]));
  }
  append_vector(text, touch.shown_mm);
  if (used.approach && touch.approach) append_vector(text, *touch.approach);
  if (used.approach && !touch.approach) text += ",,,";
  if (used.time) append_optional(text, touch.time_s);
  if (used.temp) append_optional(text, touch.temperature_degC);
  if (used.flip) text += touch.flip ? ",1" : ",0";
  // Positions of a Survey have what the indicator read taken back already.
  if (used.indicator) {
    text += touch.kind == TouchKind::indicator ? ",0," + std::to_string(touch.setting + 1) : ",,";
  }
  if (used.stylus) text += "," + std::to_string(touch.stylus + 1);
  for (const auto& [name, values] : survey.extra_columns) {
    text += ',';
    append_cell(text, values[index]);
  }
  text += '\n';
}

}  // namespace

std::string write_survey(const Survey& survey, const Machine& machine) {
  std::string text;
  const UsedColumns used(survey);
  append_preamble(text, survey, machine);
  append_header(text, survey, machine, used);
  for (std::size_t i = 0; i < survey.touches.size(); ++i) {
    append_row(text, survey, machine, used, i);
  }
  return text;
}

}  // namespace pivotrace
