#include "pivotrace/report/setup_sheet.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <kainjow/mustache.hpp>
#include <map>

#include "base/cautions.h"
#include "base/markup.h"
#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/upward.h"
#include "report/look.h"
#include "report/page_template.h"
#include "report/setup_drawing.h"

namespace pivotrace {

namespace {

using kainjow::mustache::data;
using kainjow::mustache::mustache;

/// What the blanks of the sheet (setup_sheet.html) are filled with.
class SheetData {
 public:
  SheetData(const Machine& machine, const Plan& plan, const ControlSheet& sheet,
            const EmittedProgram& program, const CycleOptions& options)
      : machine_(machine), plan_(plan), sheet_(sheet), program_(program), options_(options) {}

  data all() const {
    data sheet;
    fill_heading(sheet);
    fill_program(sheet);
    sheet.set("figure_css", report::figure_css());
    sheet.set("drawing", report::setup_drawing(machine_, plan_, false)
                             .element("Set-up of " + machine_.name, "views, and touches close up"));
    sheet.set("mounted", mounted());
    fill_probe(sheet);
    fill_start(sheet);
    if (program_.results) sheet.set("results", results());
    fill_cautions(sheet);
    sheet.set("parameters", parameters());
    sheet.set("stations", stations());
    return sheet;
  }

 private:
  std::string length_text(double mm) const {
    std::string text = fmt::format("{:.4f}", machine_.inch ? mm / mm_per_inch : mm);
    while (text.back() == '0') text.pop_back();
    if (text.back() == '.') text.pop_back();
    if (text[0] == '-') text.replace(0, 1, "\xE2\x88\x92");
    return text + (machine_.inch ? " in" : " mm");
  }

  void fill_heading(data& sheet) const {
    sheet.set("title", "Set-up sheet: " + machine_.name);
    sheet.set("identity", identity_of(plan_));
    sheet.set("made_of", fmt::format("Plan {}: {} stations, {} touches, about {:.0f} "
                                     "minutes, lengths in {}",
                                     identity_of(plan_), plan_.stations.size(), plan_.touch_count(),
                                     std::ceil(plan_.minutes), machine_.inch ? "inches" : "mm"));
    sheet.set("rough", length_text(plan_.distances.rough));
    sheet.set("clearance", length_text(plan_.distances.clearance));
  }

  /// Number, size and what it takes of the control's memory and variables.
  void fill_program(data& sheet) const {
    const bool stored_by_number =
        std::any_of(sheet_.program_start.begin(), sheet_.program_start.end(),
                    [](const std::string& line) { return line.find("{number}") != line.npos; });
    if (stored_by_number) sheet.set("program_number", fmt::format("{}", options_.program_number));
    sheet.set("program_size", fmt::format("Plan number {}. In the words of {}: {} blocks, {} "
                                          "characters of memory.",
                                          identity_number_of(plan_), sheet_.name, program_.blocks,
                                          program_.text.size()));
    std::string ranges;
    for (const VariableRange& range : program_.overwritten) {
      ranges += fmt::format("{}{} to {}", ranges.empty() ? "" : ", ", variable(range.first),
                            variable(range.last));
    }
    sheet.set("overwritten", ranges);
  }

  std::string variable(int number) const {
    return sheet_.variables.prefix + std::to_string(number) + sheet_.variables.suffix;
  }

  data mounted() const {
    data rows{data::type::list};
    const report::SetupScene scene(machine_, plan_);
    for (const int index : scene.touched()) rows << mounted(scene, index);
    return rows;
  }

  data mounted(const report::SetupScene& scene, int index) const {
    const Artefact& artefact = machine_.artefacts[static_cast<std::size_t>(index)];
    data row;
    if (artefact.name != kind_word(artefact.kind)) row.set("kind", kind_word(artefact.kind));
    row.set("name", artefact.name);
    if (artefact.diameter_mm) row.set("diameter", length_text(*artefact.diameter_mm));
    const report::SetupScene::Stand stand = scene.stand_of(index);
    if (!stand.face.empty()) {
      row.set("height", length_text(std::round(10.0 * std::abs(stand.height_mm)) / 10.0));
      row.set("face", stand.face);
    }
    const double radius = scene.out_from_axis_mm(index).norm();
    if (radius >= 1.0) {
      row.set("radius", length_text(std::round(10.0 * radius) / 10.0));
      row.set("turned_by", std::string(1, machine_.rotary[artefact.carried_by].letter));
    }
    if (artefact.stem) {
      row.set("stem", length_text(artefact.stem->diameter_mm) + " thick, " +
                          length_text(artefact.stem->length_mm) + " long");
    }
    for (int i = 0; i < 3; ++i) {
      row.set(std::string(1, "XYZ"[i]), length_text(artefact.at_mm[i]));
    }
    return row;
  }

