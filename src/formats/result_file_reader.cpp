#include <fmt/format.h>

#include <cmath>
#include <limits>

#include "formats/emptied_lists.h"
#include "formats/json_reader.h"
#include "formats/result_units.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

using formats::JsonObject;

constexpr double no_dof_limit = std::numeric_limits<double>::infinity();
const std::vector<std::string> turn_words = {"right-hand", "left-hand"};
const char* const advice_to_refit =
    "results are written by `pivotrace fit`: make the file anew rather than mending it by hand";

/// Null stands for "no limit" beside a number and for "not run" beside nothing.
double dof_beside(double dof, double u) {
  return std::isnan(dof) && !std::isnan(u) ? no_dof_limit : dof;
}

// --- estimates ------------------------------------------------------------------------------------

/// Files of earlier versions do not hold it: then the random part's own stands for it.
double read_dof_absolute(JsonObject& json, const Estimate& estimate) {
  if (!json.has("dof_absolute")) return estimate.dof;
  return dof_beside(json.number("dof_absolute"), estimate.u_absolute);
}

/// No bias in files of earlier versions.
double read_bias(JsonObject& json, const char* key) {
  return json.has(key) ? json.optional_number(key).value_or(0.0) : 0.0;
}

Estimate read_length_members(JsonObject& json) {
  Estimate estimate;
  estimate.value = json.number("value");
  estimate.u = json.number("u");
  estimate.U95 = json.number("U95");
  estimate.u_absolute = json.number("u_absolute");
  estimate.U95_absolute = json.number("U95_absolute");
  estimate.dof = dof_beside(json.number("dof"), estimate.u);
  estimate.dof_absolute = read_dof_absolute(json, estimate);
  estimate.B = read_bias(json, "B");
  estimate.B_absolute = read_bias(json, "B_absolute");
  return estimate;
}

Estimate read_angle_members(JsonObject& json) {
  Estimate estimate;
  estimate.value = rad_from_deg(json.number("value_deg"));
  estimate.u = rad_from_deg(json.number("u_deg"));
  estimate.U95 = rad_from_deg(json.number("U95_deg"));
  estimate.u_absolute = rad_from_deg(json.number("u_absolute_deg"));
  estimate.U95_absolute = rad_from_deg(json.number("U95_absolute_deg"));
  estimate.dof = dof_beside(json.number("dof"), estimate.u);
  estimate.dof_absolute = read_dof_absolute(json, estimate);
  estimate.B = rad_from_deg(read_bias(json, "B_deg"));
  estimate.B_absolute = rad_from_deg(read_bias(json, "B_absolute_deg"));
  json.number("mm_per_300");  // the same angle in other words
  return estimate;
}

Estimate read_length(JsonObject& json) {
  Estimate estimate = read_length_members(json);
  json.refuse_unknown_keys();
  return estimate;
}

Estimate read_length(JsonObject& owner, const char* key) {
  auto json = owner.object(key);
  return json ? read_length(*json) : Estimate();
}

Estimate read_angle(JsonObject& owner, const char* key) {
  auto json = owner.object(key);
  if (!json) return {};
  Estimate estimate = read_angle_members(*json);
  json->refuse_unknown_keys();
  return estimate;
}

std::optional<Estimate> read_optional_length(JsonObject& owner, const char* key) {
  auto json = owner.optional_object(key);
  if (!json) return std::nullopt;
  return read_length(*json);
}

std::array<Estimate, 3> read_place(JsonObject& owner, const char* key) {
  std::array<Estimate, 3> place;
  auto json = owner.object(key);
  if (!json) return place;
  place = {read_length(*json, "X"), read_length(*json, "Y"), read_length(*json, "Z")};
  json->refuse_unknown_keys();
  return place;
}

/// The last part of a value's name as a key: X, Y, Z of a centre, A, B, C of an orientation.
std::optional<LinearAxis> direction_named(const std::string& key, char letter, ValueKind kind) {
  for (const LinearAxis direction : {LinearAxis::X, LinearAxis::Y, LinearAxis::Z}) {
    if (direction_text(axis_value(letter, kind, direction)) == key) return direction;
  }
  return std::nullopt;
}

