// What a result file holds, member by member, once for writing and for reading.
//
// A `File` is a ResultWriter or a ResultReader: asked for a member, the one writes what the field holds,
// the other puts what the file holds into the field. So a member has its key, its unit and its words in
// one place, and what is written can be read.
#pragma once

#include <algorithm>
#include <array>
#include <optional>
#include <string>
#include <type_traits>
#include <vector>

#include "base/number_text.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/results/result.h"

namespace pivotrace::formats {

enum class Row { lines, one_line };  ///< how an object stands in the file

/// A key, and what files of earlier versions have in its place.
struct Key {
  Key(const char* in_file, bool came_later = false, const char* before = nullptr)
      : word(in_file), added(came_later), former(before) {}

  const char* word;
  bool added;          ///< not there: the field keeps its default
  const char* former;  ///< another word, if any
};
inline Key added(const char* word) { return {word, true}; }
inline Key renamed(const char* word, const char* former) { return {word, false, former}; }

/// What a number inside the program is in the file; `suffix` ends the key of a number that has no
/// other place to say its unit.
struct FileUnit {
  const char* word;
  const char* suffix;
  double (*to_file)(double);
  double (*from_file)(double);
};

inline double as_it_is(double number) { return number; }
inline double times_degrees(double number) { return number * deg_from_rad(1.0); }
inline double by_degrees(double number) { return number / deg_from_rad(1.0); }

inline constexpr FileUnit mm = {"mm", "", as_it_is, as_it_is};
inline constexpr FileUnit degrees = {"deg", "_deg", deg_to_write, rad_from_deg};
inline constexpr FileUnit arcsec = {"arcsec", "", arcsec_to_write, rad_from_arcsec};

/// Of effects and terms, whose keys name no unit: a member `unit` does.
inline FileUnit unit_beside(EffectUnit unit) {
  switch (unit) {
    case EffectUnit::mm: return mm;
    case EffectUnit::mm_per_hour: return {"mm/h", "", as_it_is, as_it_is};
    case EffectUnit::rad: return {"deg", "", times_degrees, by_degrees};
    case EffectUnit::mm_per_mm: return {"mm/mm", "", as_it_is, as_it_is};
  }
  return mm;
}

inline const FileUnit& unit_of(const ValueName& name) { return is_angle(name) ? degrees : mm; }

inline EffectUnit unit_of(const SharedTerm& term) {
  if (term.kind == SharedTerm::Kind::effect) return effect_unit(term.effect.kind);
  return term.kind == SharedTerm::Kind::index_error ? EffectUnit::rad : EffectUnit::mm;
}

/// The field as the file's job lets it be touched: a writer changes nothing.
template <class File, class T>
using In = std::conditional_t<File::reads, T, const T>;

// --- words ----------------------------------------------------------------------------------------

/// What each choice is called in the file.
template <class Choice>
struct Words {
  std::vector<Choice> choices;
  std::vector<std::string> words;

