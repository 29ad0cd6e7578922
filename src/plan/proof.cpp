#include "plan/proof.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "plan/design_information.h"
#include "plan/interior_design.h"

namespace pivotrace {

namespace {

constexpr double normal_95 = 1.959963984540054;
constexpr int iterations = 30;
constexpr int iterations_more = 50;
/// Kinds of surveys are split, or so often, until the chords of the kind with the least bound lie no further below
/// what they stand for [share of the bound's square].
constexpr std::size_t most_splits = 6;
constexpr double worth_splitting = 0.008;
constexpr double gap = 0.01;
constexpr int iterations_near = 20;
/// What the weakest kinds leave between what is proven and what a fractional survey reaches.
constexpr double sharp_gap = 0.0005;
/// Enough to see where to split a kind.
constexpr double rough_gap = 0.02;
/// Multiplications for that: a few seconds.
constexpr double sharp_work = 3e10;
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
    prior_with_visits_.setOnes(static_cast<Eigen::Index>(maker_.shared().size()));
    all_.ratios.assign(static_cast<std::size_t>(values_),
                       {0.0, std::numeric_limits<double>::infinity()});
  }

  /// With every prior counted with the visits: a start for whole visits has to be near, not proven.
  Eigen::VectorXd share() {
    DesignTask task = design_task(all_);
    task.balance_priors = false;
    return relaxed_design(task, iterations, gap, share_).share;
  }

  void prove(Certificate& proof) {
    all_.design = relaxed_design(design_task(all_), iterations, gap, share_);
    if (has_bounds()) narrow(all_.design.share);
    DesignTask task = design_task(all_);
    task.prior_with_visits = all_.design.prior_with_visits;
    all_.design = relaxed_design(task, iterations_near, gap, all_.design.share);
    std::vector<Kind> kinds = {all_};
    while (sharpen_weakest(kinds) || split_weakest(kinds)) {
    }
    proof.reached = task_.reached;
    proof.effects = effects_;
    proof.effect_sizes = sizes_;
    proof.bounded_from = first_bounded_;
    proof.bound = task_.reached;
    for (const Kind& kind : kinds) {
      proof.parts.push_back(part_of(kind));
      proof.bound = std::min(proof.bound, proof.parts.back().bound);
    }
  }

 private:
  /// Surveys whose B^2 / u^2 of every value lies between these two.
  struct Ratios {
    double low = 0.0;
    double high = 0.0;
  };
  struct Kind {
    std::vector<Ratios> ratios;
    RelaxedDesign design;
    double gap = 1.0;  ///< left between bound and fractional survey [share of the latter]

