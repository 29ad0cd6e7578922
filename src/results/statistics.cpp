#include "pivotrace/results/statistics.h"

#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/fisher_f.hpp>
#include <boost/math/distributions/non_central_chi_squared.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <cmath>
#include <limits>

#include "results/quiet_policy.h"

namespace pivotrace {
namespace {

namespace bm = boost::math;

using Normal = bm::normal_distribution<double, Quiet>;
using StudentT = bm::students_t_distribution<double, Quiet>;
using ChiSquared = bm::chi_squared_distribution<double, Quiet>;
using FisherF = bm::fisher_f_distribution<double, Quiet>;
using NoncentralChiSquared = bm::non_central_chi_squared_distribution<double, Quiet>;

constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();
constexpr double infinity = std::numeric_limits<double>::infinity();

bool is_probability(double p) { return p >= 0.0 && p <= 1.0; }
bool is_dof(double dof) { return dof > 0.0; }
bool is_finite_dof(double dof) { return dof > 0.0 && std::isfinite(dof); }

}  // namespace

double normal_quantile(double p) {
  if (!is_probability(p)) return not_a_number;
  if (p == 0.0) return -infinity;
  if (p == 1.0) return infinity;
  return bm::quantile(Normal(), p);
}

double normal_cdf(double z) {
  if (std::isnan(z)) return not_a_number;
  return bm::cdf(Normal(), z);
}

double student_t_quantile(double p, double dof) {
  if (!is_probability(p) || !is_dof(dof)) return not_a_number;
  if (std::isinf(dof)) return normal_quantile(p);
  if (p == 0.0) return -infinity;
  if (p == 1.0) return infinity;
  return bm::quantile(StudentT(dof), p);
}

double student_t_cdf(double t, double dof) {
  if (std::isnan(t) || !is_dof(dof)) return not_a_number;
  if (std::isinf(dof)) return normal_cdf(t);
  return bm::cdf(StudentT(dof), t);
}

namespace {

/// Root of a function that grows, between a place where it is below 0 and one where it is above: regula
/// falsi with halving (Illinois). Ends where the function is within `tolerance` of 0.
template <class F>
double root_between(const F& f, double low, double f_low, double high, double f_high,
                    double tolerance) {
  for (int step = 0; step < 60 && high - low > 1e-13 * high; ++step) {
    const double next = (low * f_high - high * f_low) / (f_high - f_low);
    const double f_next = f(next);
    if (std::abs(f_next) < tolerance) return next;
    if (f_next < 0.0) {
      low = next;
      f_low = f_next;
      f_high *= 0.5;
    } else {
      high = next;
      f_high = f_next;
      f_low *= 0.5;
    }
  }
  return 0.5 * (low + high);
}

}  // namespace

double square_widening(double dof) {
  const double ratio = student_t_quantile(0.975, dof) / normal_quantile(0.975);
  return ratio * ratio - 1.0;
}

// 1 / dof grows with the widening, nearly in proportion: t = z + z (z^2 + 1) / (4 dof) + ...
double dof_of_square_widening(double widening) {
  if (!(widening >= 0.0) || std::isinf(widening)) return not_a_number;
  constexpr double least = 1e-9;
  if (widening < least) return infinity;
  const auto short_of = [&](double inverse) { return square_widening(1.0 / inverse) - widening; };
  const double high = std::min(1.0, 0.5 * widening);  // t^2 / z^2 - 1 is above 2 / dof
  const double f_high = short_of(high);
  if (f_high <= 0.0) return 1.0 / high;
  return 1.0 / root_between(short_of, 0.0, -widening, high, f_high, 1e-10 * widening);
}

// Between the two limits of large and of no bias the left side grows with U.
double biased_expanded(double u, double dof, double B, double probability) {
  if (!(u >= 0.0) || !(B >= 0.0) || !is_dof(dof) || !is_probability(probability)) {
    return not_a_number;
  }
  if (u == 0.0) return B;
  const double widest = student_t_quantile(0.5 + 0.5 * probability, dof);
  if (B == 0.0) return widest * u;
  const double b = B / u;
  const auto short_of = [&](double x) {
    return student_t_cdf(x - b, dof) - student_t_cdf(-x - b, dof) - probability;
  };
  const double low = b + student_t_quantile(probability, dof);
  const double f_low = short_of(low);
  if (f_low >= 0.0) return low * u;
  const double high = b + widest;
  return u * root_between(short_of, low, f_low, high, short_of(high), 1e-14);
}

double bounded_expanded(double u, double dof, double B) {
  const double at_the_bound = biased_expanded(u, dof, B);
  if (std::isnan(at_the_bound)) return at_the_bound;
  const double random = student_t_quantile(0.975, dof) * u;
  const double drawn = std::hypot(random, normal_quantile(0.975) * B / std::sqrt(3.0));
  return std::max(at_the_bound, drawn);
}

double chi_squared_quantile(double p, double dof) {
  if (!is_probability(p) || !is_finite_dof(dof)) return not_a_number;
  if (p == 1.0) return infinity;
  return bm::quantile(ChiSquared(dof), p);
}

double chi_squared_cdf(double x, double dof) {
  if (std::isnan(x) || !is_finite_dof(dof)) return not_a_number;
  if (x <= 0.0) return 0.0;
  if (std::isinf(x)) return 1.0;
  return bm::cdf(ChiSquared(dof), x);
}

// Q(a, x) = x^(a-1) e^-x / Gamma(a) * K with the continued fraction
//   K = x / (x + 1 - a - 1 (1 - a) / (x + 3 - a - 2 (2 - a) / (x + 5 - a - ...))),
// Abramowitz & Stegun 6.5.31 in its contracted form (from memory; checked against the closed forms
// of even and of three degrees of freedom). It converges fast for x well above a.
double log_chi_squared_tail(double x, double dof) {
  if (std::isnan(x) || !is_finite_dof(dof)) return not_a_number;
  if (x <= 0.0) return 0.0;
  if (std::isinf(x)) return -infinity;
  const double a = 0.5 * dof;
  const double half = 0.5 * x;
  constexpr double well_above = 50.0;
  if (half < a + well_above) return std::log(bm::cdf(bm::complement(ChiSquared(dof), x)));
  constexpr int terms = 60;
  double below = half + 2.0 * terms + 1.0 - a;
  for (int n = terms; n >= 1; --n) below = half + 2.0 * n - 1.0 - a - n * (n - a) / below;
  return a * std::log(half) - half - bm::lgamma(a, Quiet()) - std::log(below);
}

double log_f_tail(double x, double d1, double d2) {
  if (std::isnan(x) || !is_finite_dof(d1) || !is_dof(d2)) return not_a_number;
  if (x <= 0.0) return 0.0;
  if (std::isinf(d2)) return log_chi_squared_tail(d1 * x, d1);
  if (std::isinf(x)) return -infinity;
  return std::log(bm::cdf(bm::complement(FisherF(d1, d2), x)));
}

// Far out, Newton's iteration on P(|Z| > w) = P(chi2(1) > w^2), whose logarithm falls by w + 1/w a
// step (to second order in 1/w, which is enough to converge).
double normal_deviate_of_log_tail(double log_tail) {
  if (std::isnan(log_tail)) return not_a_number;
  if (log_tail >= 0.0) return 0.0;
  if (std::isinf(log_tail)) return infinity;
  constexpr double smallest_safe = -600.0;
  if (log_tail > smallest_safe) {
    return bm::quantile(bm::complement(Normal(), 0.5 * std::exp(log_tail)));
  }
  double w = std::sqrt(-2.0 * log_tail);
  for (int iteration = 0; iteration < 8; ++iteration) {
    w += (log_chi_squared_tail(w * w, 1.0) - log_tail) / (w + 1.0 / w);
  }
  return w;
}

double f_quantile(double p, double d1, double d2) {
  if (!is_probability(p) || !is_dof(d1) || !is_dof(d2)) return not_a_number;
  if (std::isinf(d1) && std::isinf(d2)) return 1.0;
  if (std::isinf(d2)) return chi_squared_quantile(p, d1) / d1;
  if (std::isinf(d1)) return d2 / chi_squared_quantile(1.0 - p, d2);
  if (p == 1.0) return infinity;
  return bm::quantile(FisherF(d1, d2), p);
}

double f_cdf(double x, double d1, double d2) {
  if (std::isnan(x) || !is_dof(d1) || !is_dof(d2)) return not_a_number;
  if (x <= 0.0) return 0.0;
  if (std::isinf(x)) return 1.0;
  if (std::isinf(d1) && std::isinf(d2)) return x < 1.0 ? 0.0 : 1.0;
  if (std::isinf(d2)) return chi_squared_cdf(d1 * x, d1);
  if (std::isinf(d1)) return 1.0 - chi_squared_cdf(d2 / x, d2);
  return bm::cdf(FisherF(d1, d2), x);
}

double detectable_noncentrality(double alpha, double power, double dof) {
  // Written so that NaN fails every comparison and is turned away too.
  const bool sensible = alpha > 0.0 && power > alpha && power < 1.0 && is_finite_dof(dof);
  if (!sensible) return not_a_number;
  const double limit = chi_squared_quantile(1.0 - alpha, dof);
  return NoncentralChiSquared::find_non_centrality(dof, limit, 1.0 - power);
}

double minimal_detectable_factor(double alpha, double power) {
  return std::sqrt(detectable_noncentrality(alpha, power, 1.0));
}

double effective_dof(std::span<const double> contributions, std::span<const double> dof) {
  if (contributions.size() != dof.size()) return not_a_number;
  double variance = 0.0;
  double uncertainty_of_variance = 0.0;
  for (std::size_t i = 0; i < dof.size(); ++i) {
    const double part = contributions[i] * contributions[i];
    if (!is_dof(dof[i]) || !std::isfinite(part)) return not_a_number;
    variance += part;
    uncertainty_of_variance += part * part / dof[i];
  }
  return variance * variance / uncertainty_of_variance;
}

}  // namespace pivotrace
