#include "pivotrace/report/setup_sheet.h"

#include <fmt/format.h>

#include <cmath>
#include <set>

#include "base/cautions.h"
#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/report/drawing.h"
#include "report/svg.h"

namespace pivotrace {

namespace {

using report::escaped;

constexpr const char* page_style = R"(
@page { size: A4; margin: 9mm 12mm; }
body { font-family: sans-serif; font-size: 9pt; color: #111; max-width: 186mm; margin: 0 auto; }
h1 { font-size: 14pt; margin: 0; }
p { margin: 1mm 0; }
h2 { font-size: 10pt; margin: 2mm 0 0.5mm 0; border-bottom: 0.3mm solid #999; }
table { border-collapse: collapse; width: 100%; }
td, th { border: 0.2mm solid #999; padding: 0.3mm 2mm; text-align: left; vertical-align: top; }
td.number { text-align: right; white-space: nowrap; }
ul { margin: 1mm 0; padding-left: 5mm; }
ul.boxes { list-style: none; padding-left: 0; }
ul.boxes li::before { content: "\2610\00a0"; }
.caution { border: 0.6mm solid #b03a2e; padding: 1mm 3mm; margin-top: 2mm; }
.drawing svg { width: 100%; height: auto; max-height: 94mm; }
.columns { display: grid; grid-template-columns: 1fr 1fr; column-gap: 6mm; }
.blanks { display: grid; grid-template-columns: 1fr 1fr 1fr; column-gap: 6mm; margin-top: 7mm; }
.blanks div { border-top: 0.2mm solid #111; padding-top: 0.5mm; font-size: 9pt; }
)";

class SheetWriter {
 public:
  SheetWriter(const Machine& machine, const Plan& plan, const ControlSheet& sheet,
              const EmittedProgram& program, const CycleOptions& options)
      : machine_(machine), plan_(plan), sheet_(sheet), program_(program), options_(options) {}

  std::string write() {
    const std::string title = "Probing set-up sheet: " + escaped(machine_.name);
    std::string page = fmt::format(
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>{0}</title>"
        "<style>{1}</style></head><body>\n<h1>{0}</h1>\n<p>Plan {2} (number {3}), {4} stations, "
        "{5} "
        "touches, about {6:.0f} minutes. Program in control sheet {7}, {8} blocks.</p>\n",
        title, page_style, identity_of(plan_), identity_number_of(plan_), plan_.stations.size(),
        plan_.touch_count(), std::ceil(plan_.minutes), escaped(sheet_.name), program_.blocks);
    page += "<div class=\"drawing\">" + draw_setup(machine_, plan_) + "</div>\n";
    page += "<div class=\"columns\"><div>" + mounting() + probe() + "</div><div>" + checks() +
            "</div></div>\n";
    page += cautions() + parameters() + stations() + afterwards();
    page +=
        "<div class=\"blanks\"><div>Date</div><div>Name</div><div>Machine "
        "temperature</div></div>\n";
    return page + "</body></html>\n";
  }

 private:
  std::string length_text(double mm) const {
    std::string text = fmt::format("{:.4f}", machine_.inch ? mm / mm_per_inch : mm);
    while (text.back() == '0') text.pop_back();
    if (text.back() == '.') text.pop_back();
    return text + (machine_.inch ? " in" : " mm");
  }

  std::string position_text(const Eigen::Vector3d& p) const {
    return fmt::format("X {} &nbsp; Y {} &nbsp; Z {}", length_text(p.x()), length_text(p.y()),
                       length_text(p.z()));
  }

  std::string mounting() const {
    std::string text = "<h2>Mount</h2>\n<ul>\n";
    std::set<int> used;
    for (const PlannedStation& station : plan_.stations) {
      for (const PlannedTouch& touch : station.touches) used.insert(touch.artefact);
    }
    for (const int index : used) {
      const Artefact& artefact = machine_.artefacts[index];
      const std::string carrier =
          artefact.carried_by < 0
              ? "on the bed"
              : fmt::format("on what axis {} turns", machine_.rotary[artefact.carried_by].letter);
      const std::string size =
          artefact.diameter_mm ? ", diameter " + length_text(*artefact.diameter_mm) : "";
      text +=
          fmt::format("<li>{} <b>{}</b>{}, {}: {} with all rotary axes at 0 deg (within {})</li>\n",
                      kind_word(artefact.kind), escaped(artefact.name), size, carrier,
                      position_text(artefact.at_mm), length_text(plan_.distances.rough));
    }
    return text + "</ul>\n";
  }

  std::string probe() const {
    const Probe& probe = machine_.probe;
    std::string text = fmt::format("<h2>Probe</h2>\n<ul><li>stylus ball {}</li>",
                                   length_text(probe.stylus_diameter_mm));
    if (probe.stylus_length_mm) {
      text += fmt::format("<li>at least {} free below the holder</li>",
                          length_text(*probe.stylus_length_mm));
    }
    text += fmt::format("<li>machine Z belongs to the {} of the stylus ball</li></ul>\n",
                        probe.length_datum == LengthDatum::tip ? "tip" : "centre");
    return text;
  }

  std::string checks() const {
    std::string text = "<h2>Check first</h2>\n<ul class=\"boxes\">\n";
    const auto line = [&](const std::string& what) { text += "<li>" + what + "</li>\n"; };
    line("program rehearsed with <code>pivotrace rehearse</code>, no complaint");
    line("probe switched on; touched by hand, the control sees it");
    line("stylus tight, stylus and artefacts clean, artefacts tight");
    line("machine warm, as it is when it cuts");
    line("no rotation, scaling, mirror, radius or length compensation active");
    line("room for everything that turns, all round; cables and hoses too");
    std::string angles;
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      angles += fmt::format(" {} {:g} deg", machine_.rotary[i].letter,
                            deg_from_rad(plan_.stations.front().angles_rad[i]));
    }
    if (plan_.self_find) {
      const Artefact& first = machine_.artefacts[plan_.stations.front().touches.front().artefact];
      line(fmt::format(
          "rotary axes at{}; stylus jogged over the top of <b>{}</b>, at most {} above it, "
          "sideways within {}",
          angles, escaped(first.name), length_text(plan_.distances.clearance),
          length_text(plan_.distances.rough)));
    } else {
      line("spindle at the safe height, rotary axes at" + angles);
    }
    if (program_.results) {
      const int last = program_.results->first_touch + 3 * plan_.touch_count() - 1;
      line(fmt::format(
          "the control's parameter file holds rows for parameters {} to {}: only listed "
          "parameters are saved",
          program_.results->identity, last));
    }
    return text + "</ul>\n";
  }

  std::string cautions() const {
    std::string text =
        std::string("<div class=\"caution\"><b>Caution.</b> ") + moving_machine_caution;
    if (options_.solve_axis) text += std::string(" ") + on_control_centre_caution;
    text += options_.set_offset
                ? fmt::format(
                      " It writes work offset {} after a stop that shows old and new; reset "
                      "there to keep the old one.",
                      *options_.set_offset)
                : " It writes nothing to the control's offsets.";
    return text + "</div>\n";
  }

  std::string parameters() const {
    std::string text =
        "<h2>Parameters at the top of the program</h2>\n<table><tr><th>Variable</th>"
        "<th>Meaning</th><th>Value</th><th>Changed to</th></tr>\n";
    const auto row = [&](const char* name, const char* meaning, const std::string& value) {
      const auto number = program_.variable_numbers.find(name);
      if (number == program_.variable_numbers.end()) return;
      text +=
          fmt::format("<tr><td>{}{}{}</td><td>{}</td><td class=\"number\">{}</td><td></td></tr>\n",
                      escaped(sheet_.variables.prefix), number->second,
                      escaped(sheet_.variables.suffix), meaning, value);
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
    row("safe height", "machine Z to turn and rapid at", length_text(d.safe_height));
    row("stylus diameter", "stylus ball diameter", length_text(machine_.probe.stylus_diameter_mm));
    return text + "</table>\n";
  }

  std::string stations() const {
    std::string text = "<h2>Stations</h2>\n<p>";
    for (const PlannedStation& station : plan_.stations) {
      std::string angles;
      for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
        angles += fmt::format(" {}&nbsp;{:g}", machine_.rotary[i].letter,
                              deg_from_rad(station.angles_rad[i]));
      }
      text += fmt::format("<b>{}</b>{}{}; ", escaped(station.label), angles,
                          station.flip ? " (spindle at 180)" : "");
    }
    return text + "</p>\n";
  }

  std::string afterwards() const {
    return program_.results
               ? "<p>Afterwards: end the program, take the parameter file off the control and run "
                 "<code>pivotrace fit MACHINE PARAMETERS --plan PLAN</code>.</p>\n"
               : "<p>Afterwards: take the log off the control and run <code>pivotrace fit MACHINE "
                 "LOG</code>.</p>\n";
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
  return SheetWriter(machine, plan, sheet, program, options).write();
}

}  // namespace pivotrace
