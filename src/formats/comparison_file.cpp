#include "pivotrace/formats/comparison_file.h"

#include "formats/json_room.h"
#include "formats/json_writer.h"
#include "formats/note_word.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

using formats::JsonLayout;
using formats::JsonWriter;

const char* cause_word(Cause cause) {
  switch (cause) {
    case Cause::unit: return "unit";
    case Cause::axis_bearing: return "axis-bearing";
    case Cause::axis_zero: return "axis-zero";
    case Cause::probe: return "probe";
    case Cause::machine_zero: return "machine-zero";
    case Cause::several: return "several";
  }
  return "";
}

const char* tell_apart_word(TellApart way) {
  switch (way) {
    case TellApart::fixed_artefact: return "fixed-artefact";
    case TellApart::flip_spindle: return "flip-spindle";
    case TellApart::housing_indicator: return "housing-indicator";
    case TellApart::more_touches: return "more-touches";
  }
  return "";
}

}  // namespace

const char* formats::note_word(CompareNote::Kind kind) {
  using Kind = CompareNote::Kind;
  switch (kind) {
    case Kind::gains_missing: return "gains-missing";
    case Kind::probe_not_stated: return "probe-not-stated";
    case Kind::other_probe: return "other-probe";
    case Kind::other_calibration: return "other-calibration";
    case Kind::other_load: return "other-load";
    case Kind::other_warmth: return "other-warmth";
    case Kind::other_clamping: return "other-clamping";
    case Kind::other_rollover: return "other-rollover";
    case Kind::other_coupling: return "other-coupling";
    case Kind::other_tables: return "other-tables";
    case Kind::simulated: return "simulated";
    case Kind::simulated_beside_measured: return "simulated-beside-measured";
    case Kind::between_assumed: return "between-surveys-assumed";
    case Kind::machine_file_differs: return "machine-file-differs";
    case Kind::no_dates: return "no-dates";
    case Kind::other_plane: return "other-plane";
    case Kind::only_old: return "only-old";
    case Kind::only_new: return "only-new";
    case Kind::other_machine: return "other-machine";
  }
  return "";
}

namespace {

void add_text_or_null(JsonWriter& json, const char* key, const std::string& text) {
  if (text.empty()) {
    json.add_null(key);
  } else {
    json.add(key, text);
  }
}

void add_letter(JsonWriter& json, char axis) {
  add_text_or_null(json, "axis", axis == '\0' ? std::string() : std::string(1, axis));
}

void add_vector(JsonWriter& json, const char* key, const Eigen::Vector3d& vector,
                double factor = 1.0) {
  json.begin_array(key, JsonLayout::one_line);
  for (int k = 0; k < 3; ++k) json.add({}, factor * vector[k]);
  json.end();
}

void add_value(JsonWriter& json, const ValueChange& value) {
  const double unit = is_angle(value.name) ? deg_from_rad(1.0) : 1.0;
  json.begin_object({}, JsonLayout::one_line);
  json.add("name", text_of(value.name));
  json.add("unit", is_angle(value.name) ? "deg" : "mm");
  json.add("old", unit * value.old_value);
  json.add("new", unit * value.new_value);
  json.add("change", unit * value.change);
  json.add("u", unit * value.u);
  json.add("dof", value.dof);
  json.add("B", unit * value.B);
  json.add("U95", unit * value.U95);
  json.add("smallest_seen", unit * value.smallest_seen);
  json.add("moved", value.moved);
  formats::add_room(json, "tolerance", value.tolerance, unit);
  json.add("within_tolerance", value.within_tolerance);
  json.end();
}

void add_explanation(JsonWriter& json, const Explanation& line) {
  json.begin_object();
  json.begin_array("what");
  for (const CauseName& cause : line.what) {
    json.begin_object({}, JsonLayout::one_line);
    json.add("cause", cause_word(cause.cause));
    add_letter(json, cause.axis);
    json.add("side", cause.side == AxisSide::work ? "work" : "tool");
    json.end();
  }
  json.end();
  json.begin_object("size");
  add_vector(json, "about_mm", line.size.about_mm);
  add_vector(json, "shift_mm", line.size.shift_mm);
  add_vector(json, "turn_deg", line.size.turn_rad, deg_from_rad(1.0));
  json.end();
  json.add("probability", line.probability);
  json.begin_array("told_apart_by", JsonLayout::one_line);
  for (const TellApart way : line.told_apart_by) json.add({}, tell_apart_word(way));
  json.end();
  json.end();
}

void add_test(JsonWriter& json, const Congruency& test) {
  json.begin_object("test", JsonLayout::one_line);
  json.add("T", test.statistic);
  json.add("h", test.h);
  json.add("dof", test.dof);
  json.add("probability", test.probability);
  json.add("level", moved_level);
  json.end();
}

void add_notes(JsonWriter& json, const SurveyComparison& comparison) {
  json.begin_array("artefacts");
  for (const ArtefactShift& shift : comparison.artefacts) {
    json.begin_object({}, JsonLayout::one_line);
    json.add("name", shift.name);
    add_vector(json, "shift_mm", shift.shift_mm);
    json.end();
  }
  json.end();
  json.begin_array("notes");
  for (const CompareNote& note : comparison.notes) {
    json.begin_object({}, JsonLayout::one_line);
    json.add("note", formats::note_word(note.kind));
    add_letter(json, note.axis);
    json.end();
  }
  json.end();
}

}  // namespace

std::string write_comparison(const SurveyComparison& comparison) {
  JsonWriter json;
  json.begin_object();
  json.add("format", comparison_format);
  json.add("machine", comparison.machine_name);
  json.add("simulated", comparison.simulated);
  add_text_or_null(json, "old_started", comparison.old_started);
  add_text_or_null(json, "new_started", comparison.new_started);
  if (comparison.moved) {
    json.add("moved", *comparison.moved);
  } else {
    json.add_null("moved");
  }
  add_test(json, comparison.test);
  json.add("between_surveys_mm", comparison.between_surveys_mm);
  json.begin_array("values");
  for (const ValueChange& value : comparison.values) add_value(json, value);
  json.end();
  json.begin_array("explanations");
  for (const Explanation& line : comparison.explanations) add_explanation(json, line);
  json.end();
  add_notes(json, comparison);
  json.end();
  return json.take();
}

}  // namespace pivotrace
