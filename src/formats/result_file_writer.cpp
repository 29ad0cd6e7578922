#include "base/number_text.h"
#include "formats/json_writer.h"
#include "formats/result_units.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

using formats::JsonLayout;
using formats::JsonWriter;

constexpr const char* axis_words[] = {"X", "Y", "Z"};

std::string letter_text(char letter) { return std::string(1, letter); }

void add_letter(JsonWriter& json, const char* key, char letter) {
  if (letter == '?') {
    json.add_null(key);
  } else {
    json.add(key, letter_text(letter));
  }
}

void add_vector(JsonWriter& json, const char* key, const Eigen::Vector3d& vector) {
  json.begin_array(key, JsonLayout::one_line);
  for (int i = 0; i < 3; ++i) json.add({}, vector[i]);
  json.end();
}

void add_optional_vector(JsonWriter& json, const char* key,
                         const std::optional<Eigen::Vector3d>& vector) {
  if (vector) {
    add_vector(json, key, *vector);
  } else {
    json.add_null(key);
  }
}

// --- estimates ------------------------------------------------------------------------------------

void add_length_members(JsonWriter& json, const Estimate& estimate) {
  json.add("value", estimate.value);
  json.add("u", estimate.u);
  json.add("U95", estimate.U95);
  json.add("u_absolute", estimate.u_absolute);
  json.add("U95_absolute", estimate.U95_absolute);
  json.add("dof", estimate.dof);
  json.add("dof_absolute", estimate.dof_absolute);
  json.add("B", estimate.B);
  json.add("B_absolute", estimate.B_absolute);
}

void add_angle_members(JsonWriter& json, const Estimate& estimate) {
  json.add("value_deg", deg_to_write(estimate.value));
  json.add("u_deg", deg_to_write(estimate.u));
  json.add("U95_deg", deg_to_write(estimate.U95));
  json.add("u_absolute_deg", deg_to_write(estimate.u_absolute));
  json.add("U95_absolute_deg", deg_to_write(estimate.U95_absolute));
  json.add("dof", estimate.dof);
  json.add("dof_absolute", estimate.dof_absolute);
  json.add("B_deg", deg_to_write(estimate.B));
  json.add("B_absolute_deg", deg_to_write(estimate.B_absolute));
}

void add_length(JsonWriter& json, const char* key, const Estimate& estimate) {
  json.begin_object(key, JsonLayout::one_line);
  add_length_members(json, estimate);
  json.end();
}

void add_angle(JsonWriter& json, const char* key, const Estimate& estimate) {
  json.begin_object(key, JsonLayout::one_line);
  add_angle_members(json, estimate);
  json.add("mm_per_300", mm_per_300_from_rad(estimate.value));
  json.end();
}

void add_optional_length(JsonWriter& json, const char* key,
                         const std::optional<Estimate>& estimate) {
  if (estimate) {
    add_length(json, key, *estimate);
  } else {
    json.add_null(key);
  }
}

void add_place(JsonWriter& json, const char* key, const std::array<Estimate, 3>& place) {
  json.begin_object(key);
  for (std::size_t i = 0; i < 3; ++i) add_length(json, axis_words[i], place[i]);
  json.end();
}

// --- axes -----------------------------------------------------------------------------------------

void add_centre(JsonWriter& json, const std::vector<NamedEstimate>& centre) {
  json.begin_object("centre");
  for (const NamedEstimate& named : centre) {
    json.begin_object(direction_text(named.name), JsonLayout::one_line);
    json.add("symbol", iso_symbol(named.name));
    add_length_members(json, named.estimate);
    json.end();
  }
  json.end();
}

void add_orientation(JsonWriter& json, const std::vector<NamedEstimate>& orientation) {
  json.begin_object("orientation");
  for (const NamedEstimate& named : orientation) {
    json.begin_object(direction_text(named.name), JsonLayout::one_line);
    json.add("symbol", iso_symbol(named.name));
    add_angle_members(json, named.estimate);
    json.add("mm_per_300", mm_per_300_from_rad(named.estimate.value));
    json.end();
  }
  json.end();
}

void add_zero(JsonWriter& json, const AxisResult& axis) {
  if (!axis.zero) {
    json.add_null("zero");
    return;
  }
  json.begin_object("zero", JsonLayout::one_line);
  json.add("symbol", iso_symbol(axis_value(axis.letter, ValueKind::zero)));
  add_angle_members(json, *axis.zero);
  json.add("mm_per_300", mm_per_300_from_rad(axis.zero->value));
  json.add("by", axis.zero_by);
  json.end();
}

