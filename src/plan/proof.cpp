#include "plan/proof.h"

#include <algorithm>
#include <cmath>
#include <limits>

namespace pivotrace {

namespace {

constexpr double normal_95 = 1.959963984540054;
constexpr int iterations = 60;
constexpr int iterations_more = 30;
constexpr double gap = 0.01;
/// Effects with a prior this many times as wide as their bound show the least bias a survey can have.
constexpr double mostly_bias = 100.0;
/// Something is known that well where it is to count as known [share of its bound].
constexpr double as_good_as_known = 1e-4;

/// q(t): U^2 / u^2 where B^2 / u^2 is t.
double quantile_over(double t) {
  const double U = VisitMaker::expanded({1.0, std::sqrt(t)});
  return U * U;
}

/// Largest x with x q(y / x) <= square: the u^2 that B^2 = y leaves room for; 0 where there is none.
double most_u_square(double y, double square) {
  if (y >= square) return 0.0;
  double low = 0.0, high = square / (normal_95 * normal_95);
  for (int halving = 0; halving < 60; ++halving) {
    const double x = 0.5 * (low + high);
    (x * quantile_over(y / std::max(x, 1e-300)) <= square ? low : high) = x;
  }
  return high;
}

double most_bias_square(double x, double square) {
  double low = 0.0, high = square;
  if (x * quantile_over(0.0) >= square) return 0.0;
  for (int halving = 0; halving < 60; ++halving) {
    const double y = 0.5 * (low + high);
    (x * quantile_over(y / x) <= square ? low : high) = y;
  }
  return high;
}

class Prover {
 public:
  Prover(const ProofTask& task, const Eigen::VectorXd& start)
      : task_(task),
        maker_(task.rows.maker),
        values_(static_cast<Eigen::Index>(task.wanted.size())),
        share_(start) {
    scale_.resize(values_);
    for (Eigen::Index k = 0; k < values_; ++k) {
      scale_[k] = task.wanted[static_cast<std::size_t>(k)].scale();
    }
    list_effects();
    extend_visits();
    prior_with_visits_.assign(maker_.shared().size(), true);
    chords_.assign(static_cast<std::size_t>(values_),
                   chord_below(0.0, std::numeric_limits<double>::infinity()));
  }

  Eigen::VectorXd share() {
    return relaxed_design(design_task(), iterations_more, gap, share_).share;
  }

  void prove(Certificate& proof) {
    RelaxedDesign best = relaxed_design(design_task(), iterations, gap, share_);
    if (has_bounds()) best = with_bias(best);
    best = with_priors_once(best);
    proof.bound = best.least_ratio;
    proof.reached = task_.reached;
    proof.vectors = best.vectors;
    proof.weights = best.weights;
    proof.prior_with_visits = prior_with_visits_;
    proof.effects = effects_;
    proof.effect_sizes = sizes_;
    proof.bounded_from = first_bounded_;
    proof.of_u.resize(values_);
    proof.of_B.resize(values_);
    for (Eigen::Index k = 0; k < values_; ++k) {
      proof.of_u[k] = chords_[static_cast<std::size_t>(k)].of_u;
      proof.of_B[k] = chords_[static_cast<std::size_t>(k)].of_B;
    }
  }

 private:
  bool has_bounds() const { return first_bounded_ < static_cast<int>(effects_.size()); }

  /// Those of some size, but for drift.
  void list_effects() {
    const Eigen::VectorXd widths = maker_.bounds();
    const int common = maker_.common_effects();
    const int drift = maker_.first_drift_effect();
    const auto add = [&](int effect, double size) {
      if (!(size > 0.0)) return;
      effects_.push_back(effect);
      sizes_.conservativeResize(static_cast<Eigen::Index>(effects_.size()));
      sizes_[sizes_.size() - 1] = size;
    };
    for (int j = 0; j < common; ++j) {
      const Eigen::VectorXd one = Eigen::VectorXd::Unit(maker_.effects(), j);
      add(j, maker_.prospect(0.0, one, Eigen::VectorXd::Zero(widths.size())).u);
    }
    first_bounded_ = static_cast<int>(effects_.size());
    for (int j = common; j < maker_.effects(); ++j) {
      if (drift >= 0 && j >= drift && j < drift + 3) continue;
      add(j, widths[j - common]);
    }
  }

  /// Effects stand between the unknowns and what visits share.
  void extend_visits() {
    const Eigen::Index p = maker_.unknowns();
    const auto e = static_cast<Eigen::Index>(effects_.size());
    by_unknown_ = Eigen::MatrixXd::Zero(p + e, values_);
    by_unknown_.topRows(p) = maker_.by_unknown();
    visits_.reserve(task_.rows.visits.size());
    for (const Visit& visit : task_.rows.visits) {
      Visit more;
      more.shared = visit.shared;
      more.rows.resize(visit.rows.rows(), visit.rows.cols() + e);
      more.rows << visit.rows.leftCols(p), visit.effects(Eigen::all, effects_),
          visit.rows.rightCols(visit.rows.cols() - p);
      visits_.push_back(std::move(more));
    }
  }

  /// `common`, `bounded`: standard deviation of the effects in shares of their size.
  Eigen::MatrixXd known_before(double common, double bounded) const {
    const Eigen::Index p = maker_.unknowns();
    Eigen::MatrixXd known = Eigen::MatrixXd::Zero(by_unknown_.rows(), by_unknown_.rows());
    known.topLeftCorner(p, p) = maker_.known_before();
    for (Eigen::Index j = 0; j < sizes_.size(); ++j) {
      const double sigma = sizes_[j] * (j < first_bounded_ ? common : bounded);
      known(p + j, p + j) = 1.0 / (sigma * sigma);
    }
    return known;
  }

