// Results made up at random, and what it means for two of them to be the same.
#pragma once

#include <rapidcheck.h>

#include <cmath>
#include <limits>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/report/finding_words.h"
#include "pivotrace/results/result.h"

namespace pivotrace::test {

/// Any finite double of either sign and any size, or "not run".
inline double some_number() {
  if (*rc::gen::inRange(0, 8) == 0) return not_run;
  const double fraction = static_cast<double>(*rc::gen::arbitrary<std::uint64_t>() >> 11) * 0x1p-53;
  return std::ldexp(fraction - 0.5, *rc::gen::inRange(-60, 60));
}

inline double some_finite_number() {
  const double number = some_number();
  return std::isnan(number) ? 0.25 : number;
}

inline std::string some_text() {
  return *rc::gen::container<std::string>(rc::gen::inRange<char>(1, 127)) + "\xC3\xA9";
}

inline Eigen::Vector3d some_vector() {
  return {some_finite_number(), some_finite_number(), some_finite_number()};
}

/// `dof` is infinite or a number where `u` is a number, and not run where `u` is not.
inline Estimate some_estimate() {
  Estimate estimate{some_number(), some_number(), some_number(),
                    some_number(), some_number(), std::abs(some_finite_number())};
  if (*rc::gen::arbitrary<bool>()) estimate.dof = std::numeric_limits<double>::infinity();
  if (std::isnan(estimate.u)) estimate.dof = not_run;
  estimate.dof_absolute =
      std::isnan(estimate.u_absolute) ? not_run : std::abs(some_finite_number());
  estimate.B = std::abs(some_finite_number());
  estimate.B_absolute = std::abs(some_finite_number());
  return estimate;
}

inline std::optional<Estimate> maybe_estimate() {
  if (*rc::gen::arbitrary<bool>()) return std::nullopt;
  return some_estimate();
}

inline std::optional<double> maybe_number() {
  if (*rc::gen::arbitrary<bool>()) return std::nullopt;
  return some_finite_number();
}

inline bool coin() { return *rc::gen::arbitrary<bool>(); }

inline std::array<Estimate, 3> some_place() {
  return {some_estimate(), some_estimate(), some_estimate()};
}

inline AxisResult some_axis(char letter) {
  AxisResult axis;
  axis.letter = letter;
  axis.side = coin() ? AxisSide::work : AxisSide::tool;
  axis.estimated = coin();
  axis.line = {some_vector(), some_vector()};
  axis.nominal = {some_vector(), some_vector()};
  if (coin()) axis.along = static_cast<LinearAxis>(*rc::gen::inRange(0, 3));
  axis.quoted_at_mm = some_number();
  axis.turn = coin() ? TurnSense::right_hand : TurnSense::left_hand;
  axis.turn_confirmed = coin();
  for (const LinearAxis direction : {LinearAxis::Y, LinearAxis::Z}) {
    axis.centre.push_back({axis_value(letter, ValueKind::centre, direction), some_estimate()});
    axis.orientation.push_back(
        {axis_value(letter, ValueKind::orientation, direction), some_estimate()});
  }
  axis.lean = some_estimate();
  axis.pivot_to_stylus = maybe_estimate();
  axis.pivot_to_gauge = maybe_estimate();
  axis.ranges = {some_number(), some_number(), some_number()};
  return axis;
}

inline ArtefactResult some_artefact(int number) {
  ArtefactResult artefact;
  artefact.name = some_text() + std::to_string(number);
  artefact.kind = static_cast<ArtefactKind>(*rc::gen::inRange(0, 4));
  artefact.touches = *rc::gen::inRange(0, 100);
  artefact.position = some_place();
  if (coin()) artefact.direction = some_vector();
  artefact.diameter = maybe_estimate();
  artefact.effective_diameter = maybe_estimate();
  artefact.diameter_free = coin();
  return artefact;
}

inline StationResult some_station(std::size_t axes) {
  StationResult station;
  station.label = some_text();
  for (std::size_t i = 0; i < axes; ++i) station.angles_rad[i] = some_finite_number();
  station.touches = *rc::gen::inRange(0, 100);
  station.artefact = some_text();
  if (coin()) station.axis = 'A';
  station.resolved = coin();
  station.radial_mm = some_number();
  station.tangential_mm = some_number();
  station.axial_mm = some_number();
  station.excluded = coin();
  station.statistic = some_number();
  return station;
}

inline TouchResult some_touch() {
  TouchResult touch;
  touch.label = some_text();
  touch.station = some_text();
  touch.artefact = some_text();
  touch.residual_mm = some_number();
  touch.sigma_mm = maybe_number();
  touch.redundancy = some_number();
  touch.w = maybe_number();
  touch.detectable_mm = maybe_number();
  touch.excluded = coin();
  touch.line = *rc::gen::inRange(-5, 1000000);
  return touch;
}

inline FitSummary some_fit() {
  FitSummary fit;
  fit.touches = *rc::gen::inRange(0, 100);
  fit.readings = *rc::gen::inRange(0, 100);
  fit.unknowns = *rc::gen::inRange(0, 100);
  fit.excluded = *rc::gen::inRange(0, 100);
  for (double* value : {&fit.dof, &fit.sigma0, &fit.chi2, &fit.chi2_limit, &fit.condition,
                        &fit.touch_sigma_mm, &fit.station_sigma_mm, &fit.solver_seconds}) {
    *value = some_number();
  }
  fit.index_sigma_rad = {{'A', some_number()}, {'C', some_number()}};
  fit.index_repeat_sigma_rad = {{'A', some_number()}, {'C', some_number()}};
  fit.axis_motion_sigma_mm = {{'A', some_number()}, {'C', some_number()}};
  const auto some_source = [] { return static_cast<SigmaSource::From>(*rc::gen::inRange(0, 4)); };
  fit.sigma_source = {some_source(), some_source(), coin(), coin()};
  fit.iterations = *rc::gen::inRange(-1, 100);
  return fit;
}

inline Eigen::MatrixXd some_matrix(Eigen::Index size) {
  Eigen::MatrixXd matrix(size, size);
  for (Eigen::Index i = 0; i < matrix.size(); ++i) matrix(i) = some_number();
  return matrix;
}

inline EffectName some_effect() { return *rc::gen::elementOf(every_effect()); }

inline ValueName some_value() {
  return *rc::gen::element(
      axis_value('A', ValueKind::orientation, LinearAxis::Y), axis_value('C', ValueKind::lean),
      axis_value('B', ValueKind::pivot_to_stylus), pair_value('A', 'C', ValueKind::distance),
      pair_value('A', 'C', ValueKind::foot_on_second, LinearAxis::Z),
      artefact_value("ball 1.5", ValueKind::position, LinearAxis::X));
}

inline Conditions some_conditions() {
  Conditions conditions;
  if (coin()) conditions.probe = some_text();
  if (coin()) conditions.probe_calibrated = "2026-02-01";
  if (coin()) conditions.tables_on = coin();
  if (coin()) conditions.load_kg = some_finite_number();
  if (coin()) conditions.warm_minutes = some_finite_number();
  if (coin()) conditions.clamped = coin();
  if (coin()) conditions.tables_written = "2026-01-20";
  if (coin()) conditions.rollover = "by sign";
  if (coin()) conditions.index_step_rad = {{'C', rad_from_deg(5.0)}};
  if (coin()) conditions.artefacts = {{some_text(), some_text()}};
  return conditions;
}

inline SharedTerm some_term(std::size_t values) {
  SharedTerm term;
  term.kind = static_cast<SharedTerm::Kind>(*rc::gen::inRange(0, 5));
  if (term.kind == SharedTerm::Kind::effect) term.effect = some_effect();
  if (term.kind == SharedTerm::Kind::artefact_diameter) term.artefact = some_text();
  if (term.kind == SharedTerm::Kind::index_error || term.kind == SharedTerm::Kind::axis_motion) {
    term.axis = 'C';
    term.angle_rad = some_finite_number();
    term.side = *rc::gen::inRange(-1, 2);
  }
  if (term.kind == SharedTerm::Kind::axis_motion) term.component = *rc::gen::inRange(0, 3);
  term.u = some_finite_number();
  term.half_width = some_finite_number();
  term.gains.resize(static_cast<Eigen::Index>(values));
  for (double& gain : term.gains) gain = some_finite_number();
  return term;
}

inline FitResult some_result() {
  FitResult result;
  result.usable = false;  // a usable result must have its values, see the test of its own
  result.machine_name = some_text();
  result.inch = coin();
  result.started = some_text();
  result.made = some_text();
  result.version = some_text();
  result.inputs = {{"machine", some_text(), some_text()}, {"touches", some_text(), some_text()}};
  result.axes = {some_axis('C'), some_axis('A')};
  AxisPairResult pair;
  pair.first = 'C';
  pair.second = 'A';
  pair.parallel = coin();
  pair.distance = some_estimate();
  pair.crossing = some_estimate();
  pair.foot_on_first = some_place();
  pair.foot_on_second = some_place();
  result.axis_pairs = {pair};
  for (int i = *rc::gen::inRange(0, 3); i > 0; --i) result.artefacts.push_back(some_artefact(i));
  result.fit = some_fit();
  result.effects = {{some_effect(), some_estimate()}, {some_effect(), some_estimate()}};
  result.budget = {{some_value(), {SourceKind::index, 'C', {}}, some_number()},
                   {some_value(), {SourceKind::effect, '\0', some_effect()}, some_number()}};
  result.bounds = {{BoundKind::index_wave,
                    'C',
                    some_number(),
                    BoundSource::found,
                    {{axis_value('A', ValueKind::centre, LinearAxis::Y), some_number()},
                     {axis_value('A', ValueKind::orientation, LinearAxis::Y), some_number()}}}};
  for (int i = *rc::gen::inRange(0, 4); i > 0; --i) {
    result.stations.push_back(some_station(result.axes.size()));
    result.touches.push_back(some_touch());
  }
  result.findings = {
      {FindingCode::drift_seen, Severity::warning, finding::AsWritten{some_text(), some_text()}},
      {FindingCode::bad_touch, Severity::error,
       finding::LeftOut{{"12", {"3", {{'A', some_finite_number()}}}},
                        some_finite_number(),
                        0.01,
                        coin(),
                        std::nullopt}}};
  result.covariance.names = {axis_value('A', ValueKind::centre, LinearAxis::Y),
                             axis_value('A', ValueKind::orientation, LinearAxis::Y),
                             axis_value('C', ValueKind::centre, LinearAxis::X)};
  result.covariance.repeatable = some_matrix(3);
  result.covariance.absolute = some_matrix(3);
  result.covariance.groups = {{{SourceKind::touch_noise, '\0', {}}, 8.0, some_matrix(3)},
                              {{SourceKind::index, 'C', {}}, 12.5, some_matrix(3)}};
  result.covariance.group_errors = some_matrix(2);
  result.conditions = some_conditions();
  result.gains.origin_mm = some_vector();
  result.gains.middle_mm = some_vector();
  for (int i = *rc::gen::inRange(0, 4); i > 0; --i) result.gains.terms.push_back(some_term(3));
  return result;
}

// --- the same, field by field ---------------------------------------------------------------------

inline bool same(double a, double b) { return a == b || (std::isnan(a) && std::isnan(b)); }

/// Angles: see angle_round_trip_tolerance.
inline bool near(double a, double b, double relative) {
  return same(a, b) || std::abs(a - b) <= relative * std::abs(a);
}

inline bool same_estimate(const Estimate& a, const Estimate& b, double relative) {
  return near(a.value, b.value, relative) && near(a.u, b.u, relative) &&
         near(a.U95, b.U95, relative) && near(a.u_absolute, b.u_absolute, relative) &&
         near(a.U95_absolute, b.U95_absolute, relative) && same(a.dof, b.dof) &&
         same(a.dof_absolute, b.dof_absolute) && near(a.B, b.B, relative) &&
         near(a.B_absolute, b.B_absolute, relative);
}

inline bool same_estimate(const std::optional<Estimate>& a, const std::optional<Estimate>& b) {
  if (!a || !b) return a.has_value() == b.has_value();
  return same_estimate(*a, *b, 0.0);
}

inline bool same_place(const std::array<Estimate, 3>& a, const std::array<Estimate, 3>& b) {
  return same_estimate(a[0], b[0], 0.0) && same_estimate(a[1], b[1], 0.0) &&
         same_estimate(a[2], b[2], 0.0);
}

inline bool same_named(const std::vector<NamedEstimate>& a, const std::vector<NamedEstimate>& b,
                       double relative) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [relative](const NamedEstimate& x, const NamedEstimate& y) {
                      return x.name == y.name && same_estimate(x.estimate, y.estimate, relative);
                    });
}