void add_axis(JsonWriter& json, const AxisResult& axis) {
  json.begin_object(letter_text(axis.letter));
  json.add("side", axis.side == AxisSide::work ? "work" : "tool");
  json.add("estimated", axis.estimated);
  add_vector(json, "point", axis.line.point_mm);
  add_vector(json, "direction", axis.line.direction);
  json.begin_object("quoted_at", JsonLayout::one_line);
  json.add(axis.along ? axis_words[static_cast<int>(*axis.along)] : "direction", axis.quoted_at_mm);
  json.end();
  json.begin_object("nominal", JsonLayout::one_line);
  add_vector(json, "point", axis.nominal.point_mm);
  add_vector(json, "direction", axis.nominal.direction);
  json.end();
  json.add("turn", axis.turn == TurnSense::right_hand ? "right-hand" : "left-hand");
  json.add("turn_confirmed", axis.turn_confirmed);
  add_centre(json, axis.centre);
  add_orientation(json, axis.orientation);
  add_angle(json, "lean", axis.lean);
  add_zero(json, axis);
  add_optional_length(json, "pivot_to_stylus", axis.pivot_to_stylus);
  add_optional_length(json, "pivot_to_gauge", axis.pivot_to_gauge);
  json.begin_object("deviation_ranges", JsonLayout::one_line);
  json.add("F_R", axis.ranges.F_R);
  json.add("F_T", axis.ranges.F_T);
  json.add("F_A", axis.ranges.F_A);
  json.end();
  json.end();
}

void add_axis_pair(JsonWriter& json, const AxisPairResult& pair) {
  json.begin_object();
  json.add("first", letter_text(pair.first));
  json.add("second", letter_text(pair.second));
  json.add("parallel", pair.parallel);
  add_length(json, "distance", pair.distance);
  add_angle(json, "crossing", pair.crossing);
  add_place(json, "foot_on_first", pair.foot_on_first);
  add_place(json, "foot_on_second", pair.foot_on_second);
  add_place(json, "offset", pair.offset);
  json.end();
}

void add_artefact(JsonWriter& json, const ArtefactResult& artefact) {
  json.begin_object(artefact.name);
  json.add("kind", kind_word(artefact.kind));
  json.add("touches", artefact.touches);
  add_place(json, "position", artefact.position);
  add_optional_vector(json, "direction", artefact.direction);
  add_optional_length(json, "diameter", artefact.diameter);
  add_optional_length(json, "effective_diameter", artefact.effective_diameter);
  json.add("diameter_free", artefact.diameter_free);
  json.begin_object("height_over");
  for (const NamedEstimate& height : artefact.heights) {
    add_length(json, letter_text(height.name.axis).c_str(), height.estimate);
  }
  json.end();
  json.end();
}

// --- the fit and its rows -------------------------------------------------------------------------

void add_fit(JsonWriter& json, const FitSummary& fit) {
  json.begin_object("fit");
  json.add("touches", fit.touches);
  json.add("readings", fit.readings);
  json.add("unknowns", fit.unknowns);
  json.add("excluded", fit.excluded);
  json.add("dof", fit.dof);
  json.add("sigma0", fit.sigma0);
  json.add("chi2", fit.chi2);
  json.add("chi2_limit", fit.chi2_limit);
  json.add("condition", fit.condition);
  json.add("touch_sigma", fit.touch_sigma_mm);
  json.add("station_sigma", fit.station_sigma_mm);
  const auto per_axis = [&](const char* key, const auto& sigmas, auto written) {
    json.begin_object(key, JsonLayout::one_line);
    for (const auto& [letter, sigma] : sigmas) json.add(letter_text(letter), written(sigma));
    json.end();
  };
  per_axis("index_sigma_arcsec", fit.index_sigma_rad, arcsec_to_write);
  per_axis("index_repeat_sigma_arcsec", fit.index_repeat_sigma_rad, arcsec_to_write);
  per_axis("axis_motion_sigma", fit.axis_motion_sigma_mm, [](double mm) { return mm; });
  json.add("sigma_source", text_of(fit.sigma_source));
  json.add("iterations", fit.iterations);
  json.add("solver_seconds", fit.solver_seconds);
  json.end();
}

void add_station(JsonWriter& json, const StationResult& station,
                 const std::vector<AxisResult>& axes) {
  json.begin_object({}, JsonLayout::one_line);
  json.add("label", station.label);
  json.begin_object("angles_deg");
  for (std::size_t i = 0; i < axes.size() && i < station.angles_rad.size(); ++i) {
    json.add(letter_text(axes[i].letter), deg_to_write(station.angles_rad[i]));
  }
  json.end();
  json.add("touches", station.touches);
  json.add("artefact", station.artefact);
  add_letter(json, "axis", station.axis);
  json.add("resolved", station.resolved);
  json.add("radial_mm", station.radial_mm);
  json.add("tangential_mm", station.tangential_mm);
  json.add("axial_mm", station.axial_mm);
  json.add("excluded", station.excluded);
  json.add("statistic", station.statistic);
  json.end();
}