std::vector<NamedEstimate> read_named(JsonObject& json, char letter, ValueKind kind,
                                      Estimate (*read_members)(JsonObject&)) {
  std::vector<NamedEstimate> estimates;
  for (auto& [key, member] : json.named_objects()) {
    const auto direction = direction_named(key, letter, kind);
    if (!direction) {
      json.report(key.c_str(), ProblemNumber::unknown_key, "is no direction of such a value",
                  advice_to_refit);
    }
    member.text("symbol");  // follows from the name
    NamedEstimate named{axis_value(letter, kind, direction), read_members(member)};
    member.refuse_unknown_keys();
    estimates.push_back(std::move(named));
  }
  return estimates;
}

/// Results written before there was one spelling call the centre a location.
std::vector<NamedEstimate> read_centre(JsonObject& owner, char letter) {
  auto json = owner.object(owner.has("location") ? "location" : "centre");
  if (!json) return {};
  return read_named(*json, letter, ValueKind::centre, read_length_members);
}

std::vector<NamedEstimate> read_orientation(JsonObject& owner, char letter) {
  auto json = owner.object("orientation");
  if (!json) return {};
  return read_named(*json, letter, ValueKind::orientation, read_angle_members);
}

// --- axes -----------------------------------------------------------------------------------------

char letter_of(JsonObject& json, const char* key, const std::string& word) {
  if (word.size() == 1) return word[0];
  json.report(key, ProblemNumber::wrong_type, "must be one letter", advice_to_refit);
  return '?';
}

void read_quoted_at(JsonObject& owner, AxisResult& axis) {
  auto json = owner.object("quoted_at");
  if (!json) return;
  const auto members = json->named_numbers();
  constexpr std::string_view words = "XYZ";
  const bool one = members.size() == 1;
  const std::string word = one ? members[0].first : std::string();
  const std::size_t index = word.size() == 1 ? words.find(word[0]) : std::string_view::npos;
  if (!one || (index == std::string_view::npos && word != "direction")) {
    owner.report("quoted_at", ProblemNumber::wrong_type,
                 "must have one member named X, Y, Z or direction", advice_to_refit);
    return;
  }
  axis.quoted_at_mm = members[0].second;
  if (index != std::string_view::npos) axis.along = static_cast<LinearAxis>(index);
}

Line read_line(JsonObject& json) {
  Line line;
  line.point_mm = json.vector("point");
  line.direction = json.vector("direction");
  return line;
}

DeviationRanges read_ranges(JsonObject& owner) {
  DeviationRanges ranges;
  auto json = owner.object("deviation_ranges");
  if (!json) return ranges;
  ranges.F_R = json->number("F_R");
  ranges.F_T = json->number("F_T");
  ranges.F_A = json->number("F_A");
  json->refuse_unknown_keys();
  return ranges;
}

TurnSense read_turn(JsonObject& json) {
  return json.choice("turn", turn_words) == 0 ? TurnSense::right_hand : TurnSense::left_hand;
}

/// Results written before a zero could be told have no such member.
void read_zero(JsonObject& owner, AxisResult& axis) {
  if (!owner.has("zero")) return;
  auto json = owner.optional_object("zero");
  if (!json) return;
  json->text("symbol");  // follows from the name
  axis.zero = read_angle_members(*json);
  axis.zero_by = json->text("by");
  json->refuse_unknown_keys();
}

AxisResult read_axis(char letter, JsonObject& json) {
  AxisResult axis;
  axis.letter = letter;
  axis.side = json.choice("side", {"work", "tool"}) == 0 ? AxisSide::work : AxisSide::tool;
  axis.estimated = json.boolean("estimated");
  axis.line = read_line(json);
  read_quoted_at(json, axis);
  if (auto nominal = json.object("nominal")) {
    axis.nominal = read_line(*nominal);
    nominal->refuse_unknown_keys();
  }
  axis.turn = read_turn(json);
  axis.turn_confirmed = json.boolean("turn_confirmed");
  axis.centre = read_centre(json, letter);
  axis.orientation = read_orientation(json, letter);
  axis.lean = read_angle(json, "lean");
  read_zero(json, axis);
  axis.pivot_to_stylus = read_optional_length(json, "pivot_to_stylus");
  axis.pivot_to_gauge = read_optional_length(json, "pivot_to_gauge");
  axis.ranges = read_ranges(json);
  json.refuse_unknown_keys();
  return axis;
}