inline bool same_line(const Line& a, const Line& b) {
  return a.point_mm == b.point_mm && a.direction == b.direction;
}

inline bool same_axis(const AxisResult& a, const AxisResult& b, double relative) {
  return a.letter == b.letter && a.side == b.side && a.estimated == b.estimated &&
         same_line(a.line, b.line) && same_line(a.nominal, b.nominal) && a.along == b.along &&
         same(a.quoted_at_mm, b.quoted_at_mm) && a.turn == b.turn &&
         a.turn_confirmed == b.turn_confirmed && same_named(a.centre, b.centre, 0.0) &&
         same_named(a.orientation, b.orientation, relative) &&
         same_estimate(a.lean, b.lean, relative) &&
         same_estimate(a.pivot_to_stylus, b.pivot_to_stylus) &&
         same_estimate(a.pivot_to_gauge, b.pivot_to_gauge) && same(a.ranges.F_R, b.ranges.F_R) &&
         same(a.ranges.F_T, b.ranges.F_T) && same(a.ranges.F_A, b.ranges.F_A);
}

inline bool same_pair(const AxisPairResult& a, const AxisPairResult& b, double relative) {
  return a.first == b.first && a.second == b.second && a.parallel == b.parallel &&
         same_estimate(a.distance, b.distance, 0.0) &&
         same_estimate(a.crossing, b.crossing, relative) &&
         same_place(a.foot_on_first, b.foot_on_first) &&
         same_place(a.foot_on_second, b.foot_on_second);
}