void add_touch(JsonWriter& json, const TouchResult& touch) {
  json.begin_object({}, JsonLayout::one_line);
  json.add("label", touch.label);
  json.add("station", touch.station);
  json.add("artefact", touch.artefact);
  json.add("residual_mm", touch.residual_mm);
  json.add("sigma_mm", touch.sigma_mm);
  json.add("redundancy", touch.redundancy);
  json.add("w", touch.w);
  json.add("detectable_mm", touch.detectable_mm);
  json.add("excluded", touch.excluded);
  json.add("line", touch.line);
  json.end();
}

void add_finding(JsonWriter& json, const Finding& finding) {
  constexpr const char* severities[] = {"note", "warning", "error"};
  json.begin_object();
  json.add("code", text_of(finding.code));
  json.add("severity", severities[static_cast<int>(finding.severity)]);
  json.add("text", what_of(finding));
  json.add("advice", advice_of(finding));
  json.end();
}

void add_budget_line(JsonWriter& json, const BudgetLine& line) {
  json.begin_object({}, JsonLayout::one_line);
  json.add("output", text_of(line.output));
  json.add("source", text_of(line.source));
  json.add("share", line.share);
  json.end();
}

/// Half-width in mm, rad or mm/mm as the effect has it; shifts of lengths in mm, of angles in deg.
void add_bound(JsonWriter& json, const BoundResult& bound) {
  constexpr const char* sources[] = {"stated", "assumed", "found"};
  json.begin_object({}, JsonLayout::one_line);
  json.add("effect", text_of(bound.kind));
  if (bound.kind == BoundKind::index_wave) json.add("axis", letter_text(bound.axis));
  json.add("bound", bound.half_width);
  json.add("source", sources[static_cast<int>(bound.source)]);
  json.begin_object("shift");
  for (const auto& [output, shift] : bound.shifts) {
    json.add(text_of(output), is_angle(output) ? deg_to_write(shift) : shift);
  }
  json.end();
  json.end();
}

/// Angles leave as degrees, like everywhere else in the file.
void add_effect(JsonWriter& json, const EffectResult& effect) {
  const formats::WrittenUnit unit = formats::written_unit(effect_unit(effect.name.kind));
  json.begin_object({}, JsonLayout::one_line);
  json.add("name", text_of(effect.name));
  json.add("unit", unit.word);
  add_length_members(json, formats::scaled(effect.estimate, unit.per_internal));
  json.end();
}

// --- covariance and inputs ------------------------------------------------------------------------

double written_per_internal(const ValueName& name) {
  return is_angle(name) ? deg_from_rad(1.0) : 1.0;
}

void add_matrix(JsonWriter& json, const char* key, const Eigen::MatrixXd& matrix,
                const std::vector<ValueName>& names) {
  json.begin_array(key);
  for (Eigen::Index row = 0; row < matrix.rows(); ++row) {
    json.begin_array({}, JsonLayout::one_line);
    for (Eigen::Index column = 0; column < matrix.cols(); ++column) {
      const double factor = written_per_internal(names[static_cast<std::size_t>(row)]) *
                            written_per_internal(names[static_cast<std::size_t>(column)]);
      json.add({}, matrix(row, column) * factor);
    }
    json.end();
  }
  json.end();
}

void add_covariance(JsonWriter& json, const JointCovariance& covariance) {
  json.begin_object("covariance");
  json.begin_array("names", JsonLayout::one_line);
  for (const ValueName& name : covariance.names) json.add({}, text_of(name));
  json.end();
  json.begin_array("units", JsonLayout::one_line);
  for (const ValueName& name : covariance.names) {
    json.add({}, is_angle(name) ? "deg" : "mm");
  }
  json.end();
  add_matrix(json, "repeatable", covariance.repeatable, covariance.names);
  add_matrix(json, "absolute", covariance.absolute, covariance.names);
  json.end();
}

// --- conditions and gains --------------------------------------------------------------------------

void add_optional_text(JsonWriter& json, const char* key, const std::optional<std::string>& text) {
  if (text) {
    json.add(key, *text);
  } else {
    json.add_null(key);
  }
}