AxisPairResult read_axis_pair(JsonObject& json) {
  AxisPairResult pair;
  pair.first = letter_of(json, "first", json.text("first"));
  pair.second = letter_of(json, "second", json.text("second"));
  pair.parallel = json.boolean("parallel");
  pair.distance = read_length(json, "distance");
  pair.crossing = read_angle(json, "crossing");
  pair.foot_on_first = read_place(json, "foot_on_first");
  pair.foot_on_second = read_place(json, "foot_on_second");
  if (json.has("offset")) pair.offset = read_place(json, "offset");
  json.refuse_unknown_keys();
  return pair;
}

std::vector<NamedEstimate> read_heights(const std::string& flat, JsonObject& owner) {
  std::vector<NamedEstimate> heights;
  auto json = owner.object("height_over");
  if (!json) return heights;
  for (auto& [letter, member] : json->named_objects()) {
    heights.push_back(
        {height_value(flat, letter_of(*json, letter.c_str(), letter)), read_length(member)});
  }
  return heights;
}

ArtefactResult read_artefact(const std::string& name, JsonObject& json) {
  ArtefactResult artefact;
  artefact.name = name;
  artefact.kind = static_cast<ArtefactKind>(json.choice("kind", {"ball", "pin", "bore", "flat"}));
  artefact.touches = json.integer("touches");
  artefact.position = read_place(json, "position");
  artefact.direction = json.optional_vector("direction");
  artefact.diameter = read_optional_length(json, "diameter");
  artefact.effective_diameter = read_optional_length(json, "effective_diameter");
  artefact.diameter_free = json.boolean("diameter_free");
  if (json.has("height_over")) artefact.heights = read_heights(name, json);
  json.refuse_unknown_keys();
  return artefact;
}

// --- the fit and its rows -------------------------------------------------------------------------

FitSummary read_fit(JsonObject& json) {
  FitSummary fit;
  fit.touches = json.integer("touches");
  fit.readings = json.integer("readings");
  fit.unknowns = json.integer("unknowns");
  fit.excluded = json.integer("excluded");
  fit.dof = json.number("dof");
  fit.sigma0 = json.number("sigma0");
  fit.chi2 = json.number("chi2");
  fit.chi2_limit = json.number("chi2_limit");
  fit.condition = json.number("condition");
  fit.touch_sigma_mm = json.number("touch_sigma");
  fit.station_sigma_mm = json.number("station_sigma");
  const auto per_axis = [&](const char* key, double (*from_file)(double),
                            std::vector<std::pair<char, double>>& into) {
    auto sigmas = json.object(key);
    if (!sigmas) return;
    for (const auto& [letter, sigma] : sigmas->named_numbers()) {
      into.emplace_back(letter_of(*sigmas, letter.c_str(), letter), from_file(sigma));
    }
  };
  per_axis("index_sigma_arcsec", rad_from_arcsec, fit.index_sigma_rad);
  if (json.has("index_repeat_sigma_arcsec")) {
    per_axis("index_repeat_sigma_arcsec", rad_from_arcsec, fit.index_repeat_sigma_rad);
  }
  if (json.has("axis_motion_sigma")) {
    per_axis(
        "axis_motion_sigma", [](double mm) { return mm; }, fit.axis_motion_sigma_mm);
  }
  const auto source = sigma_source_named(json.text("sigma_source"));
  if (!source) {
    json.report("sigma_source", ProblemNumber::out_of_range, "names no source", advice_to_refit);
  }
  fit.sigma_source = source.value_or(SigmaSource{});
  fit.iterations = json.integer("iterations");
  fit.solver_seconds = json.number("solver_seconds");
  json.refuse_unknown_keys();
  return fit;
}