inline bool same_artefact(const ArtefactResult& a, const ArtefactResult& b) {
  return a.name == b.name && a.kind == b.kind && a.touches == b.touches &&
         same_place(a.position, b.position) && a.direction == b.direction &&
         same_estimate(a.diameter, b.diameter) &&
         same_estimate(a.effective_diameter, b.effective_diameter) &&
         a.diameter_free == b.diameter_free;
}

inline bool same_fit(const FitSummary& a, const FitSummary& b, double relative) {
  return a.touches == b.touches && a.readings == b.readings && a.unknowns == b.unknowns &&
         a.excluded == b.excluded && same(a.dof, b.dof) && same(a.sigma0, b.sigma0) &&
         same(a.chi2, b.chi2) && same(a.chi2_limit, b.chi2_limit) &&
         same(a.condition, b.condition) && same(a.touch_sigma_mm, b.touch_sigma_mm) &&
         same(a.station_sigma_mm, b.station_sigma_mm) && a.sigma_source == b.sigma_source &&
         a.iterations == b.iterations && same(a.solver_seconds, b.solver_seconds) &&
         std::equal(a.index_sigma_rad.begin(), a.index_sigma_rad.end(), b.index_sigma_rad.begin(),
                    b.index_sigma_rad.end(), [relative](const auto& x, const auto& y) {
                      return x.first == y.first && near(x.second, y.second, relative);
                    });
}