void add_optional_word(JsonWriter& json, const char* key, const std::optional<bool>& state,
                       const char* when_true, const char* when_false) {
  if (state) {
    json.add(key, *state ? when_true : when_false);
  } else {
    json.add_null(key);
  }
}

void add_conditions(JsonWriter& json, const Conditions& conditions) {
  json.begin_object("conditions");
  add_optional_text(json, "probe", conditions.probe);
  add_optional_text(json, "probe_calibrated", conditions.probe_calibrated);
  add_optional_word(json, "tables", conditions.tables_on, "on", "off");
  json.add("load_kg", conditions.load_kg);
  json.add("warm_minutes", conditions.warm_minutes);
  add_optional_word(json, "axes_while_touched", conditions.clamped, "clamped", "free");
  json.begin_object("artefacts", JsonLayout::one_line);
  for (const auto& [name, which] : conditions.artefacts) json.add(name, which);
  json.end();
  json.end();
}

void add_what_term(JsonWriter& json, const SharedTerm& term) {
  json.add("term", formats::term_word(term.kind));
  if (term.kind == SharedTerm::Kind::effect) json.add("effect", text_of(term.effect));
  if (term.kind == SharedTerm::Kind::artefact_diameter) json.add("artefact", term.artefact);
  if (!formats::is_of_position(term.kind)) return;
  json.add("axis", letter_text(term.axis));
  json.add("angle_deg", deg_to_write(term.angle_rad));
  json.add("side", term.side);
  if (term.kind == SharedTerm::Kind::axis_motion) json.add("along", axis_words[term.component]);
}

/// Size and gains in the unit of the term, values in mm or deg.
void add_term(JsonWriter& json, const SharedTerm& term, const std::vector<ValueName>& names) {
  const formats::WrittenUnit unit = formats::written_unit(formats::term_unit(term));
  json.begin_object({}, JsonLayout::one_line);
  add_what_term(json, term);
  json.add("unit", unit.word);
  json.add("u", term.u * unit.per_internal);
  json.add("bound", term.half_width * unit.per_internal);
  json.begin_array("by");
  for (std::size_t k = 0; k < names.size(); ++k) {
    json.add({}, term.gains[static_cast<Eigen::Index>(k)] * written_per_internal(names[k]) /
                     unit.per_internal);
  }
  json.end();
  json.end();
}

void add_gains(JsonWriter& json, const FitResult& result) {
  json.begin_object("gains");
  add_vector(json, "origin", result.gains.origin_mm);
  add_vector(json, "middle", result.gains.middle_mm);
  json.begin_array("terms");
  for (const SharedTerm& term : result.gains.terms) {
    add_term(json, term, result.covariance.names);
  }
  json.end();
  json.end();
}

void add_input(JsonWriter& json, const InputFile& input) {
  json.begin_object({}, JsonLayout::one_line);
  json.add("role", input.role);
  json.add("file", input.file);
  json.add("sha256", input.sha256);
  json.end();
}

template <class T>
void add_list(JsonWriter& json, const char* key, const std::vector<T>& items,
              void (*add_item)(JsonWriter&, const T&)) {
  json.begin_array(key);
  for (const T& item : items) add_item(json, item);
  json.end();
}

}  // namespace

std::string write_result(const FitResult& result) {
  JsonWriter json;
  json.begin_object();
  json.add("format", result_format);
  json.add("usable", result.usable);
  json.add("simulated", result.simulated);
  json.add("machine", result.machine_name);
  json.add("machine_units", result.inch ? "inch" : "mm");
  json.add("started", result.started);
  json.begin_object("made", JsonLayout::one_line);
  json.add("time", result.made);
  json.add("version", result.version);
  json.end();
  add_list(json, "inputs", result.inputs, add_input);
  add_conditions(json, result.conditions);
  json.begin_object("axes");
  for (const AxisResult& axis : result.axes) add_axis(json, axis);
  json.end();
  add_list(json, "axis_pairs", result.axis_pairs, add_axis_pair);
  json.begin_object("artefacts");
  for (const ArtefactResult& artefact : result.artefacts) add_artefact(json, artefact);
  json.end();
  add_list(json, "effects", result.effects, add_effect);
  add_fit(json, result.fit);
  add_list(json, "findings", result.findings, add_finding);
  add_list(json, "budget", result.budget, add_budget_line);
  add_list(json, "bounds", result.bounds, add_bound);
  json.begin_array("stations");
  for (const StationResult& station : result.stations) add_station(json, station, result.axes);
  json.end();
  add_list(json, "touches", result.touches, add_touch);
  add_covariance(json, result.covariance);
  add_gains(json, result);
  json.end();
  return json.take();
}

}  // namespace pivotrace
