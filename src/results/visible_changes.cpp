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

/// (draws x g) standard normal, correlated as these errors are.
Eigen::MatrixXd drawn_together(const Eigen::MatrixXd& errors, EvenDraws& random) {
  Eigen::MatrixXd z(draws, errors.rows());
  for (auto column : z.colwise()) column = random.normal();
  const Eigen::VectorXd sizes = errors.diagonal().cwiseMax(0.0).cwiseSqrt();
  const Eigen::VectorXd inverse = sizes.unaryExpr([](double s) { return s > 0.0 ? 1.0 / s : 0.0; });
  Eigen::MatrixXd correlation = inverse.asDiagonal() * errors * inverse.asDiagonal();
  correlation.diagonal().setConstant(1.0 + 1e-9);
  const Eigen::LLT<Eigen::MatrixXd> factor(correlation);
  if (factor.info() == Eigen::Success) z = z * Eigen::MatrixXd(factor.matrixL()).transpose();
  return z;
}

/// Of one variance with this relative error, drawn as `z`.
Eigen::VectorXd factors_of(const Eigen::VectorXd& z, double error, double about) {
  if (!(error > 0.0)) return Eigen::VectorXd::Ones(z.size());
  return about * z.unaryExpr([&](double drawn) { return factor_of(drawn, 2.0 / error); });
}

VarianceErrors errors_of_parts(const EpochPair& pair) {
  if (!pair.uncertain_parts.empty()) return pair.part_errors;
  const double dof = pair.reference.dof;
  return independent_variances(
      Eigen::MatrixXd::Constant(1, 1, std::isfinite(dof) ? 2.0 / dof : 0.0));
}

/// (draws x g) Per uncertain part: the true variance over what the part holds, and what the surveys find over that.
struct DrawnVariances {
  Eigen::MatrixXd truth;
  Eigen::MatrixXd found;
};

/// Errors of the parts, then of what is stated of those of the new survey: true over stated, which shares V with
/// true over pooled.
Eigen::MatrixXd errors_with_stated(const EpochPair& pair) {
  const Eigen::MatrixXd& errors = pair.part_errors.covariance;
  const Eigen::Index count = errors.rows();
  const auto after = static_cast<Eigen::Index>(pair.to_be_found->same_before.size());
  Eigen::MatrixXd all = Eigen::MatrixXd::Zero(count + after, count + after);
  all.topLeftCorner(count, count) = errors;
  const Eigen::Index first = count - after;
  for (Eigen::Index g = 0; g < after; ++g) {
    const double dof = pair.to_be_found->stated_dof[g];
    const double stated = std::isfinite(dof) && dof > 0.0 ? 2.0 / dof : 0.0;
    // No part is known worse than it is stated.
    all(count + g, count + g) = std::max(stated, errors(first + g, first + g));
    all.row(count + g).segment(first, after) = errors.row(first + g).tail(after);
    const Eigen::Index before = pair.to_be_found->same_before[static_cast<std::size_t>(g)];
    if (before >= 0) all.row(count + g).head(first) = errors.row(before).head(first);
    all.col(count + g).head(count) = all.row(count + g).head(count).transpose();
  }
  return all;
}

/// Of a survey to come: true over stated as the old survey found it, or as it is stated; what will be found is that
/// over true over pooled.
void foresee_found(const ToBeFound& to_be_found, const Eigen::MatrixXd& true_over_stated,
                   DrawnVariances& drawn) {
  const Eigen::Index after = true_over_stated.cols();
  const Eigen::Index first = drawn.truth.cols() - after;
  const auto set = [&](Eigen::Index part, const Eigen::VectorXd& truth) {
    drawn.found.col(part) = truth.cwiseQuotient(drawn.truth.col(part));
    drawn.truth.col(part) = truth;
  };
  for (Eigen::Index g = 0; g < after; ++g) {
    const Eigen::Index before = to_be_found.same_before[static_cast<std::size_t>(g)];
    if (before >= 0 && !to_be_found.old_too) {
      set(first + g, to_be_found.known_ratio[g] * drawn.truth.col(before));
      continue;
    }
    set(first + g, true_over_stated.col(g));
    if (before >= 0) set(before, true_over_stated.col(g));
  }
}