inline bool same_station(const StationResult& a, const StationResult& b, double relative) {
  return a.label == b.label && a.touches == b.touches && a.artefact == b.artefact &&
         std::equal(a.angles_rad.begin(), a.angles_rad.end(), b.angles_rad.begin(),
                    [relative](double x, double y) { return near(x, y, relative); }) &&
         a.axis == b.axis && a.resolved == b.resolved && same(a.radial_mm, b.radial_mm) &&
         same(a.tangential_mm, b.tangential_mm) && same(a.axial_mm, b.axial_mm) &&
         a.excluded == b.excluded && same(a.statistic, b.statistic);
}

inline bool same_touch(const TouchResult& a, const TouchResult& b) {
  return a.label == b.label && a.station == b.station && a.artefact == b.artefact &&
         same(a.residual_mm, b.residual_mm) && a.sigma_mm == b.sigma_mm &&
         same(a.redundancy, b.redundancy) && a.w == b.w && a.detectable_mm == b.detectable_mm &&
         a.excluded == b.excluded && a.line == b.line;
}

inline bool same_matrix(const Eigen::MatrixXd& a, const Eigen::MatrixXd& b, double relative) {
  if (a.rows() != b.rows() || a.cols() != b.cols()) return false;
  for (Eigen::Index i = 0; i < a.size(); ++i) {
    if (!near(a(i), b(i), relative)) return false;
  }
  return true;
}

inline bool same_term(const SharedTerm& a, const SharedTerm& b, double relative) {
  if (a.gains.size() != b.gains.size()) return false;
  for (Eigen::Index k = 0; k < a.gains.size(); ++k) {
    if (!near(a.gains[k], b.gains[k], 4.0 * relative)) return false;
  }
  return a.kind == b.kind && a.effect == b.effect && a.artefact == b.artefact && a.axis == b.axis &&
         near(a.angle_rad, b.angle_rad, relative) && a.side == b.side &&
         a.component == b.component && near(a.u, b.u, 4.0 * relative) &&
         near(a.half_width, b.half_width, 4.0 * relative);
}