RotaryAngles read_angles(JsonObject& owner, const std::vector<AxisResult>& axes) {
  RotaryAngles angles_rad{};
  auto json = owner.object("angles_deg");
  if (!json) return angles_rad;
  for (std::size_t i = 0; i < axes.size() && i < angles_rad.size(); ++i) {
    angles_rad[i] = rad_from_deg(json->number(std::string(1, axes[i].letter).c_str()));
  }
  json->refuse_unknown_keys();
  return angles_rad;
}

StationResult read_station(JsonObject& json, const std::vector<AxisResult>& axes) {
  StationResult station;
  station.label = json.text("label");
  station.angles_rad = read_angles(json, axes);
  station.touches = json.integer("touches");
  station.artefact = json.text("artefact");
  if (const auto axis = json.optional_text("axis")) station.axis = letter_of(json, "axis", *axis);
  station.resolved = json.boolean("resolved");
  station.radial_mm = json.number("radial_mm");
  station.tangential_mm = json.number("tangential_mm");
  station.axial_mm = json.number("axial_mm");
  station.excluded = json.boolean("excluded");
  station.statistic = json.number("statistic");
  json.refuse_unknown_keys();
  return station;
}

TouchResult read_touch(JsonObject& json) {
  TouchResult touch;
  touch.label = json.text("label");
  touch.station = json.text("station");
  touch.artefact = json.text("artefact");
  touch.residual_mm = json.number("residual_mm");
  touch.sigma_mm = json.optional_number("sigma_mm");
  touch.redundancy = json.number("redundancy");
  touch.w = json.optional_number("w");
  touch.detectable_mm = json.optional_number("detectable_mm");
  touch.excluded = json.boolean("excluded");
  touch.line = json.integer("line");
  json.refuse_unknown_keys();
  return touch;
}

Finding read_finding(JsonObject& json) {
  Finding finding;
  const auto code = finding_code_named(json.text("code"));
  if (!code) json.report("code", ProblemNumber::out_of_range, "names no finding", advice_to_refit);
  finding.code = code.value_or(FindingCode::sigmas_assumed);
  finding.severity = static_cast<Severity>(json.choice("severity", {"note", "warning", "error"}));
  const std::string text = json.text("text");
  finding.details = finding::AsWritten{text, json.text("advice")};
  json.refuse_unknown_keys();
  return finding;
}

/// A value by its name; reported when the text names none.
ValueName read_name(JsonObject& json, const char* key, const std::string& text) {
  const auto name = value_named(text);
  if (!name) json.report(key, ProblemNumber::out_of_range, "names no value", advice_to_refit);
  return name.value_or(ValueName{});
}

BoundResult read_bound(JsonObject& json) {
  BoundResult bound;
  bound.kind =
      static_cast<BoundKind>(json.choice("effect", {"lobing", "drift", "squareness", "scale",
                                                    "place", "index wave", "between surveys"}));
  if (bound.kind == BoundKind::index_wave) bound.axis = json.text("axis").front();
  bound.half_width = json.number("bound");
  bound.source = static_cast<BoundSource>(json.choice("source", {"stated", "assumed", "found"}));
  if (auto shifts = json.object("shift")) {
    for (const auto& [output, shift] : shifts->named_numbers()) {
      const ValueName name = read_name(*shifts, output.c_str(), output);
      bound.shifts.emplace_back(name, is_angle(name) ? rad_from_deg(shift) : shift);
    }
  }
  json.refuse_unknown_keys();
  return bound;
}

BudgetLine read_budget_line(JsonObject& json) {
  BudgetLine line;
  line.output = read_name(json, "output", json.text("output"));
  const std::string source = json.text("source");
  const auto named = budget_source_named(source);
  if (!named)
    json.report("source", ProblemNumber::out_of_range, "names no source", advice_to_refit);
  line.source = named.value_or(BudgetSource{});
  line.share = json.number("share");
  json.refuse_unknown_keys();
  return line;
}

