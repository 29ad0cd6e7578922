#include "report/summaries.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <set>

#include "base/words.h"
#include "pivotrace/base/length.h"
#include "pivotrace/control/slots.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/report/finding_words.h"

namespace pivotrace::report {

namespace {

constexpr std::string_view linear_letters = "XYZ";

/// Lengths as the machine file writes them.
class LengthText {
 public:
  explicit LengthText(bool inch) : inch_(inch) {}
  const char* unit() const { return inch_ ? "inch" : "mm"; }
  std::string bare(double mm) const { return fmt::format("{:.7g}", inch_ ? mm / mm_per_inch : mm); }
  std::string operator()(double mm) const { return bare(mm) + " " + unit(); }
  std::string range(double low_mm, double high_mm) const {
    return fmt::format("{} to {}", bare(low_mm), bare(high_mm));
  }

 private:
  bool inch_;
};

/// "X +0, Y +0.08, Z -0.05": differences of coordinates.
std::string signed_text(const Eigen::Vector3d& by) {
  // + 0.0 turns -0 into 0.
  return fmt::format("X {:+.5g}, Y {:+.5g}, Z {:+.5g}", by.x() + 0.0, by.y() + 0.0, by.z() + 0.0);
}

std::string counted(std::size_t count, const char* one, const char* many) {
  return fmt::format("{} {}", count, count == 1 ? one : many);
}

std::string for_machine(const std::string& name) {
  return name.empty() ? std::string() : fmt::format(" for \"{}\"", name);
}

std::string degree_range(double low_rad, double high_rad) {
  return fmt::format("{:.7g} to {:.7g} deg", deg_from_rad(low_rad), deg_from_rad(high_rad));
}

// --- machine --------------------------------------------------------------------------------------

std::string direction_text(const RotaryAxis& axis) {
  if (axis.along)
    return fmt::format("along {}", linear_letters[static_cast<std::size_t>(*axis.along)]);
  return fmt::format("along [{:.6g}, {:.6g}, {:.6g}]", axis.direction.x(), axis.direction.y(),
                     axis.direction.z());
}

std::string axis_line(const RotaryAxis& axis, const LengthText& length) {
  return fmt::format(
      "  rotary axis {} {}, carries the {}, positive turn {}, {}\n"
      "    centre X {}, Y {}, Z {} {}\n",
      axis.letter, direction_text(axis), axis.side == AxisSide::work ? "work" : "tool",
      axis.positive_turn == TurnSense::left_hand ? "left-hand" : "right-hand",
      degree_range(axis.travel_rad.low, axis.travel_rad.high), length.bare(axis.centre_mm.x()),
      length.bare(axis.centre_mm.y()), length.bare(axis.centre_mm.z()), length.unit());
}

std::string artefact_line(const Machine& machine, const Artefact& artefact,
                          const LengthText& length) {
  std::string size = "diameter unknown";
  if (artefact.diameter_mm) size = length(*artefact.diameter_mm);
  if (artefact.kind == ArtefactKind::flat) size = length(artefact.size_mm) + " wide";
  if (artefact.diameter_as >= 0) {
    const auto lender = static_cast<std::size_t>(artefact.diameter_as);
    size = fmt::format("same diameter as \"{}\"", machine.artefacts[lender].name);
  }
  const std::string carrier =
      artefact.carried_by < 0
          ? "the bed"
          : fmt::format("axis {}",
                        machine.rotary[static_cast<std::size_t>(artefact.carried_by)].letter);
  return fmt::format("  {} \"{}\", {}, carried by {}\n", kind_word(artefact.kind), artefact.name,
                     size, carrier);
}

std::string assumption_notes(const Machine& machine, const LengthText& length) {
  std::string notes;
  if (!machine.linear.station_sigma_stated) {
    notes += fmt::format("  note: `station_sigma` is not stated, {} assumed (common practice)\n",
                         length(machine.linear.station_sigma_mm));
  }
  if (!machine.probe.touch_sigma_stated) {
    notes += fmt::format("  note: `touch_sigma` is not stated, {} assumed (common practice)\n",
                         length(machine.probe.touch_sigma_mm));
  }
  for (const RotaryAxis& axis : machine.rotary) {
    if (!axis.index_sigma_stated) {
      notes += fmt::format(
          "  note: `index_sigma_arcsec` of {} is not stated, {:.7g} assumed (common practice)\n",
          axis.letter, arcsec_from_rad(axis.index_sigma_rad));
    }
    // ISO 841 gives A to rotation about X, B about Y, C about Z; makers may differ, users may err.
    if (axis.along && axis.letter - 'A' != static_cast<int>(*axis.along)) {
      notes +=
          fmt::format("  note: axis {} lies along {}, which ISO 841 calls {}: is that right?\n",
                      axis.letter, linear_letters[static_cast<std::size_t>(*axis.along)],
                      static_cast<char>('A' + static_cast<int>(*axis.along)));
    }
  }
  return notes;
}

// --- touches --------------------------------------------------------------------------------------

/// Rows of a touch record by what they are.
struct RowCounts {
  std::size_t rows = 0;
  std::size_t centres = 0;
  std::size_t readings = 0;  ///< of an indicator
};

std::string touch_counts(const RowCounts& counts, std::size_t stations) {
  std::vector<std::string> words;
  const std::size_t touches = counts.rows - counts.centres - counts.readings;
  if (touches > 0) words.push_back(counted(touches, "touch", "touches"));
  if (counts.centres > 0) words.push_back(counted(counts.centres, "ball centre", "ball centres"));
  if (counts.readings > 0) {
    words.push_back(counted(counts.readings, "indicator reading", "indicator readings"));
  }
  return fmt::format("{} at {}", fmt::join(words, " and "),
                     counted(stations, "station", "stations"));
}

std::string angle_line(const Survey& survey, const Machine& machine, std::size_t axis) {
  std::set<double> angles;
  for (const Station& station : survey.stations) angles.insert(station.angles_rad[axis]);
  const char letter = machine.rotary[axis].letter;
  if (angles.size() == 1) {
    return fmt::format("  {} stood at {:.7g} deg throughout: its axis cannot be found from this\n",
                       letter, deg_from_rad(*angles.begin()));
  }
  return fmt::format("  {} at {} angles, {}\n", letter, angles.size(),
                     degree_range(*angles.begin(), *angles.rbegin()));
}

std::string position_line(const Survey& survey, const LengthText& length) {
  Eigen::Vector3d low = survey.touches.front().shown_mm;
  Eigen::Vector3d high = low;
  for (const Touch& touch : survey.touches) {
    low = low.cwiseMin(touch.shown_mm);
    high = high.cwiseMax(touch.shown_mm);
  }
  return fmt::format("  positions X {}, Y {}, Z {} {}\n", length.range(low.x(), high.x()),
                     length.range(low.y(), high.y()), length.range(low.z(), high.z()),
                     length.unit());
}

std::string artefact_counts(const Survey& survey, const Machine& machine) {
  std::vector<std::size_t> counts(machine.artefacts.size());
  for (const Touch& touch : survey.touches) ++counts[static_cast<std::size_t>(touch.artefact)];
  std::string text;
  for (std::size_t i = 0; i < counts.size(); ++i) {
    text += fmt::format("  {} \"{}\": {}\n", kind_word(machine.artefacts[i].kind),
                        machine.artefacts[i].name, counted(counts[i], "row", "rows"));
  }
  return text;
}

std::string extra_column_line(const Survey& survey) {
  std::vector<std::string> names;
  for (const auto& [name, values] : survey.extra_columns) names.push_back(excerpt(name));
  if (names.empty()) return {};
  return fmt::format("  note: columns kept but not used: {}\n", joined(names));
}

}  // namespace

std::string summary_of(const Machine& machine) {
  const LengthText length(machine.inch);
  std::string text = fmt::format("\"{}\", {}\n", machine.name, length.unit());
  const auto& travel = machine.linear.travel_mm;
  text += fmt::format("  travel X {}, Y {}, Z {} {}\n", length.range(travel[0].low, travel[0].high),
                      length.range(travel[1].low, travel[1].high),
                      length.range(travel[2].low, travel[2].high), length.unit());
  for (const RotaryAxis& axis : machine.rotary) text += axis_line(axis, length);
  text += fmt::format("  stylus ball {}, Z shown belongs to its {}\n",
                      length(machine.probe.stylus_diameter_mm),
                      machine.probe.length_datum == LengthDatum::tip ? "lowest point" : "centre");
  for (const Artefact& artefact : machine.artefacts) {
    text += artefact_line(machine, artefact, length);
  }
  if (!machine.obstacles.empty()) {
    text += "  " + counted(machine.obstacles.size(), "obstacle", "obstacles") + "\n";
  }
  return text + assumption_notes(machine, length);
}

std::string summary_of(const Survey& survey, const Machine& machine) {
  const auto of_kind = [&](TouchKind kind) {
    return static_cast<std::size_t>(
        std::count_if(survey.touches.begin(), survey.touches.end(),
                      [&](const Touch& touch) { return touch.kind == kind; }));
  };
  std::string text = touch_counts(
      {survey.touches.size(), of_kind(TouchKind::centre), of_kind(TouchKind::indicator)},
      survey.stations.size());
  text += fmt::format(", machine \"{}\"{}\n", machine.name,
                      survey.started.empty() ? "" : ", started " + survey.started);
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    text += angle_line(survey, machine, axis);
  }
  text += artefact_counts(survey, machine);
  text += position_line(survey, LengthText(machine.inch));
  return text + extra_column_line(survey);
}