template <class T, class Same>
bool same_list(const std::vector<T>& a, const std::vector<T>& b, Same same_item) {
  return std::equal(a.begin(), a.end(), b.begin(), b.end(), same_item);
}

/// The first part of two results that differs; empty when none does.
inline std::string difference(const FitResult& a, const FitResult& b, double relative) {
  const auto axis = [=](const auto& x, const auto& y) { return same_axis(x, y, relative); };
  const auto pair = [=](const auto& x, const auto& y) { return same_pair(x, y, relative); };
  const auto station = [=](const auto& x, const auto& y) { return same_station(x, y, relative); };
  const auto input = [](const InputFile& x, const InputFile& y) {
    return x.role == y.role && x.file == y.file && x.sha256 == y.sha256;
  };
  const auto finding = [](const Finding& x, const Finding& y) {
    return x.code == y.code && x.severity == y.severity && what_of(x) == what_of(y) &&
           advice_of(x) == advice_of(y);
  };
  const auto budget = [](const BudgetLine& x, const BudgetLine& y) {
    return x.output == y.output && x.source == y.source && same(x.share, y.share);
  };
  const auto bound = [relative](const BoundResult& x, const BoundResult& y) {
    const bool alike = x.kind == y.kind && x.axis == y.axis && x.source == y.source &&
                       x.shifts.size() == y.shifts.size() && same(x.half_width, y.half_width);
    for (std::size_t k = 0; alike && k < x.shifts.size(); ++k) {
      if (x.shifts[k].first != y.shifts[k].first) return false;
      if (!near(x.shifts[k].second, y.shifts[k].second, relative)) return false;
    }
    return alike;
  };
  const bool head = a.usable == b.usable && a.machine_name == b.machine_name && a.inch == b.inch &&
                    a.started == b.started && a.made == b.made && a.version == b.version;
  if (!head || !same_list(a.inputs, b.inputs, input)) return "head";
  if (!same_list(a.axes, b.axes, axis)) return "axes";
  if (!same_list(a.axis_pairs, b.axis_pairs, pair)) return "axis_pairs";
  if (!same_list(a.artefacts, b.artefacts, same_artefact)) return "artefacts";
  const auto effect = [=](const EffectResult& x, const EffectResult& y) {
    const bool angle = effect_unit(x.name.kind) == EffectUnit::rad;
    return x.name == y.name && same_estimate(x.estimate, y.estimate, angle ? relative : 0.0);
  };
  if (!same_list(a.effects, b.effects, effect)) return "effects";
  if (!same_fit(a.fit, b.fit, relative)) return "fit";
  if (!same_list(a.budget, b.budget, budget)) return "budget";
  if (!same_list(a.bounds, b.bounds, bound)) return "bounds";
  if (!same_list(a.stations, b.stations, station)) return "stations";
  const auto touch = [](const TouchResult& x, const TouchResult& y) { return same_touch(x, y); };
  if (!same_list(a.touches, b.touches, touch)) return "touches";
  if (!same_list(a.findings, b.findings, finding)) return "findings";
  if (a.covariance.names != b.covariance.names) return "covariance names";
  if (!same_matrix(a.covariance.repeatable, b.covariance.repeatable, relative)) return "repeatable";
  if (!same_matrix(a.covariance.absolute, b.covariance.absolute, relative)) return "absolute";
  const auto group = [=](const VarianceGroup& x, const VarianceGroup& y) {
    return x.source == y.source && x.stated_dof == y.stated_dof &&
           same_matrix(x.part, y.part, relative);
  };
  if (!same_list(a.covariance.groups, b.covariance.groups, group)) return "groups";
  if (!same_matrix(a.covariance.group_errors, b.covariance.group_errors, 0.0)) {
    return "group errors";
  }
  if (!(a.conditions == b.conditions)) return "conditions";
  if (a.gains.origin_mm != b.gains.origin_mm || a.gains.middle_mm != b.gains.middle_mm) {
    return "places of gains";
  }
  const auto term = [=](const auto& x, const auto& y) { return same_term(x, y, relative); };
  if (!same_list(a.gains.terms, b.gains.terms, term)) return "gains";
  return {};
}

}  // namespace pivotrace::test