EffectResult read_effect(JsonObject& json) {
  EffectResult effect;
  const auto name = effect_named(json.text("name"));
  if (!name) json.report("name", ProblemNumber::out_of_range, "names no effect", advice_to_refit);
  effect.name = name.value_or(EffectName{});
  const formats::WrittenUnit unit = formats::written_unit(effect_unit(effect.name.kind));
  if (json.text("unit") != unit.word) {
    json.report("unit", ProblemNumber::out_of_range, "does not fit `name`", advice_to_refit);
  }
  effect.estimate = formats::scaled(read_length_members(json), 1.0 / unit.per_internal);
  json.refuse_unknown_keys();
  return effect;
}

InputFile read_input(JsonObject& json) {
  InputFile input;
  input.role = json.text("role");
  input.file = json.text("file");
  input.sha256 = json.text("sha256");
  json.refuse_unknown_keys();
  return input;
}

// --- covariance -----------------------------------------------------------------------------------

void convert_from_written(Eigen::MatrixXd& matrix, const std::vector<double>& internal) {
  for (Eigen::Index row = 0; row < matrix.rows(); ++row) {
    for (Eigen::Index column = 0; column < matrix.cols(); ++column) {
      matrix(row, column) *=
          internal[static_cast<std::size_t>(row)] * internal[static_cast<std::size_t>(column)];
    }
  }
}

JointCovariance read_covariance(JsonObject& json) {
  JointCovariance covariance;
  for (const std::string& text : json.texts("names")) {
    covariance.names.push_back(read_name(json, "names", text));
  }
  const std::vector<std::string> units = json.texts("units");
  const std::size_t size = covariance.names.size();
  covariance.repeatable = json.matrix("repeatable", size);
  covariance.absolute = json.matrix("absolute", size);
  json.refuse_unknown_keys();
  std::vector<double> internal;
  bool good = units.size() == size;
  for (std::size_t i = 0; good && i < size; ++i) {
    const bool angle = is_angle(covariance.names[i]);
    good = units[i] == (angle ? "deg" : "mm");
    internal.push_back(angle ? rad_from_deg(1.0) : 1.0);
  }
  if (!good) {
    json.report("units", ProblemNumber::out_of_range, "does not fit `names`", advice_to_refit);
    return covariance;
  }
  convert_from_written(covariance.repeatable, internal);
  convert_from_written(covariance.absolute, internal);
  return covariance;
}

// --- conditions and gains -------------------------------------------------------------------------

std::optional<bool> read_optional_word(JsonObject& json, const char* key, const char* when_true,
                                       const char* when_false) {
  const auto word = json.optional_text(key);
  if (!word) return std::nullopt;
  if (*word == when_true) return true;
  if (*word == when_false) return false;
  json.report(key, ProblemNumber::out_of_range, "is none of its words", advice_to_refit);
  return std::nullopt;
}

Conditions read_conditions(JsonObject& json) {
  Conditions conditions;
  conditions.probe = json.optional_text("probe");
  conditions.probe_calibrated = json.optional_text("probe_calibrated");
  conditions.tables_on = read_optional_word(json, "tables", "on", "off");
  conditions.load_kg = json.optional_number("load_kg");
  conditions.warm_minutes = json.optional_number("warm_minutes");
  conditions.clamped = read_optional_word(json, "axes_while_touched", "clamped", "free");
  if (auto artefacts = json.object("artefacts")) {
    for (auto& [name, which] : artefacts->named_texts()) conditions.artefacts[name] = which;
  }
  json.refuse_unknown_keys();
  return conditions;
}

