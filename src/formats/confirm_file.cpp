#include "pivotrace/formats/confirm_file.h"

#include "formats/json_writer.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

using formats::JsonLayout;
using formats::JsonWriter;

const char* holding_key(Holding holding) {
  switch (holding) {
    case Holding::holds: return "holds";
    case Holding::does_not: return "does-not";
    case Holding::cannot_tell: return "cannot-tell";
  }
  return "";
}

void add_value(JsonWriter& json, const ConfirmedValue& value) {
  const double unit = is_angle(value.name) ? deg_from_rad(1.0) : 1.0;
  json.begin_object({}, JsonLayout::one_line);
  json.add("name", text_of(value.name));
  json.add("unit", is_angle(value.name) ? "deg" : "mm");
  json.add("written", unit * value.written);
  json.add("found", unit * value.found);
  json.add("off", unit * value.off());
  json.add("u", unit * value.u);
  json.add("dof", value.dof);
  json.add("B", unit * value.B);
  json.add("tolerance", unit * value.tolerance);
  json.add("verdict", holding_key(value.holding));
  json.end();
}

void add_cut(JsonWriter& json, const CutEvidence& cut) {
  json.begin_object("cut", JsonLayout::one_line);
  json.add("step_per_centre", cut.per_centre);
  json.add("expected_mm", cut.expected_mm);
  json.add("centre_off_mm", cut.off_mm);
  json.add("centre_off_U95_mm", cut.off_U95_mm);
  json.add("tolerance_mm", cut.tolerance_mm);
  json.add("verdict", holding_key(cut.holding));
  json.add("something_else", cut.something_else);
  json.end();
}

}  // namespace

std::string write_confirmation(const FitResult& written, bool simulated,
                               const std::vector<ConfirmedValue>& values,
                               const std::optional<CutEvidence>& cut) {
  JsonWriter json;
  json.begin_object();
  json.add("format", confirmation_format);
  json.add("machine", written.machine_name);
  json.add("simulated", simulated);
  if (values.empty()) {
    json.add_null("verdict");
  } else {
    json.add("verdict", holding_key(overall(values)));
  }
  json.begin_array("values");
  for (const ConfirmedValue& value : values) add_value(json, value);
  json.end();
  if (cut) {
    add_cut(json, *cut);
  } else {
    json.add_null("cut");
  }
  json.end();
  return json.take();
}

}  // namespace pivotrace