    Chord chord(Eigen::Index value) const {
      const Ratios& between = ratios[static_cast<std::size_t>(value)];
      return chord_below(between.low, between.high);
    }
  };

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
            prior_with_visits_,
            true};
  }

  /// Its least_ratio is the bound on U95 / scale itself.
  DesignTask design_task(const Kind& kind) const {
    std::vector<Eigen::MatrixXd> known;
    Eigen::VectorXd scale(values_);
    for (Eigen::Index k = 0; k < values_; ++k) {
      const Chord chord = kind.chord(k);
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
  void narrow_ratios(const Eigen::VectorXd& share) {
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
      if (low < high) all_.ratios[static_cast<std::size_t>(k)] = {low, high};
    }
  }

  void narrow(const Eigen::VectorXd& share) {
    shrink_to_what_can_be_found(share);
    narrow_ratios(share);
    all_.design = relaxed_design(design_task(all_), iterations_more, gap, share);
    narrow_ratios(all_.design.share);
  }

  /// What proved something of a wider kind proves no less of a part of it.
  void prove_part(Kind& part, const RelaxedDesign& wider) const {
    const DesignTask task = design_task(part);
    DesignInformation information(task);
    information.count_priors(wider.prior_with_visits);
    const Eigen::VectorXd gains = information.per_minute(wider.vectors) * wider.weights;
    part.design = wider;
    part.design.least_ratio =
        information.proven_ratio(wider.vectors, wider.weights, gains.maxCoeff());
    part.gap = 1.0;
  }

  /// u^2 and B^2 of a value in the fractional survey a bound comes from. Of c'M^-1 c the effect j makes
  /// a_j^2 / sigma_j^2, sigma_j^2 = of_B / of_u w_j^2 what it is taken to have beforehand.
  struct Shares {
    double of_touches = 0.0;
    double of_effects = 0.0;
  };
  Shares shares_at(const Kind& kind, Eigen::Index value) const {
    const Chord chord = kind.chord(value);
    const Eigen::Index p = maker_.unknowns();
    const auto vector = kind.design.vectors.col(value);
    const Eigen::Index bounded = sizes_.size() - first_bounded_;
    const double sum = vector.segment(p + first_bounded_, bounded)
                           .cwiseQuotient(sizes_.tail(bounded))
                           .squaredNorm();
    const double all = by_unknown_.col(value).dot(vector.head(by_unknown_.rows()));
    const double times = chord.of_u / chord.of_B;
    return {std::max(all - times * sum, 1e-12 * all), times * times * sum};
  }

  /// How far the chords of a kind lie below what they stand for, value by value, as shares of the bound's square.
  Eigen::VectorXd slack_of_chords(const Kind& kind) const {
    Eigen::VectorXd slack(values_);
    double sum = 0.0;
    for (Eigen::Index k = 0; k < values_; ++k) {
      const Chord chord = kind.chord(k);
      const Shares at = shares_at(kind, k);
      const double on_chord = at.of_touches + chord.of_B / chord.of_u * at.of_effects;
      const double whole = at.of_touches * quantile_over(at.of_effects / at.of_touches);
      slack[k] = kind.design.weights[k] * (whole / chord.of_u - on_chord);
      sum += kind.design.weights[k] * on_chord;
    }
    return slack / sum;
  }

  static std::vector<Kind>::iterator weakest_of(std::vector<Kind>& kinds) {
    return std::ranges::min_element(kinds, {},
                                    [](const Kind& kind) { return kind.design.least_ratio; });
  }

  bool is_to_split(const std::vector<Kind>& kinds, const Kind& weakest) const {
    return has_bounds() && kinds.size() <= most_splits && work_left_ > 0.0 &&
           weakest.design.vectors.size() > 0 &&
           slack_of_chords(weakest).maxCoeff() >= worth_splitting;
  }

  /// Roughly where it is split next; false where it is sharp already.
  bool sharpen_weakest(std::vector<Kind>& kinds) {
    Kind& weakest = *weakest_of(kinds);
    const double wanted = is_to_split(kinds, weakest) ? rough_gap : sharp_gap;
    if (weakest.gap <= wanted) return false;
    if (task_.tick) task_.tick();
    weakest.design = sharpened_design(design_task(weakest), weakest.design, wanted, work_left_);
    weakest.gap = wanted;
    return true;
  }

  /// Splits the kind of the least bound where its chord lies furthest below; false where that is near enough.
  bool split_weakest(std::vector<Kind>& kinds) const {
    const auto weakest = weakest_of(kinds);
    if (!is_to_split(kinds, *weakest)) return false;
    Eigen::Index value = 0;
    slack_of_chords(*weakest).maxCoeff(&value);
    const Shares at = shares_at(*weakest, value);
    const double between = at.of_effects / at.of_touches;
    const auto k = static_cast<std::size_t>(value);
    Kind below = *weakest;
    if (!(between > below.ratios[k].low && between < below.ratios[k].high)) return false;
    Kind above = below;
    below.ratios[k].high = between;
    above.ratios[k].low = between;
    prove_part(below, weakest->design);
    prove_part(above, weakest->design);
    *weakest = std::move(below);
    kinds.push_back(std::move(above));
    return true;
  }

  ProofPart part_of(const Kind& kind) const {
    ProofPart part;
    for (auto* list : {&part.low, &part.high, &part.of_u, &part.of_B}) list->resize(values_);
    for (Eigen::Index k = 0; k < values_; ++k) {
      const Ratios& between = kind.ratios[static_cast<std::size_t>(k)];
      const Chord chord = kind.chord(k);
      part.low[k] = between.low;
      part.high[k] = between.high;
      part.of_u[k] = chord.of_u;
      part.of_B[k] = chord.of_B;
    }
    part.bound = kind.design.least_ratio;
    part.vectors = kind.design.vectors;
    part.weights = kind.design.weights;
    part.prior_with_visits = kind.design.prior_with_visits;
    return part;
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
  Eigen::VectorXd prior_with_visits_;
  Kind all_;
  double work_left_ = sharp_work;
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