std::string summary_of(const TouchRecordOutline& outline) {
  std::string text = touch_counts(
      {static_cast<std::size_t>(outline.touches), static_cast<std::size_t>(outline.centres),
       static_cast<std::size_t>(outline.readings)},
      static_cast<std::size_t>(outline.stations));
  text += fmt::format(", {}\n", outline.inch ? "inch" : "mm");
  text += fmt::format("  rotary columns: {}\n", outline.letters);
  if (!outline.artefacts.empty()) {
    text += fmt::format("  artefacts: {}\n", joined(outline.artefacts));
  }
  text +=
      "  note: not checked against a machine: travel, axis letters and artefact names may be "
      "wrong.\n        Name its machine file too: pivotrace check RECORD --machine MACHINE\n";
  return text;
}

std::string summary_of(const FitResult& result) {
  std::string text = fmt::format("{}, machine \"{}\"", result.usable ? "usable" : "NOT usable",
                                 result.machine_name);
  if (!result.made.empty()) text += ", made " + result.made;
  text += "\n";
  for (const AxisResult& axis : result.axes) {
    text += fmt::format("  axis {}: {}\n", axis.letter,
                        axis.estimated ? "found from touches" : "not turned, nominal line");
  }
  text += "  " + touch_counts({result.touches.size(), 0, 0}, result.stations.size());
  text += fmt::format(", {} excluded\n", result.fit.excluded);
  for (const Finding& finding : result.findings) {
    if (finding.severity == Severity::note) continue;
    text += fmt::format("  {}: {}\n", finding.severity == Severity::error ? "error" : "warning",
                        what_of(finding));
  }
  return text;
}