void read_what_term(JsonObject& json, SharedTerm& term) {
  const std::vector<std::string> words(std::begin(formats::term_words),
                                       std::end(formats::term_words));
  term.kind = static_cast<SharedTerm::Kind>(json.choice("term", words));
  if (term.kind == SharedTerm::Kind::effect) {
    const auto effect = effect_named(json.text("effect"));
    if (!effect)
      json.report("effect", ProblemNumber::out_of_range, "names no effect", advice_to_refit);
    term.effect = effect.value_or(EffectName{});
  }
  if (term.kind == SharedTerm::Kind::artefact_diameter) term.artefact = json.text("artefact");
  if (!formats::is_of_position(term.kind)) return;
  term.axis = letter_of(json, "axis", json.text("axis"));
  term.angle_rad = rad_from_deg(json.number("angle_deg"));
  term.side = json.integer("side");
  if (term.kind == SharedTerm::Kind::axis_motion) {
    term.component = static_cast<int>(json.choice("along", {"X", "Y", "Z"}));
  }
}

SharedTerm read_term(JsonObject& json, const std::vector<ValueName>& names) {
  SharedTerm term;
  read_what_term(json, term);
  const formats::WrittenUnit unit = formats::written_unit(formats::term_unit(term));
  if (json.text("unit") != unit.word) {
    json.report("unit", ProblemNumber::out_of_range, "does not fit the term", advice_to_refit);
  }
  term.u = json.number("u") / unit.per_internal;
  term.half_width = json.number("bound") / unit.per_internal;
  term.gains = json.numbers("by", names.size());
  for (Eigen::Index k = 0; k < term.gains.size(); ++k) {
    const bool angle = is_angle(names[static_cast<std::size_t>(k)]);
    term.gains[k] *= unit.per_internal * (angle ? rad_from_deg(1.0) : 1.0);
  }
  json.refuse_unknown_keys();
  return term;
}

SurveyGains read_gains(JsonObject& json, const std::vector<ValueName>& names) {
  SurveyGains gains;
  gains.origin_mm = json.vector("origin");
  gains.middle_mm = json.vector("middle");
  for (JsonObject& term : json.objects("terms")) gains.terms.push_back(read_term(term, names));
  json.refuse_unknown_keys();
  return gains;
}

// --- the whole ------------------------------------------------------------------------------------

class ResultReader {
 public:
  ResultReader(const formats::Json& root, const std::string& file)
      : problems_(file), top_(root, "", problems_) {}

  Expected<FitResult> read() {
    read_head();
    read_axes();
    for (JsonObject& pair : top_.objects("axis_pairs")) {
      result_.axis_pairs.push_back(read_axis_pair(pair));
    }
    if (auto artefacts = top_.object("artefacts")) {
      for (auto& [name, artefact] : artefacts->named_objects()) {
        result_.artefacts.push_back(read_artefact(name, artefact));
      }
    }
    if (auto fit = top_.object("fit")) result_.fit = read_fit(*fit);
    read_rows();
    if (auto covariance = top_.object("covariance")) {
      result_.covariance = read_covariance(*covariance);
    }
    read_what_others_may_share();
    top_.refuse_unknown_keys();
    refuse_gaps_in_usable_result();
    if (!problems_.empty()) return problems_.as_failure();
    return std::move(result_);
  }

 private:
  /// Not in files of earlier versions.
  void read_what_others_may_share() {
    if (top_.has("conditions")) {
      if (auto conditions = top_.object("conditions")) {
        result_.conditions = read_conditions(*conditions);
      }
    }
    if (!top_.has("gains")) return;
    if (auto gains = top_.object("gains")) {
      result_.gains = read_gains(*gains, result_.covariance.names);
    }
  }

  void read_head() {
    top_.text("format");
    result_.usable = top_.boolean("usable");
    result_.simulated = top_.flag("simulated");
    result_.machine_name = top_.text("machine");
    if (top_.has("machine_units")) result_.inch = read_machine_units();
    result_.started = top_.text("started");
    if (auto made = top_.object("made")) {
      result_.made = made->text("time");
      result_.version = made->text("version");
      made->refuse_unknown_keys();
    }
    for (JsonObject& input : top_.objects("inputs")) result_.inputs.push_back(read_input(input));
  }

  /// For what people read; lengths of the file are mm either way.
  bool read_machine_units() {
    const std::string units = top_.text("machine_units");
    if (units != "mm" && units != "inch") {
      top_.report("machine_units", ProblemNumber::out_of_range, "is neither mm nor inch",
                  advice_to_refit);
    }
    return units == "inch";
  }

