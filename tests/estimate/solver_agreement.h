// Two fits of one survey, made by different solvers, held against each other.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>

#include "pivotrace/estimate/fit.h"

namespace pivotrace::testing {

/// Collects what differs, in words; empty when nothing does.
class Disagreement {
 public:
  const std::string& text() const { return text_; }
  double worst_mm() const { return worst_mm_; }
  double worst_rad() const { return worst_rad_; }

  void compare(const Expected<FitResult>& one, const Expected<FitResult>& other) {
    if (one.has_value() != other.has_value()) {
      text_ += one ? "only the second is refused: " + numbers(other.error())
                   : "only the first is refused: " + numbers(one.error());
      return;
    }
    if (!one) {
      if (numbers(one.error()) != numbers(other.error())) {
        text_ += "refused for " + numbers(one.error()) + "and for " + numbers(other.error());
      }
      return;
    }
    compare(*one, *other);
  }

 private:
  static std::string numbers(const Problems& problems) {
    std::string all;
    for (const Problem& problem : problems) all += describe(problem).substr(0, 4) + ' ';
    return all;
  }

  static std::string verdicts(const FitResult& result) {
    std::string all = result.usable ? "usable: " : "not usable: ";
    for (const Finding& finding : result.findings) all += text_of(finding.code) + ' ';
    for (const TouchResult& touch : result.touches) all += touch.excluded ? 'x' : '.';
    for (const AxisResult& axis : result.axes) all += axis.turn_confirmed ? 'c' : '?';
    return all;
  }

  void compare(const FitResult& one, const FitResult& other) {
    // A sum of squares is flat to 1e-8 in units of the scatter: a bad touch of millimetres kept in
    // widens what a minimiser can tell. The agreement is stated for touches of a micrometre.
    constexpr double usual_sigma_mm = 0.001;
    scatter_ = std::max(1.0, one.fit.touch_sigma_mm / usual_sigma_mm);
    if (one.fit.sigma0 > 1.0) scatter_ *= one.fit.sigma0;
    if (verdicts(one) != verdicts(other)) text_ += verdicts(one) + " / " + verdicts(other) + '\n';
    for (std::size_t k = 0; k < std::min(one.axes.size(), other.axes.size()); ++k) {
      const std::string axis = std::string("axis ") + one.axes[k].letter;
      mm(axis + " point", (one.axes[k].line.point_mm - other.axes[k].line.point_mm).norm());
      rad(axis + " direction", (one.axes[k].line.direction - other.axes[k].line.direction).norm());
    }
    for (std::size_t a = 0; a < std::min(one.artefacts.size(), other.artefacts.size()); ++a) {
      compare(one.artefacts[a], other.artefacts[a]);
    }
  }

  void compare(const ArtefactResult& one, const ArtefactResult& other) {
    for (std::size_t k = 0; k < 3; ++k) {
      const double difference = one.position[k].value - other.position[k].value;
      if (std::isfinite(one.position[k].value)) mm(one.name + " position", std::abs(difference));
    }
    if (one.direction && other.direction) {
      rad(one.name + " direction", (*one.direction - *other.direction).norm());
    }
    if (one.effective_diameter && other.effective_diameter) {
      mm(one.name + " diameter",
         std::abs(one.effective_diameter->value - other.effective_diameter->value));
    }
  }

  void mm(const std::string& what, double difference) {
    worst_mm_ = std::max(worst_mm_, difference);
    if (difference <= solver_agreement_mm * scatter_) return;
    text_ += fmt::format("{}: {:.2e} mm\n", what, difference);
  }
  void rad(const std::string& what, double difference) {
    worst_rad_ = std::max(worst_rad_, difference);
    if (difference <= solver_agreement_rad * scatter_) return;
    text_ += fmt::format("{}: {:.2e} rad\n", what, difference);
  }

  std::string text_;
  double scatter_ = 1.0;
  double worst_mm_ = 0.0;
  double worst_rad_ = 0.0;
};

/// The survey fitted by both solvers of this build.
inline Disagreement between_solvers(const Machine& machine, const Survey& survey,
                                    FitOptions options = {}) {
  options.solver = Solver::gauss_newton;
  const Expected<FitResult> own = fit_survey(machine, survey, options);
  options.solver = default_solver();
  Disagreement disagreement;
  disagreement.compare(fit_survey(machine, survey, options), own);
  return disagreement;
}

}  // namespace pivotrace::testing