std::string summary_of(const Limits& limits) {
  std::vector<std::string> names;
  for (const Limit& limit : limits.limits) names.push_back(limit.value.written);
  return fmt::format("{}{}\n  {}\n", counted(names.size(), "limit", "limits"),
                     for_machine(limits.machine), joined(names)) +
         (limits.part ? "  and the box that holds the parts\n" : "");
}

std::string summary_of(const Mapping& mapping) {
  std::vector<std::string> names;
  for (const MappingEntry& entry : mapping.entries) names.push_back(entry.value.written);
  return fmt::format("{}{}\n  {}\n", counted(names.size(), "number to write", "numbers to write"),
                     for_machine(mapping.machine), joined(names));
}

std::string summary_of(const Mounting& mounting) {
  return fmt::format("stands on {}{}, {}\n", counted(mounting.feet.size(), "foot", "feet"),
                     for_machine(mounting.machine), counted(mounting.keys.size(), "key", "keys"));
}

std::string summary_of(const Plan& plan) {
  return fmt::format("{} at {}{}, about {:.0f} min\n",
                     counted(static_cast<std::size_t>(plan.touch_count()), "touch", "touches"),
                     counted(plan.stations.size(), "station", "stations"),
                     for_machine(plan.machine_name), plan.minutes);
}

