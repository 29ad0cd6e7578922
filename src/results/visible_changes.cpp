#include "results/visible_changes.h"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <numeric>
#include <random>

#include "pivotrace/results/statistics.h"

namespace pivotrace {

namespace {

constexpr Eigen::Index draws = 1000;

/// One coordinate after the other, each spread evenly over the draws and shuffled.
class EvenDraws {
 public:
  Eigen::VectorXd normal() {
    return next([](double p) { return normal_quantile(p); });
  }
  /// Within 0 .. 1.
  Eigen::VectorXd even() {
    return next([](double p) { return p; });
  }

 private:
  template <typename Quantile>
  Eigen::VectorXd next(const Quantile& quantile) {
    Eigen::VectorXd drawn(draws);
    for (Eigen::Index k = 0; k < draws; ++k) {
      drawn[k] = quantile((static_cast<double>(k) + 0.5) / static_cast<double>(draws));
    }
    // std::shuffle does not give the same order with every library.
    for (Eigen::Index k = draws - 1; k > 0; --k) {
      const auto other = static_cast<Eigen::Index>(engine_() % static_cast<std::uint64_t>(k + 1));
      std::swap(drawn[k], drawn[other]);
    }
    return drawn;
  }

  std::mt19937_64 engine_{20260302};
};

/// n / chi2(n) of a standard normal draw, by the cube of a normal variable (E. B. Wilson and
/// M. M. Hilferty, Proc. Natl. Acad. Sci. 17, 1931).
double factor_of(double z, double dof) {
  const double part = 2.0 / (9.0 * dof);
  constexpr double least = 0.05;
  const double root = std::max(least, 1.0 - part + z * std::sqrt(part));
  return 1.0 / (root * root * root);
}

/// (draws x g) factors of the variances, correlated as their errors are.
Eigen::MatrixXd drawn_factors(const VarianceErrors& variances, EvenDraws& random) {
  const Eigen::MatrixXd& errors = variances.covariance;
  const VarianceErrors alone = independent_variances(errors);
  const Eigen::Index count = errors.rows();
  Eigen::MatrixXd z(draws, count);
  for (Eigen::Index g = 0; g < count; ++g) z.col(g) = random.normal();
  const Eigen::VectorXd sizes = errors.diagonal().cwiseMax(0.0).cwiseSqrt();
  const Eigen::VectorXd inverse = sizes.unaryExpr([](double s) { return s > 0.0 ? 1.0 / s : 0.0; });
  Eigen::MatrixXd correlation = inverse.asDiagonal() * errors * inverse.asDiagonal();
  correlation.diagonal().setConstant(1.0 + 1e-9);
  const Eigen::LLT<Eigen::MatrixXd> factor(correlation);
  if (factor.info() == Eigen::Success) z = z * Eigen::MatrixXd(factor.matrixL()).transpose();
  for (Eigen::Index g = 0; g < count; ++g) {
    const bool exact = !(sizes[g] > 0.0);
    const double dof = exact ? 0.0 : 2.0 / (sizes[g] * sizes[g]);
    const double about = variances.means[g] / alone.means[g];
    for (double& drawn : z.col(g)) drawn = exact ? 1.0 : about * factor_of(drawn, dof);
  }
  return z;
}

/// (h x draws) of unit covariance but for the factors.
Eigen::MatrixXd drawn_noise(const EpochPair& pair, const Eigen::MatrixXd& whiten,
                            EvenDraws& random) {
  const Eigen::Index h = whiten.rows();
  Eigen::MatrixXd noise(h, draws);
  for (Eigen::Index i = 0; i < h; ++i) noise.row(i) = random.normal().transpose();
  std::vector<Eigen::MatrixXd> parts;
  VarianceErrors errors = pair.part_errors;
  if (pair.uncertain_parts.empty()) {
    parts.push_back(Eigen::MatrixXd::Identity(h, h));
    const double dof = pair.reference.dof;
    errors = independent_variances(
        Eigen::MatrixXd::Constant(1, 1, std::isfinite(dof) ? 2.0 / dof : 0.0));
  } else {
    for (const Eigen::MatrixXd& part : pair.uncertain_parts) {
      parts.emplace_back(whiten * part * whiten.transpose());
    }
  }
  const Eigen::MatrixXd factors = drawn_factors(errors, random);
  for (Eigen::Index k = 0; k < draws; ++k) {
    Eigen::MatrixXd covariance = Eigen::MatrixXd::Identity(h, h);
    for (std::size_t g = 0; g < parts.size(); ++g) {
      covariance += (factors(k, static_cast<Eigen::Index>(g)) - 1.0) * parts[g];
    }
    const Eigen::LLT<Eigen::MatrixXd> root(covariance);
    // Parts that differ between surveys may be a little below 0 in some direction.
    if (root.info() == Eigen::Success) noise.col(k) = root.matrixL() * noise.col(k);
  }
  return noise;
}

/// (b x draws): each component anywhere within its bound, or all of an effect within the length of theirs.
Eigen::MatrixXd drawn_biases(const BiasColumns& bias, EvenDraws& random) {
  Eigen::MatrixXd drawn(bias.gains.cols(), draws);
  for (const BiasColumns::Effect& effect : bias.effects) {
    const auto rows = Eigen::seqN(effect.first, effect.count);
    for (Eigen::Index j = effect.first; j < effect.first + effect.count; ++j) {
      drawn.row(j) = effect.by_length ? Eigen::RowVectorXd(random.normal().transpose())
                                      : (2.0 * random.even().array() - 1.0).matrix().transpose();
    }
    if (effect.by_length && effect.count > 0) {
      const Eigen::VectorXd radius =
          random.even().array().pow(1.0 / static_cast<double>(effect.count));
      for (Eigen::Index k = 0; k < draws; ++k) {
        drawn(rows, k) *= radius[k] / drawn(rows, k).norm();
      }
    }
  }
  return bias.half_widths.asDiagonal() * drawn;
}

}  // namespace

VisibleChanges::VisibleChanges(const EpochPair& pair, const Eigen::VectorXd& U95)
    : grant_(pair.covariance, pair.bias.gains, pair.bias.half_widths), U95_(U95) {
  const Eigen::MatrixXd& whiten = grant_.whiten();
  const auto h = static_cast<double>(grant_.rank());
  limit_ = pair.reference.scale * h * f_quantile(1.0 - moved_level, h, pair.reference.dof);
  EvenDraws random;
  const Eigen::MatrixXd noise = drawn_noise(pair, whiten, random);
  const Eigen::MatrixXd biases = pair.bias.gains * drawn_biases(pair.bias, random);
  seen_ = noise + whiten * biases;
  // C W' undoes W on what W sees.
  values_ = pair.covariance * whiten.transpose() * noise + biases;
}

bool VisibleChanges::shows(std::size_t draw, Eigen::Index value, double change) const {
  const auto k = static_cast<Eigen::Index>(draw);
  if (std::abs(values_(value, k) + change) <= U95_[value]) return false;
  return grant_.leaves_more(seen_.col(k) + change * grant_.whiten().col(value), limit_);
}

// Bisection, of the draws that are still open alone.
double VisibleChanges::smallest(Eigen::Index value) const {
  if (grant_.rank() == 0 || !std::isfinite(limit_)) return not_run;
  const auto wanted = static_cast<std::size_t>(visible_power * static_cast<double>(draws));
  std::vector<std::size_t> open(static_cast<std::size_t>(draws));
  std::iota(open.begin(), open.end(), 0);
  std::size_t found = 0;
  double low = 0.0;
  double high = 0.0;
  double middle = U95_[value];
  constexpr int most_steps = 60;
  for (int step = 0; step < most_steps && !open.empty(); ++step) {
    const auto others = std::partition(open.begin(), open.end(),
                                       [&](std::size_t k) { return shows(k, value, middle); });
    const auto here = static_cast<std::size_t>(others - open.begin());
    if (found + here >= wanted) {
      high = middle;
      open.erase(others, open.end());
    } else {
      low = middle;
      found += here;
      open.erase(open.begin(), others);
    }
    middle = high > 0.0 ? 0.5 * (low + high) : 2.0 * middle;
    if (high > 0.0 && high - low < 1e-5 * high) break;
  }
  return middle;
}

}  // namespace pivotrace
