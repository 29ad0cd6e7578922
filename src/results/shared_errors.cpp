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

std::string indexing_key(const SharedTerm& term, const Conditions& conditions) {
  return std::string(1, term.axis) + std::to_string(term.side) + std::to_string(term.component) +
         "\n" + word(conditions.tables_on) + "\n" + word(conditions.clamped);
}

std::optional<std::string> effect_key(const SharedTerm& term, const Conditions& conditions) {
  const std::string name = text_of(term.effect);
  switch (term.effect.kind) {
    case EffectKind::scale:
    case EffectKind::squareness: return name + "\n" + word(conditions.tables_on);
    case EffectKind::stylus_offset: break;
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

/// Before it is known which results have it.
struct Candidate {
  SharedTerm first;
  Eigen::Vector3d origin_mm;
  std::vector<std::pair<std::size_t, const SharedTerm*>> owners;

  bool is(const SharedTerm& term, const Eigen::Vector3d& origin) const {
    return same_term(first, term) &&
           (first.kind != Kind::effect || (origin - origin_mm).norm() <= same_place_mm);
  }
};

Eigen::MatrixXd squared(const Eigen::VectorXd& gains, double variance) {
  return variance * gains * gains.transpose();
}

class Gathering {
 public:
  Gathering(const std::vector<Epoch>& epochs, double between_surveys_mm) {
    shared_.of_epoch.resize(epochs.size());
    const double variance = between_surveys_mm * between_surveys_mm / 3.0;
    for (std::size_t e = 0; e < epochs.size(); ++e) {
      const Epoch& epoch = epochs[e];
      shared_.own.push_back((epoch.gains.terms.empty() ? epoch.covariance : epoch.repeatable) +
                            variance * epoch.shift_gains * epoch.shift_gains.transpose());
      for (const SharedTerm& term : epoch.gains.terms) {
        if (term.u > 0.0) add(e, epoch, term);
      }
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
        known, [&](const Candidate& c) { return c.is(term, epoch.gains.origin_mm); });
    if (same == known.end()) {
      known.push_back({term, epoch.gains.origin_mm, {}});
      same = known.end() - 1;
    }
    same->owners.emplace_back(e, &term);
  }

  /// What a position draws is in the repeatable part already.
  void add_own(std::size_t e, const SharedTerm& term) {
    if (!of_position(term)) shared_.own[e] += squared(term.gains, term.u * term.u);
  }

  void settle(const Candidate& candidate) {
    if (candidate.owners.size() == 1) {
      add_own(candidate.owners.front().first, *candidate.owners.front().second);
      return;
    }
    // Each result estimated the size of what all have: their mean stands for it.
    double variance = 0.0;
    for (const auto& [e, term] : candidate.owners) {
      variance += term->u * term->u / static_cast<double>(candidate.owners.size());
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