namespace {

std::string proof_text(const ControlSheet& sheet) {
  if (sheet.is_proven()) return "  proven on " + sheet.proof->date + "\n";
  if (sheet.proof) {
    return "  changed since it was proven on " + sheet.proof->date + ": prove it again\n";
  }
  return "  not proven on a control: its programs say so and stop first\n";
}

/// One open question: what the manual is asked, what for, and what programs do without the answer.
std::string open_text(const Slot& slot, const ControlSheet& sheet) {
  std::string text =
      fmt::format("  ? {}: {} Needed for {}.", slot.name(), slot.question, slot.needed_for);
  text += slot.without.empty() ? " Without it no program that needs it is made."
                               : " Without it: " + slot.without + ".";
  if (!slot.example.empty()) text += " For example: " + slot.example;
  const auto page = sheet.pages.find(slot.name());
  if (page != sheet.pages.end()) text += " See " + page->second;
  return text + "\n";
}

}  // namespace

std::string summary_of(const ControlSheet& sheet) {
  std::string text = fmt::format("\"{}\": {}\n", sheet.name, sheet.title);
  if (sheet.invented) text += "  of an invented control\n";
  text += proof_text(sheet);
  std::vector<const Slot*> open = open_slots(sheet);
  std::erase_if(open, [](const Slot* slot) { return !slot->is_asked(); });
  if (open.empty()) return text;
  text += fmt::format("  {} left open; a program needs only those it uses\n",
                      counted(open.size(), "question", "questions"));
  for (const Slot* slot : open) text += open_text(*slot, sheet);
  return text;
}

namespace {

/// Differences smaller than this are the round-off of reading.
constexpr double no_difference = 1e-12;

class TruthSummary {
 public:
  TruthSummary(const RehearsalTruth& truth, const Machine& machine)
      : truth_(truth), machine_(machine), nominal_(nominal_state(machine)), length_(machine.inch) {}

  std::string text() {
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) add_axis(i);
    for (std::size_t i = 0; i < machine_.artefacts.size(); ++i) add_artefact(i);
    add_linear();
    add_stylus();
    add_trigger();
    if (!truth_.survey.drift_mm_per_hour.isZero()) {
      add("drift", fmt::format("{} {} per hour", off(truth_.survey.drift_mm_per_hour), unit()));
    }
    const std::string head = fmt::format("for \"{}\", {}\n", machine_.name, unit());
    return head + (lines_.empty() ? "  nothing differs from the machine file\n" : lines_);
  }

 private:
  const char* unit() const { return length_.unit(); }
  std::string off(const Eigen::Vector3d& by_mm) const {
    return signed_text(by_mm / (machine_.inch ? mm_per_inch : 1.0));
  }
  void add(const std::string& what, const std::string& how) {
    lines_ += fmt::format("  {}: {}\n", what, how);
  }

  /// Right-handed rotation vector that takes one direction to the other, deg.
  static Eigen::Vector3d lean_deg(const Eigen::Vector3d& from, const Eigen::Vector3d& to) {
    const Eigen::Vector3d cross = from.cross(to);
    const double sine = cross.norm();
    if (sine < no_difference) return Eigen::Vector3d::Zero();
    return cross / sine * deg_from_rad(std::atan2(sine, from.dot(to)));
  }

  void add_axis(std::size_t i) {
    const MachineState& state = truth_.survey.state;
    const std::string what = fmt::format("axis {}", machine_.rotary[i].letter);
    const Eigen::Vector3d by_mm = state.axis_lines[i].point_mm - nominal_.axis_lines[i].point_mm;
    if (by_mm.norm() > no_difference)
      add(what, fmt::format("centre off {} {}", off(by_mm), unit()));
    const Eigen::Vector3d lean =
        lean_deg(nominal_.axis_lines[i].direction, state.axis_lines[i].direction);
    if (!lean.isZero()) add(what, fmt::format("leans, turned by {} deg", signed_text(lean)));
    if (state.turns[i] != nominal_.turns[i]) {
      add(what, state.turns[i] == TurnSense::left_hand ? "turns left-hand" : "turns right-hand");
    }
    if (truth_.survey.reversal_rad[i] != 0.0) {
      add(what,
          fmt::format("reversal {:.6g} arcsec", arcsec_from_rad(truth_.survey.reversal_rad[i])));
    }
    for (const IndexError& error : truth_.index_errors) {
      if (error.axis != static_cast<int>(i)) continue;
      add(what, fmt::format("at {:.7g} deg it stands {:+.6g} arcsec off",
                            deg_from_rad(error.at_rad), arcsec_from_rad(error.error_rad)));
    }
  }