  const std::string& operator[](Choice choice) const {
    const auto found = std::find(choices.begin(), choices.end(), choice);
    return words.at(static_cast<std::size_t>(found - choices.begin()));
  }
};

/// Choices that have a spelling of their own.
template <class Choice, class Spelling>
Words<Choice> spelled(const std::vector<Choice>& choices, Spelling spelling) {
  Words<Choice> all{choices, {}};
  for (const Choice choice : choices) all.words.emplace_back(spelling(choice));
  return all;
}

inline const std::vector<std::string> axis_letters = {"X", "Y", "Z"};
inline const Words<int> along_words = {{0, 1, 2}, axis_letters};
/// In place of a letter, where a plane is not across one of the axes.
inline const std::string plane_across = "direction";
inline const Words<AxisSide> side_words = {{AxisSide::work, AxisSide::tool}, {"work", "tool"}};
inline const Words<TurnSense> turn_words = {{TurnSense::right_hand, TurnSense::left_hand},
                                            {"right-hand", "left-hand"}};
inline const Words<Severity> severity_words = {{Severity::note, Severity::warning, Severity::error},
                                               {"note", "warning", "error"}};
inline const Words<BoundSource> bound_source_words = {
    {BoundSource::stated, BoundSource::assumed, BoundSource::found},
    {"stated", "assumed", "found"}};
inline const Words<SharedTerm::Kind> term_words = {
    {SharedTerm::Kind::effect, SharedTerm::Kind::artefact_diameter,
     SharedTerm::Kind::stylus_diameter, SharedTerm::Kind::index_error,
     SharedTerm::Kind::axis_motion},
    {"effect", "artefact radius", "stylus radius", "index error", "axis motion"}};
inline const Words<ArtefactKind> artefact_words = spelled<ArtefactKind>(
    {ArtefactKind::ball, ArtefactKind::pin, ArtefactKind::bore, ArtefactKind::flat}, kind_word);
inline const Words<BoundKind> bound_words = spelled<BoundKind>(
    {BoundKind::lobing, BoundKind::drift, BoundKind::squareness, BoundKind::scale, BoundKind::place,
     BoundKind::index_wave, BoundKind::between_surveys},
    [](BoundKind kind) { return text_of(kind); });

// --- estimates ------------------------------------------------------------------------------------

template <class File>
void members(File& file, In<File, Estimate>& estimate, const FileUnit& unit) {
  file.with_unit("value", estimate.value, unit);
  file.with_unit("u", estimate.u, unit);
  file.with_unit("U95", estimate.U95, unit);
  file.with_unit("u_absolute", estimate.u_absolute, unit);
  file.with_unit("U95_absolute", estimate.U95_absolute, unit);
  file.freedom("dof", estimate.dof, estimate.u);
  // Earlier versions: the random part's own stands for it.
  if constexpr (File::reads) estimate.dof_absolute = estimate.dof;
  file.freedom(added("dof_absolute"), estimate.dof_absolute, estimate.u_absolute);
  file.bias(added("B"), estimate.B, unit);
  file.bias(added("B_absolute"), estimate.B_absolute, unit);
}

/// The same angle in other words stands behind it.
template <class File>
void angle_members(File& file, In<File, Estimate>& angle) {
  members(file, angle, degrees);
  file.follows("mm_per_300", mm_per_300_from_rad(angle.value));
}

template <class File>
void length(File& file, Key key, In<File, Estimate>& estimate) {
  file.object(key, Row::one_line, [&](auto& inner) { members(inner, estimate, mm); });
}

template <class File>
void length(File& file, Key key, In<File, std::optional<Estimate>>& estimate) {
  file.object_or_null(key, Row::one_line, estimate,
                      [](auto& inner, auto& length) { members(inner, length, mm); });
}

template <class File>
void angle(File& file, Key key, In<File, Estimate>& estimate) {
  file.object(key, Row::one_line, [&](auto& inner) { angle_members(inner, estimate); });
}

template <class File>
void place(File& file, Key key, In<File, std::array<Estimate, 3>>& coordinates) {
  file.object(key, Row::lines, [&](auto& inner) {
    for (std::size_t i = 0; i < 3; ++i) length(inner, axis_letters[i].c_str(), coordinates[i]);
  });
}

// --- axes -----------------------------------------------------------------------------------------

template <class File>
void members(File& file, In<File, Line>& line) {
  file.member("point", line.point_mm);
  file.member("direction", line.direction);
}

template <class File>
void members(File& file, In<File, DeviationRanges>& ranges) {
  file.member("F_R", ranges.F_R);
  file.member("F_T", ranges.F_T);
  file.member("F_A", ranges.F_A);
}

template <class File>
void centre_member(File& file, In<File, NamedEstimate>& coordinate) {
  file.follows("symbol", iso_symbol(coordinate.name));
  members(file, coordinate.estimate, mm);
}

template <class File>
void orientation_member(File& file, In<File, NamedEstimate>& tilt) {
  file.follows("symbol", iso_symbol(tilt.name));
  angle_members(file, tilt.estimate);
}

template <class File>
void members(File& file, In<File, AxisResult>& axis) {
  file.word("side", axis.side, side_words);
  file.member("estimated", axis.estimated);
  members(file, axis.line);
  file.plane("quoted_at", axis.along, axis.quoted_at_mm);
  file.object("nominal", Row::one_line, [&](auto& inner) { members(inner, axis.nominal); });
  file.word("turn", axis.turn, turn_words);
  file.member("turn_confirmed", axis.turn_confirmed);
  file.directions(renamed("centre", "location"), axis.centre, axis.letter, ValueKind::centre,
                  [](auto& inner, auto& named) { centre_member(inner, named); });
  file.directions("orientation", axis.orientation, axis.letter, ValueKind::orientation,
                  [](auto& inner, auto& named) { orientation_member(inner, named); });
  angle(file, "lean", axis.lean);
  file.object_or_null(added("zero"), Row::one_line, axis.zero, [&](auto& inner, auto& zero) {
    inner.follows("symbol", iso_symbol(axis_value(axis.letter, ValueKind::zero)));
    angle_members(inner, zero);
    inner.member("by", axis.zero_by);
  });
  length(file, "pivot_to_stylus", axis.pivot_to_stylus);
  length(file, "pivot_to_gauge", axis.pivot_to_gauge);
  file.object("deviation_ranges", Row::one_line, [&](auto& inner) { members(inner, axis.ranges); });
}

template <class File>
void members(File& file, In<File, AxisPairResult>& pair) {
  file.letter("first", pair.first);
  file.letter("second", pair.second);
  file.member("parallel", pair.parallel);
  length(file, "distance", pair.distance);
  angle(file, "crossing", pair.crossing);
  place(file, "foot_on_first", pair.foot_on_first);
  place(file, "foot_on_second", pair.foot_on_second);
  place(file, added("offset"), pair.offset);
}

template <class File>
void members(File& file, In<File, ArtefactResult>& artefact) {
  file.word("kind", artefact.kind, artefact_words);
  file.member("touches", artefact.touches);
  place(file, "position", artefact.position);
  file.member("direction", artefact.direction);
  length(file, "diameter", artefact.diameter);
  length(file, "effective_diameter", artefact.effective_diameter);
  file.member("diameter_free", artefact.diameter_free);
  file.heights(added("height_over"), artefact.heights, artefact.name,
               [](auto& inner, auto& height) { members(inner, height, mm); });
}

// --- the fit and its rows -------------------------------------------------------------------------

template <class File>
void members(File& file, In<File, FitSummary>& fit) {
  file.member("touches", fit.touches);
  file.member("readings", fit.readings);
  file.member("unknowns", fit.unknowns);
  file.member("excluded", fit.excluded);
  file.member("dof", fit.dof);
  file.member("sigma0", fit.sigma0);
  file.member("chi2", fit.chi2);
  file.member("chi2_limit", fit.chi2_limit);
  file.member("condition", fit.condition);
  file.member("touch_sigma", fit.touch_sigma_mm);
  file.member("station_sigma", fit.station_sigma_mm);
  file.by_letter("index_sigma_arcsec", fit.index_sigma_rad, arcsec);
  file.by_letter(added("index_repeat_sigma_arcsec"), fit.index_repeat_sigma_rad, arcsec);
  file.by_letter(added("axis_motion_sigma"), fit.axis_motion_sigma_mm, mm);
  file.spelled("sigma_source", fit.sigma_source, sigma_source_named, "names no source");
  file.member("iterations", fit.iterations);
  file.member("solver_seconds", fit.solver_seconds);
}

/// Angles in the order of the axes, by their letters.
template <class File>
void members(File& file, In<File, StationResult>& station, const std::vector<AxisResult>& axes) {
  file.member("label", station.label);
  file.object("angles_deg", Row::lines, [&](auto& inner) {
    for (std::size_t i = 0; i < axes.size() && i < station.angles_rad.size(); ++i) {
      const std::string letter(1, axes[i].letter);
      inner.quantity(letter.c_str(), station.angles_rad[i], degrees);
    }
  });
  file.member("touches", station.touches);
  file.member("artefact", station.artefact);
  file.letter_or_null("axis", station.axis);
  file.member("resolved", station.resolved);
  file.member("radial_mm", station.radial_mm);
  file.member("tangential_mm", station.tangential_mm);
  file.member("axial_mm", station.axial_mm);
  file.member("excluded", station.excluded);
  file.member("statistic", station.statistic);
}

template <class File>
void members(File& file, In<File, TouchResult>& touch) {
  file.member("label", touch.label);
  file.member("station", touch.station);
  file.member("artefact", touch.artefact);
  file.member("residual_mm", touch.residual_mm);
  file.member("sigma_mm", touch.sigma_mm);
  file.member("redundancy", touch.redundancy);
  file.member("w", touch.w);
  file.member("detectable_mm", touch.detectable_mm);
  file.member("excluded", touch.excluded);
  file.member("line", touch.line);
}

template <class File>
void members(File& file, In<File, Finding>& finding) {
  file.spelled("code", finding.code, finding_code_named, "names no finding");
  file.word("severity", finding.severity, severity_words);
  file.told("text", "advice", finding);
}

template <class File>
void members(File& file, In<File, BudgetLine>& line) {
  file.spelled("output", line.output, value_named, "names no value");
  file.spelled("source", line.source, budget_source_named, "names no source");
  file.member("share", line.share);
}

/// Half-width in mm, rad or mm/mm as the effect has it; shifts of lengths in mm, of angles in deg.
template <class File>
void members(File& file, In<File, BoundResult>& bound) {
  file.word("effect", bound.kind, bound_words);
  if (bound.kind == BoundKind::index_wave) file.letter("axis", bound.axis);
  file.member("bound", bound.half_width);
  file.word("source", bound.source, bound_source_words);
  file.by_value("shift", bound.shifts);
}

template <class File>
void members(File& file, In<File, EffectResult>& effect) {
  file.spelled("name", effect.name, effect_named, "names no effect");
  const FileUnit unit = unit_beside(effect_unit(effect.name.kind));
  file.must_be("unit", unit.word, "does not fit `name`");
  members(file, effect.estimate, unit);
}

template <class File>
void members(File& file, In<File, InputFile>& input) {
  file.member("role", input.role);
  file.member("file", input.file);
  file.member("sha256", input.sha256);
}

// --- covariance, conditions and gains -------------------------------------------------------------

template <class File>
void members(File& file, In<File, VarianceGroup>& group, const std::vector<ValueName>& names) {
  file.spelled("source", group.source, budget_source_named, "names no source");
  file.freedom("stated_dof", group.stated_dof, 0.0);
  file.matrix("part", group.part, names);
}

template <class File>
void members(File& file, In<File, JointCovariance>& covariance) {
  file.value_names("names", covariance.names);
  file.units_of_values("units", covariance.names);
  file.matrix("repeatable", covariance.repeatable, covariance.names);
  file.matrix("absolute", covariance.absolute, covariance.names);
  file.rows(added("groups"), Row::lines, covariance.groups,
            [&](auto& inner, auto& group) { members(inner, group, covariance.names); });
  file.plain_matrix(added("group_errors"), covariance.group_errors, covariance.groups.size());
}

template <class File>
void members(File& file, In<File, Conditions>& conditions) {
  file.member("probe", conditions.probe);
  file.member("probe_calibrated", conditions.probe_calibrated);
  file.either_or_null("tables", conditions.tables_on, "on", "off");
  file.member("load_kg", conditions.load_kg);
  file.member("warm_minutes", conditions.warm_minutes);
  file.either_or_null("axes_while_touched", conditions.clamped, "clamped", "free");
  file.member(added("tables_written"), conditions.tables_written);
  file.member(added("rollover"), conditions.rollover);
  file.by_letter(added("index_step_deg"), conditions.index_step_rad, degrees);
  file.texts_by_name("artefacts", conditions.artefacts);
}

/// Which error it is; index errors and motions belong to a position of an axis.
template <class File>
void what_term(File& file, In<File, SharedTerm>& term) {
  using Kind = SharedTerm::Kind;
  file.word("term", term.kind, term_words);
  if (term.kind == Kind::effect) {
    file.spelled("effect", term.effect, effect_named, "names no effect");
  }
  if (term.kind == Kind::artefact_diameter) file.member("artefact", term.artefact);
  if (term.kind != Kind::index_error && term.kind != Kind::axis_motion) return;
  file.letter("axis", term.axis);
  file.quantity("angle_deg", term.angle_rad, degrees);
  file.member("side", term.side);
  if (term.kind == Kind::axis_motion) file.word("along", term.component, along_words);
}

/// Size and gains in the unit of the term, values in mm or deg.
template <class File>
void members(File& file, In<File, SharedTerm>& term, const std::vector<ValueName>& names) {
  what_term(file, term);
  const FileUnit unit = unit_beside(unit_of(term));
  file.must_be("unit", unit.word, "does not fit the term");
  file.quantity("u", term.u, unit);
  file.quantity("bound", term.half_width, unit);
  file.gains("by", term.gains, unit, names);
}

template <class File>
void members(File& file, In<File, SurveyGains>& gains, const std::vector<ValueName>& names) {
  file.member("origin", gains.origin_mm);
  file.member("middle", gains.middle_mm);
  file.rows("terms", Row::one_line, gains.terms,
            [&](auto& inner, auto& term) { members(inner, term, names); });
}

// --- the whole ------------------------------------------------------------------------------------

template <class File>
void head_members(File& file, In<File, FitResult>& result) {
  file.follows("format", result_format);
  file.member("usable", result.usable);
  file.member(added("simulated"), result.simulated);
  file.member("machine", result.machine_name);
  file.either(added("machine_units"), result.inch, "inch", "mm", "is neither mm nor inch");
  file.member("started", result.started);
  file.object("made", Row::one_line, [&](auto& inner) {
    inner.member("time", result.made);
    inner.member("version", result.version);
  });
}

template <class File>
void members(File& file, In<File, FitResult>& result) {
  const auto each = [](auto& inner, auto& item) { members(inner, item); };
  head_members(file, result);
  file.rows("inputs", Row::one_line, result.inputs, each);
  file.object(added("conditions"), Row::lines,
              [&](auto& inner) { members(inner, result.conditions); });
  file.named("axes", result.axes, each);
  file.rows("axis_pairs", Row::lines, result.axis_pairs, each);
  file.named("artefacts", result.artefacts, each);
  file.rows("effects", Row::one_line, result.effects, each);
  file.object("fit", Row::lines, [&](auto& inner) { members(inner, result.fit); });
  file.rows("findings", Row::lines, result.findings, each);
  file.rows("budget", Row::one_line, result.budget, each);
  file.rows(added("bounds"), Row::one_line, result.bounds, each);
  file.rows("stations", Row::one_line, result.stations,
            [&](auto& inner, auto& station) { members(inner, station, result.axes); });
  file.rows("touches", Row::one_line, result.touches, each);
  file.object("covariance", Row::lines, [&](auto& inner) { members(inner, result.covariance); });
  file.object(added("gains"), Row::lines,
              [&](auto& inner) { members(inner, result.gains, result.covariance.names); });
}

}  // namespace pivotrace::formats
