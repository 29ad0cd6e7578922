#include "pivotrace/report/reseat_text.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/cautions.h"
#include "base/number_text.h"
#include "base/wrapped_text.h"
#include "formats/json_writer.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/index_angles.h"

namespace pivotrace {

namespace {

using formats::JsonLayout;
using formats::JsonWriter;

double shown_length(double mm, LengthUnit unit) {
  return shown_value(QuantityKind::length, mm, unit);
}

double shown_lean(const ReseatRow& row, LengthUnit unit) {
  return shown_value(QuantityKind::slope, mm_per_300_from_rad(row.lean_left_rad), unit);
}

int decimals_of(LengthUnit unit) {
  return unit == LengthUnit::inch ? program_decimals_inch : program_decimals_mm;
}

std::string offset_words(const ReseatRow& row) {
  return row.work_offset == 0
             ? std::string("none left")
             : fmt::format("P{} {}", row.work_offset, work_offset_word(row.work_offset));
}

std::string xyz_text(const Eigen::Vector3d& p_mm, LengthUnit unit) {
  return fmt::format("X {} Y {} Z {}", fixed_text(shown_length(p_mm.x(), unit), decimals_of(unit)),
                     fixed_text(shown_length(p_mm.y(), unit), decimals_of(unit)),
                     fixed_text(shown_length(p_mm.z(), unit), decimals_of(unit)));
}

/// A name that stays on its line.
std::string one_line(std::string text) {
  std::replace_if(
      text.begin(), text.end(), [](char c) { return c == '\n' || c == '\r'; }, ' ');
  return text;
}

std::size_t widest_index(const FitResult& result, const ReseatTable& table) {
  std::size_t widest = 5;
  for (const ReseatRow& row : table.rows) {
    widest = std::max(widest, angles_text(result, row.angles_rad).size());
  }
  return widest;
}

std::string screen_row(const std::string& index, const ReseatRow& row, LengthUnit unit) {
  const int decimals = decimals_of(unit);
  std::string text = fmt::format("{:<9} {}", offset_words(row), index);
  for (int i = 0; i < 3; ++i) {
    text += fmt::format(" {:>11}", fixed_text(shown_length(row.offset_mm[i], unit), decimals));
  }
  return text + fmt::format(" {:>8} {:>9}\n",
                            uncertainty_text(shown_length(row.U95_mm.maxCoeff(), unit), decimals),
                            fixed_text(shown_lean(row, unit), decimals));
}

std::string csv_row(const FitResult& result, const ReseatRow& row, LengthUnit unit) {
  const int decimals = decimals_of(unit);
  std::string text = row.work_offset == 0 ? "," : fmt::format("P{},", row.work_offset);
  for (std::size_t i = 0; i < result.axes.size(); ++i) {
    if (result.axes[i].side != AxisSide::work) continue;
    text += fixed_text(deg_from_rad(row.angles_rad[i]), 6) + ",";
  }
  for (int i = 0; i < 3; ++i) {
    text += fixed_text(shown_length(row.offset_mm[i], unit), decimals) + ",";
  }
  for (int i = 0; i < 3; ++i) {
    text += uncertainty_text(shown_length(row.U95_mm[i], unit), decimals) + ",";
  }
  return text + fixed_text(mm_per_300_from_rad(row.lean_left_rad), 6) + "\n";
}

void add_angles(JsonWriter& json, const FitResult& result, const ReseatRow& row) {
  json.begin_object("angles_deg", JsonLayout::one_line);
  for (std::size_t i = 0; i < result.axes.size(); ++i) {
    if (result.axes[i].side != AxisSide::work) continue;
    json.add(std::string(1, result.axes[i].letter), deg_from_rad(row.angles_rad[i]));
  }
  json.end();
}

void add_xyz(JsonWriter& json, const char* key, const Eigen::Vector3d& p_mm, LengthUnit unit) {
  json.begin_object(key, JsonLayout::one_line);
  for (int i = 0; i < 3; ++i) json.add(std::string(1, "XYZ"[i]), shown_length(p_mm[i], unit));
  json.end();
}

void add_row(JsonWriter& json, const FitResult& result, const ReseatRow& row, LengthUnit unit) {
  json.begin_object();
  if (row.work_offset == 0) {
    json.add_null("work_offset");
  } else {
    json.add("work_offset", row.work_offset);
  }
  add_angles(json, result, row);
  add_xyz(json, "offset", row.offset_mm, unit);
  add_xyz(json, "U95", row.U95_mm, unit);
  json.add("lean_mm_per_300", mm_per_300_from_rad(row.lean_left_rad));
  json.end();
}

}  // namespace

std::string reseat_text(const FitResult& result, const ReseatRequest& request,
                        const ReseatTable& table) {
  std::string text =
      fmt::format("Work offsets of machine \"{}\", machine coordinates, {}\n", result.machine_name,
                  unit_word(QuantityKind::length, request.unit));
  if (result.simulated) text += std::string(simulated_notice) + "\n";
  text += fmt::format("taught at {}: {}\n", angles_text(result, request.taught_at_rad),
                      xyz_text(request.taught_mm, request.unit));
  const std::size_t widest = widest_index(result, table);
  text += fmt::format("{:<9} {:<{}} {:>11} {:>11} {:>11} {:>8} {:>9}\n", "offset", "index", widest,
                      "X", "Y", "Z", "U95", "lean");
  for (const ReseatRow& row : table.rows) {
    text += screen_row(fmt::format("{:<{}}", angles_text(result, row.angles_rad), widest), row,
                       request.unit);
  }
  text += wrapped(
      fmt::format("U95 is that of the worst coordinate, from the axis lines alone; the uncertainty "
                  "of the taught offset itself comes on top. Lean: what stays in the part, {}.",
                  unit_word(QuantityKind::slope, request.unit)),
      "", 0);
  text += wrapped(taught_offset_caution, "", 0);
  return text + wrapped(caution(wrong_value_caution), "", 0);
}

std::string reseat_csv(const FitResult& result, const ReseatRequest& request,
                       const ReseatTable& table) {
  std::string text = "# format: 1\n";
  text += fmt::format("# units: {}\n", unit_word(QuantityKind::length, request.unit));
  text += "# machine: " + one_line(result.machine_name) + "\n";
  if (result.simulated) text += fmt::format("# {}\n", simulated_notice);
  text += "# written: " + request.date + "\n";
  text += fmt::format("# caution: {}\n# {}\n", wrong_value_caution, taught_offset_caution);
  text += "offset,";
  for (const AxisResult& axis : result.axes) {
    if (axis.side == AxisSide::work) text += fmt::format("{}_deg,", axis.letter);
  }
  text += "X,Y,Z,U95_X,U95_Y,U95_Z,lean_mm_per_300\n";
  for (const ReseatRow& row : table.rows) text += csv_row(result, row, request.unit);
  return text;
}

std::string reseat_json(const FitResult& result, const ReseatRequest& request,
                        const ReseatTable& table) {
  JsonWriter json;
  json.begin_object();
  json.add("format", "pivotrace-reseat-1");
  json.add("machine", result.machine_name);
  json.add("simulated", result.simulated);
  json.add("units", unit_word(QuantityKind::length, request.unit));
  json.add("written", request.date);
  json.add("caution", wrong_value_caution);
  json.add("coordinates", taught_offset_caution);
  json.begin_array("rows");
  for (const ReseatRow& row : table.rows) add_row(json, result, row, request.unit);
  json.end();
  json.add("warnings", table.warnings);
  json.end();
  return json.take();
}

}  // namespace pivotrace