  void add_artefact(std::size_t i) {
    const ArtefactPlace& place = truth_.survey.state.artefacts[i];
    const ArtefactPlace& nominal = nominal_.artefacts[i];
    const std::string what = fmt::format("\"{}\"", machine_.artefacts[i].name);
    const Eigen::Vector3d by_mm = place.point_mm - nominal.point_mm;
    if (by_mm.norm() > no_difference) add(what, fmt::format("sits {} {} off", off(by_mm), unit()));
    const Eigen::Vector3d lean = lean_deg(nominal.direction, place.direction);
    if (!lean.isZero()) add(what, fmt::format("leans, turned by {} deg", signed_text(lean)));
    if (std::fabs(place.radius_mm - nominal.radius_mm) > no_difference) {
      add(what, fmt::format("diameter {}", length_(2.0 * place.radius_mm)));
    }
  }

  void add_linear() {
    const Eigen::Matrix3d um_per_m = truth_.survey.linear_error * 1e6;
    if (!um_per_m.diagonal().isZero()) {
      add("linear axes", fmt::format("scale {} um/m", signed_text(um_per_m.diagonal())));
    }
    if (um_per_m(0, 1) != 0.0 || um_per_m(1, 2) != 0.0 || um_per_m(0, 2) != 0.0) {
      add("linear axes", fmt::format("squareness XY {:+.5g}, YZ {:+.5g}, ZX {:+.5g} um/m",
                                     um_per_m(0, 1), um_per_m(1, 2), um_per_m(0, 2)));
    }
  }

  void add_stylus() {
    const MachineState& state = truth_.survey.state;
    if (std::fabs(state.stylus_radius_mm - nominal_.stylus_radius_mm) > no_difference) {
      add("stylus", fmt::format("ball {}", length_(2.0 * state.stylus_radius_mm)));
    }
    if (!state.stylus_offset_mm.isZero()) {
      add("stylus",
          fmt::format("ball off its place by {} {}", off(state.stylus_offset_mm), unit()));
    }
  }

  void add_trigger() {
    if (truth_.survey.lobing_amplitude_mm != 0.0) {
      add("trigger", fmt::format("three lobes of {}, the first at {:.6g} deg",
                                 length_(truth_.survey.lobing_amplitude_mm),
                                 deg_from_rad(truth_.survey.lobing_phase_rad)));
    }
    if (truth_.trigger_delay_s != 0.0) {
      add("trigger", fmt::format("latched {:.6g} s late", truth_.trigger_delay_s));
    }
  }

  const RehearsalTruth& truth_;
  const Machine& machine_;
  MachineState nominal_;
  LengthText length_;
  std::string lines_;
};

}  // namespace

std::string summary_of(const RehearsalTruth& truth, const Machine& machine) {
  return TruthSummary(truth, machine).text();
}

std::string summary_of(const TruthOutline& outline) {
  std::string text = outline.machine_name.empty()
                         ? std::string("for any machine with these names\n")
                         : fmt::format("for \"{}\"\n", outline.machine_name);
  if (!outline.axes.empty()) text += fmt::format("  axes: {}\n", joined(outline.axes));
  if (!outline.artefacts.empty())
    text += fmt::format("  artefacts: {}\n", joined(outline.artefacts));
  return text +
         "  note: not checked against a machine: axis letters and artefact names may be wrong.\n"
         "        Name its machine file too: pivotrace check TRUTH --machine MACHINE\n";
}

}  // namespace pivotrace::report
