#include "results/shared_errors.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <string>

#include "results/in_common.h"

namespace pivotrace {

namespace {

using Kind = SharedTerm::Kind;

bool of_position(const SharedTerm& term) {
  return term.kind == Kind::index_error || term.kind == Kind::axis_motion;
}

std::string word(const std::optional<bool>& stated) {
  return stated ? (*stated ? "yes" : "no") : "?";
}

std::optional<std::string> probe_key(const Conditions& conditions) {
  if (!conditions.probe || !conditions.probe_calibrated) return std::nullopt;
  return *conditions.probe + "\n" + *conditions.probe_calibrated;
}

std::optional<std::string> artefact_key(const SharedTerm& term, const Conditions& conditions) {
  const auto which = conditions.artefacts.find(term.artefact);
  if (which == conditions.artefacts.end()) return std::nullopt;
  return term.artefact + "\n" + which->second;
}

/// Under what index errors of an axis stay the same.
std::string indexing_of(char axis, const Conditions& conditions) {
  const auto step = conditions.index_step_rad.find(axis);
  return word(conditions.clamped) + "\n" + conditions.rollover.value_or("?") + "\n" +
         (step == conditions.index_step_rad.end() ? "?" : std::to_string(step->second));
}

std::string indexing_key(const SharedTerm& term, const Conditions& conditions) {
  return std::string(1, term.axis) + std::to_string(term.side) + std::to_string(term.component) +
         "\n" + indexing_of(term.axis, conditions);
}

std::optional<std::string> effect_key(const SharedTerm& term, const Conditions& conditions) {
  const std::string name = text_of(term.effect);
  switch (term.effect.kind) {
    case EffectKind::scale:
    case EffectKind::squareness:
    case EffectKind::bow: return name;
    case EffectKind::index_wave: return name + "\n" + indexing_of(term.effect.axis, conditions);
    case EffectKind::stylus_offset:
    case EffectKind::lobing: break;
    default: return std::nullopt;
  }
  const auto probe = probe_key(conditions);
  return probe ? std::optional(name + "\n" + *probe) : std::nullopt;
}

/// Errors of one key are one, but for angle and place. Absent: this result has it for itself.
std::optional<std::string> key_of(const SharedTerm& term, const Conditions& conditions) {
  std::optional<std::string> key;
  switch (term.kind) {
    case Kind::artefact_diameter: key = artefact_key(term, conditions); break;
    case Kind::stylus_diameter: key = probe_key(conditions); break;
    case Kind::index_error:
    case Kind::axis_motion: key = indexing_key(term, conditions); break;
    case Kind::effect: key = effect_key(term, conditions); break;
  }
  if (key) *key += "\n" + std::to_string(static_cast<int>(term.kind));
  return key;
}

/// Where an effect of the slides is counted from.
Eigen::Vector3d place_of(const SharedTerm& term, const SurveyGains& gains) {
  return term.effect.kind == EffectKind::bow ? gains.middle_mm : gains.origin_mm;
}

/// A bounded error as if any size within its bound were as likely as another; of k components whose length
/// is bounded each has the variance w^2 / (k + 2).
double variance_of(const SharedTerm& term) {
  if (term.u > 0.0) return term.u * term.u;
  const int together = components_of_length(term.effect.kind);
  return term.half_width * term.half_width / (together + 2.0);
}

/// Before it is known which results have it.
struct Candidate {
  SharedTerm first;
  Eigen::Vector3d place_mm;
  std::vector<std::pair<std::size_t, const SharedTerm*>> owners;

  bool is(const SharedTerm& term, const Eigen::Vector3d& place) const {
    return same_term(first, term) &&
           (first.kind != Kind::effect || (place - place_mm).norm() <= same_place_mm);
  }
};

Eigen::MatrixXd squared(const Eigen::VectorXd& gains, double variance) {
  return variance * gains * gains.transpose();
}

class Gathering {
 public:
  Gathering(const std::vector<Epoch>& epochs, double between_surveys_mm) {
    shared_.of_epoch.resize(epochs.size());
    for (std::size_t e = 0; e < epochs.size(); ++e) {
      const Epoch& epoch = epochs[e];
      const double between_mm =
          between_surveys_mm * times_between_surveys(epoch.conditions, epochs.back().conditions);
      const double variance = between_mm * between_mm / 3.0;
      shared_.own.push_back((epoch.gains.terms.empty() ? epoch.covariance : epoch.repeatable) +
                            variance * epoch.shift_gains * epoch.shift_gains.transpose());
      for (const SharedTerm& term : epoch.gains.terms) add(e, epoch, term);
    }
  }

  SharedErrors run() {
    for (const auto& [key, candidates] : candidates_) {
      for (const Candidate& candidate : candidates) settle(candidate);
    }
    return std::move(shared_);
  }

 private:
  void add(std::size_t e, const Epoch& epoch, const SharedTerm& term) {
    const auto key = key_of(term, epoch.conditions);
    if (!key) {
      add_own(e, term);
      return;
    }
    std::vector<Candidate>& known = candidates_[*key];
    auto same = std::ranges::find_if(
        known, [&](const Candidate& c) { return c.is(term, place_of(term, epoch.gains)); });
    if (same == known.end()) {
      known.push_back({term, place_of(term, epoch.gains), {}});
      same = known.end() - 1;
    }
    same->owners.emplace_back(e, &term);
  }

  /// What a position draws is in the repeatable part already.
  void add_own(std::size_t e, const SharedTerm& term) {
    if (!of_position(term)) shared_.own[e] += squared(term.gains, variance_of(term));
  }

  void settle(const Candidate& candidate) {
    if (candidate.owners.size() == 1) {
      add_own(candidate.owners.front().first, *candidate.owners.front().second);
      return;
    }
    // Each result estimated the size of what all have: their mean stands for it.
    double variance = 0.0;
    for (const auto& [e, term] : candidate.owners) {
      variance += variance_of(*term) / static_cast<double>(candidate.owners.size());
    }
    for (const auto& [e, term] : candidate.owners) {
      if (of_position(*term)) shared_.own[e] -= squared(term->gains, term->u * term->u);
      shared_.of_epoch[e].push_back({shared_.count, std::sqrt(variance) * term->gains});
    }
    shared_.last_owner.push_back(candidate.owners.back().first);
    ++shared_.count;
  }

  SharedErrors shared_;
  std::map<std::string, std::vector<Candidate>> candidates_;
};

}  // namespace

SharedErrors shared_errors(const std::vector<Epoch>& epochs, double between_surveys_mm) {
  return Gathering(epochs, between_surveys_mm).run();
}

}  // namespace pivotrace