  void read_axes() {
    auto axes = top_.object("axes");
    if (!axes) return;
    for (auto& [name, axis] : axes->named_objects()) {
      result_.axes.push_back(read_axis(letter_of(*axes, name.c_str(), name), axis));
    }
  }

  void read_rows() {
    for (JsonObject& finding : top_.objects("findings")) {
      result_.findings.push_back(read_finding(finding));
    }
    for (JsonObject& effect : top_.objects("effects")) {
      result_.effects.push_back(read_effect(effect));
    }
    for (JsonObject& line : top_.objects("budget")) {
      result_.budget.push_back(read_budget_line(line));
    }
    if (top_.has("bounds")) {
      for (JsonObject& bound : top_.objects("bounds")) result_.bounds.push_back(read_bound(bound));
    }
    for (JsonObject& station : top_.objects("stations")) {
      result_.stations.push_back(read_station(station, result_.axes));
    }
    for (JsonObject& touch : top_.objects("touches")) {
      result_.touches.push_back(read_touch(touch));
    }
  }

  /// What says it may be written must have what is written.
  void refuse_gaps_in_usable_result() {
    if (!result_.usable || !problems_.empty()) return;
    for (const AxisResult& axis : result_.axes) {
      if (!axis.estimated) continue;
      bool complete = axis.line.point_mm.allFinite() && axis.line.direction.allFinite();
      for (const NamedEstimate& named : axis.centre) {
        complete = complete && std::isfinite(named.estimate.value) &&
                   std::isfinite(named.estimate.U95_absolute);
      }
      if (complete) continue;
      top_.report(fmt::format("axes.{}", axis.letter), ProblemNumber::out_of_range,
                  "lacks values although the result says that it is usable", advice_to_refit);
    }
  }

  ProblemList problems_;
  JsonObject top_;
  FitResult result_;
};

Problem format_problem(const formats::Json& root, const std::string& file) {
  Problem problem{ProblemNumber::unsupported_format,
                  "this JSON file is no result of pivotrace",
                  {file, 0, 0},
                  "name a file written by `pivotrace fit ... -o`"};
  const bool stated = root.is_object() && root.contains("format") && root["format"].is_string();
  if (stated && root["format"].get<std::string>().starts_with("pivotrace-result-")) {
    problem.what = fmt::format("this result has format \"{}\", this program reads \"{}\"",
                               root["format"].get<std::string>().substr(0, 40), result_format);
    problem.advice = "use a newer pivotrace, or run `pivotrace fit` again";
  }
  return problem;
}

}  // namespace

Expected<FitResult> parse_result(std::string_view text, const std::string& name) {
  const Expected<formats::Json> root = formats::parse_json(text, name);
  if (!root) return tl::make_unexpected(root.error());
  const bool stated = root->is_object() && root->contains("format");
  const bool supported =
      stated && ((*root)["format"] == result_format || (*root)["format"] == former_result_format);
  if (!supported) return failure(format_problem(*root, name));
  return ResultReader(*root, name).read();
}

Expected<FitResult> parse_result_values(std::string_view text, const std::string& name) {
  const auto result =
      parse_result(formats::with_emptied_lists(
                       text, {"touches", "stations", "budget", "bounds", "findings", "effects"}),
                   name);
  // Lines are counted in the whole text.
  return result ? result : parse_result(text, name);
}

Expected<FitResult> read_result_values(const std::string& path, FileCalls& disk) {
  const Expected<std::string> text = read_file(path, disk, result_read_limit_bytes);
  if (!text) return tl::make_unexpected(text.error());
  return parse_result_values(*text, path);
}

Expected<FitResult> read_result(const std::string& path, FileCalls& disk) {
  const Expected<std::string> text = read_file(path, disk, result_read_limit_bytes);
  if (!text) return tl::make_unexpected(text.error());
  return parse_result(*text, path);
}

}  // namespace pivotrace