  void fill_probe(data& sheet) const {
    const Probe& probe = machine_.probe;
    sheet.set("stylus_diameter", length_text(probe.stylus_diameter_mm));
    if (probe.stylus_length_mm) sheet.set("stylus_length", length_text(*probe.stylus_length_mm));
    sheet.set("length_datum", probe.length_datum == LengthDatum::tip ? "tip" : "centre");
  }

  void fill_start(data& sheet) const {
    std::string angles;
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      angles += fmt::format(" {} {:g} deg", machine_.rotary[i].letter,
                            deg_from_rad(plan_.stations.front().angles_rad[i]));
    }
    sheet.set("start_angles", angles);
    if (!plan_.self_find) return;
    const int first = plan_.stations.front().touches.front().artefact;
    sheet.set("jogged_over", machine_.artefacts[first].name);
    const Eigen::Vector3d start = start_position_mm(machine_, plan_);
    sheet.set("start_X", length_text(start.x()));
    sheet.set("start_Y", length_text(start.y()));
    const bool lying = upward_axis(machine_) == LinearAxis::Y;
    sheet.set("spindle_side", lying ? "on the spindle side of" : "over");
  }

  data results() const {
    data rows;
    rows.set("first", fmt::format("{}", program_.results->identity));
    const int last = program_.results->first_touch + 3 * plan_.touch_count() - 1;
    rows.set("last", fmt::format("{}", last));
    return rows;
  }

  void fill_cautions(data& sheet) const {
    std::string text = moving_machine_caution;
    if (options_.solve_axis) text += std::string(" ") + on_control_centre_caution;
    sheet.set("cautions", text);
    if (options_.set_offset) sheet.set("work_offset", fmt::format("{}", *options_.set_offset));
  }

  void add_parameter(data& rows, const char* name, const char* meaning,
                     const std::string& value) const {
    const auto number = program_.variable_numbers.find(name);
    if (number == program_.variable_numbers.end()) return;
    data row;
    row.set("variable", variable(number->second));
    row.set("meaning", meaning);
    row.set("value", value);
    rows << row;
  }

  data parameters() const {
    data rows{data::type::list};
    const auto row = [&](const char* name, const char* meaning, const std::string& value) {
      add_parameter(rows, name, meaning, value);
    };
    const ProbingDistances& d = plan_.distances;
    const auto feed_text = [&](double feed) { return length_text(feed) + "/min"; };
    row("find feed", "feed to find", feed_text(plan_.feeds.find));
    row("measure feed", "feed to measure", feed_text(plan_.feeds.measure));
    row("position feed", "feed between touches", feed_text(plan_.feeds.position));
    row("clearance", "clearance before a surface", length_text(d.clearance));
    row("rough", "how far off the positions may be", length_text(d.rough));
    row("search", "how far past a surface to look", length_text(d.search));
    row("limit", "stop when a touch is further from prediction", length_text(d.limit));
    row("agreement", "stop when fast and slow touch differ by more", length_text(d.agreement));
    row("safe height", "Z shown at which axes turn and rapid moves run",
        length_text(d.safe_height));
    row("stylus diameter", "stylus ball diameter", length_text(machine_.probe.stylus_diameter_mm));
    return rows;
  }

  data stations() const {
    data rows{data::type::list};
    for (const PlannedStation& station : plan_.stations) {
      data row;
      row.set("label", station.label);
      data angles{data::type::list};
      for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
        data angle;
        angle.set("letter", std::string(1, machine_.rotary[i].letter));
        angle.set("degrees", fmt::format("{:g}", deg_from_rad(station.angles_rad[i]) + 0.0));
        angles << angle;
      }
      row.set("angles", angles);
      row.set("touches", touches_text(station));
      row.set("flip", station.flip);
      rows << row;
    }
    return rows;
  }

  std::string touches_text(const PlannedStation& station) const {
    std::map<int, int> counts;
    for (const PlannedTouch& touch : station.touches) ++counts[touch.artefact];
    std::string text;
    for (const auto& [artefact, count] : counts) {
      text += fmt::format("{}{} on {}", text.empty() ? "" : ", ", count,
                          machine_.artefacts[static_cast<std::size_t>(artefact)].name);
    }
    return text;
  }

  const Machine& machine_;
  const Plan& plan_;
  const ControlSheet& sheet_;
  const EmittedProgram& program_;
  const CycleOptions& options_;
};

}  // namespace

std::string setup_sheet(const Machine& machine, const Plan& plan, const ControlSheet& sheet,
                        const EmittedProgram& program, const CycleOptions& options) {
  mustache page{std::string(report::setup_sheet_template)};
  page.set_custom_escape([](const std::string& text) { return escaped(text); });
  return page.render(SheetData(machine, plan, sheet, program, options).all());
}

}  // namespace pivotrace