DrawnVariances drawn_variances(const EpochPair& pair, EvenDraws& random) {
  const VarianceErrors variances = errors_of_parts(pair);
  const Eigen::MatrixXd& errors = variances.covariance;
  const Eigen::Index count = errors.rows();
  const VarianceErrors alone = independent_variances(errors);
  const Eigen::MatrixXd all = pair.to_be_found ? errors_with_stated(pair) : errors;
  const Eigen::MatrixXd z = drawn_together(all, random);
  DrawnVariances drawn;
  drawn.truth.resize(draws, count);
  for (Eigen::Index g = 0; g < count; ++g) {
    drawn.truth.col(g) = factors_of(z.col(g), errors(g, g), variances.means[g] / alone.means[g]);
  }
  drawn.found.setOnes(draws, count);
  if (!pair.to_be_found) return drawn;
  Eigen::MatrixXd true_over_stated(draws, all.rows() - count);
  for (Eigen::Index g = 0; g < true_over_stated.cols(); ++g) {
    true_over_stated.col(g) = factors_of(z.col(count + g), all(count + g, count + g), 1.0);
  }
  foresee_found(*pair.to_be_found, true_over_stated, drawn);
  return drawn;
}

/// Where nobody tells the parts: all of it, as well known as T says.
std::vector<Eigen::MatrixXd> whitened_parts(const EpochPair& pair, const Eigen::MatrixXd& whiten) {
  const Eigen::Index h = whiten.rows();
  if (pair.uncertain_parts.empty()) return {Eigen::MatrixXd::Identity(h, h)};
  std::vector<Eigen::MatrixXd> parts;
  for (const Eigen::MatrixXd& part : pair.uncertain_parts) {
    parts.emplace_back(whiten * part * whiten.transpose());
  }
  return parts;
}

/// (h x draws) of unit covariance but for the factors.
Eigen::MatrixXd drawn_noise(const std::vector<Eigen::MatrixXd>& parts,
                            const Eigen::MatrixXd& factors, Eigen::MatrixXd noise) {
  const Eigen::Index h = noise.rows();
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

/// (draws) What `found` makes of a variance that these shares of it are parts of.
Eigen::VectorXd found_of(const Eigen::MatrixXd& found, const Eigen::VectorXd& shares) {
  constexpr double least = 0.01;
  return (1.0 + ((found.array() - 1.0).matrix() * shares).array()).max(least);
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
    : grant_(pair.covariance, pair.bias.gains, pair.bias.half_widths) {
  const Eigen::MatrixXd& whiten = grant_.whiten();
  const Eigen::Index h = whiten.rows();
  const auto width = static_cast<double>(h);
  EvenDraws random;
  Eigen::MatrixXd noise(h, draws);
  for (Eigen::Index i = 0; i < h; ++i) noise.row(i) = random.normal().transpose();
  const std::vector<Eigen::MatrixXd> parts = whitened_parts(pair, whiten);
  const DrawnVariances variances = drawn_variances(pair, random);
  noise = drawn_noise(parts, variances.truth, std::move(noise));
  const Eigen::MatrixXd biases = pair.bias.gains * drawn_biases(pair.bias, random);
  seen_ = noise + whiten * biases;
  // C W' undoes W on what W sees.
  values_ = pair.covariance * whiten.transpose() * noise + biases;
  Eigen::VectorXd of_test(static_cast<Eigen::Index>(parts.size()));
  for (std::size_t g = 0; g < parts.size(); ++g) {
    of_test[static_cast<Eigen::Index>(g)] = parts[g].trace() / std::max(1.0, width);
  }
  limits_ = pair.reference.scale * width *
            f_quantile(1.0 - moved_level, width, pair.reference.dof) *
            found_of(variances.found, of_test);
  U95_.resize(U95.size(), draws);
  for (Eigen::Index i = 0; i < U95.size(); ++i) {
    Eigen::VectorXd of_value = Eigen::VectorXd::Zero(of_test.size());
    for (std::size_t g = 0; g < pair.uncertain_parts.size(); ++g) {
      of_value[static_cast<Eigen::Index>(g)] =
          pair.uncertain_parts[g](i, i) / pair.covariance(i, i);
    }
    U95_.row(i) = U95[i] * found_of(variances.found, of_value).cwiseSqrt().transpose();
  }
}

bool VisibleChanges::shows(std::size_t draw, Eigen::Index value, double change) const {
  const auto k = static_cast<Eigen::Index>(draw);
  if (std::abs(values_(value, k) + change) <= U95_(value, k)) return false;
  return grant_.leaves_more(seen_.col(k) + change * grant_.whiten().col(value), limits_[k]);
}

// Bisection, of the draws that are still open alone.
double VisibleChanges::smallest(Eigen::Index value) const {
  if (grant_.rank() == 0 || !limits_.allFinite()) return not_run;
  const auto wanted = static_cast<std::size_t>(visible_power * static_cast<double>(draws));
  std::vector<std::size_t> open(static_cast<std::size_t>(draws));
  std::iota(open.begin(), open.end(), 0);
  std::size_t found = 0;
  double low = 0.0;
  double high = 0.0;
  double middle = U95_.row(value).mean();
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