  DesignTask task_with(std::vector<Eigen::MatrixXd> known, Eigen::VectorXd scale) const {
    return {visits_,
            by_unknown_,
            std::move(known),
            maker_.shared(),
            task_.least_minutes,
            task_.total_minutes,
            std::move(scale),
            Eigen::VectorXd::Zero(values_),
            prior_with_visits_};
  }

  /// Its least_ratio is the bound on U95 / scale itself.
  DesignTask design_task() const {
    std::vector<Eigen::MatrixXd> known;
    Eigen::VectorXd scale(values_);
    for (Eigen::Index k = 0; k < values_; ++k) {
      const Chord& chord = chords_[static_cast<std::size_t>(k)];
      known.push_back(known_before(1.0, std::sqrt(chord.of_B / chord.of_u)));
      scale[k] = scale_[k] / std::sqrt(chord.of_u);
    }
    if (!has_bounds()) known.resize(1);
    return task_with(std::move(known), std::move(scale));
  }

  /// No survey finds an effect to be smaller than this, with all common terms known.
  void shrink_to_what_can_be_found(const Eigen::VectorXd& share) {
    const Eigen::Index p = maker_.unknowns();
    const auto bounded = static_cast<Eigen::Index>(effects_.size()) - first_bounded_;
    DesignTask task = task_with({known_before(as_good_as_known, 1.0)}, Eigen::VectorXd::Ones(1));
    task.by_unknown = Eigen::MatrixXd::Zero(by_unknown_.rows(), bounded);
    for (Eigen::Index j = 0; j < bounded; ++j) task.by_unknown(p + first_bounded_ + j, j) = 1.0;
    const Eigen::VectorXd least = least_variances(task, share);
    Eigen::MatrixXd covariance = maker_.bounds().cwiseAbs2().asDiagonal().toDenseMatrix();
    for (Eigen::Index j = 0; j < bounded; ++j) {
      const int at =
          effects_[static_cast<std::size_t>(first_bounded_ + j)] - maker_.common_effects();
      covariance(at, at) = least[j];
    }
    const Eigen::VectorXd found = maker_.found_bounds(covariance);
    for (Eigen::Index j = 0; j < bounded; ++j) {
      const int at =
          effects_[static_cast<std::size_t>(first_bounded_ + j)] - maker_.common_effects();
      sizes_[first_bounded_ + j] = std::min(sizes_[first_bounded_ + j], found[at]);
    }
  }

  /// A survey that beats the plan has every U below reached * scale: how u and B can then share it.
  void narrow_chords(const Eigen::VectorXd& share) {
    const Eigen::VectorXd least_u =
        least_variances(task_with({known_before(1.0, as_good_as_known)}, scale_), share);
    const Eigen::VectorXd mixed =
        least_variances(task_with({known_before(1.0, mostly_bias)}, scale_), share);
    for (Eigen::Index k = 0; k < values_; ++k) {
      const double square = std::pow(task_.reached * scale_[k], 2);
      const double most_u = square / (normal_95 * normal_95);
      const double least_B = std::max(0.0, (mixed[k] - most_u) / (mostly_bias * mostly_bias));
      const double low = least_B / std::max(most_u_square(least_B, square), 1e-12 * square);
      const double high =
          most_bias_square(least_u[k], square) / std::max(least_u[k], 1e-12 * square);
      if (low < high) chords_[static_cast<std::size_t>(k)] = chord_below(low, high);
    }
  }

  RelaxedDesign with_bias(const RelaxedDesign& without) {
    RelaxedDesign best = without;
    shrink_to_what_can_be_found(best.share);
    for (int round = 0; round < 2; ++round) {
      narrow_chords(best.share);
      best = relaxed_design(design_task(), iterations_more, gap, best.share);
    }
    return best;
  }

  /// Whether a prior counts once or with every visit: whichever proves more, axis by axis.
  RelaxedDesign with_priors_once(RelaxedDesign best) {
    for (const int axis : task_.axes) {
      const std::vector<bool> before = prior_with_visits_;
      for (std::size_t k = 0; k < before.size(); ++k) {
        if (maker_.shared()[k].axis == axis) prior_with_visits_[k] = false;
      }
      RelaxedDesign design = relaxed_design(design_task(), iterations_more, gap, best.share);
      if (design.least_ratio > best.least_ratio) {
        best = std::move(design);
      } else {
        prior_with_visits_ = before;
      }
    }
    return best;
  }

  const ProofTask& task_;
  const VisitMaker& maker_;
  Eigen::Index values_;
  Eigen::VectorXd share_;
  Eigen::VectorXd scale_;
  std::vector<int> effects_;
  int first_bounded_ = 0;
  Eigen::VectorXd sizes_;  ///< of the effects: standard uncertainty, or half-width
  std::vector<Visit> visits_;
  Eigen::MatrixXd by_unknown_;
  std::vector<bool> prior_with_visits_;
  std::vector<Chord> chords_;
};

}  // namespace

Chord chord_below(double low, double high) {
  const double at_low = quantile_over(low);
  if (!std::isfinite(high)) return {at_low - low, 1.0};
  if (high - low < 1e-9 * (1.0 + low)) return {at_low / (1.0 + low), at_low / (1.0 + low)};
  const double slope = (quantile_over(high) - at_low) / (high - low);
  return {at_low - slope * low, slope};
}

Eigen::VectorXd share_with_bias(const ProofTask& task, const Eigen::VectorXd& start) {
  return Prover(task, start).share();
}

void prove(const ProofTask& task, const Eigen::VectorXd& start, Certificate& proof) {
  Prover(task, start).prove(proof);
}

}  // namespace pivotrace
