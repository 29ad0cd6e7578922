// Quantiles and tail areas the tests and the expanded uncertainties need.
//
// Every function answers NaN, never a plausible number, for arguments outside its range
// (a probability outside 0..1, degrees of freedom that are not positive, NaN).
#pragma once

#include <span>

namespace pivotrace {

/// z with P(Z <= z) = p for a standard normal Z; p = 0 and 1 give -inf and +inf.
double normal_quantile(double p);

/// P(Z <= z).
double normal_cdf(double z);

/// t with P(T <= t) = p for Student's T; `dof` > 0, need not be whole, may be infinite (normal).
/// The factor of a two-sided 95 % interval is student_t_quantile(0.975, dof).
double student_t_quantile(double p, double dof);

/// P(T <= t); `dof` as above.
double student_t_cdf(double t, double dof);

/// U with P(|T u + B| <= U) = `probability` for the worst bias within +-B and Student's T:
///   F((U - B) / u) - F((-U - B) / u) = probability, F Student's distribution with `dof`.
/// t u where B is 0; B + t' u, t' the one-sided factor, where B is large. 0 <= u, 0 <= B.
double biased_expanded(double u, double dof, double B, double probability = 0.95);

/// U95 of a value with random part u and B^2 = sum of squares of the largest shifts by independent
/// effects. biased_expanded holds for one effect at its bound; where B is many times u it is too small
/// for several drawn within their bounds (of four alike and no random part it holds 92 %), so U is never
/// below 1.96 sqrt((t u / 1.96)^2 + B^2 / 3): by 13 % at the most more than one effect alone would need.
double bounded_expanded(double u, double dof, double B);

/// x with P(X <= x) = p for chi-squared with `dof` > 0 (finite).
double chi_squared_quantile(double p, double dof);

/// P(X <= x), 0 for negative x.
double chi_squared_cdf(double x, double dof);

/// ln P(X > x): the tail area itself, also where it is far below the smallest number a double holds
/// (a blunder of 5 mm among touches good to 1 um has a tail of e^-12500000). 0 for x <= 0.
double log_chi_squared_tail(double x, double dof);

/// ln P(F > x); -inf where the tail is below the smallest double.
double log_f_tail(double x, double d1, double d2);

/// w >= 0 with 2 P(Z > w) = exp(log_tail): the standard normal deviate as improbable as a tail area
/// given by its logarithm; 0 for log_tail >= 0, infinite for -inf.
double normal_deviate_of_log_tail(double log_tail);

/// x with P(F <= x) = p for the variance ratio with d1 (above) and d2 (below) degrees of freedom.
/// Either may be infinite: F(d1, inf) = chi2(d1)/d1, F(inf, d2) = d2/chi2(d2).
double f_quantile(double p, double d1, double d2);

/// P(F <= x), 0 for negative x.
double f_cdf(double x, double d1, double d2);

/// Non-centrality lambda0 at which a chi-squared test of `dof` degrees of freedom and level `alpha`
/// rejects with probability `power`: P(chi2(dof, lambda0) > chi2_{1-alpha}(dof)) = power.
/// The smallest shift found that often is sqrt(lambda0) sigma. Needs 0 < alpha < power < 1.
/// Source: W. Baarda, A testing procedure for use in geodetic networks, 1968.
double detectable_noncentrality(double alpha, double power, double dof);

/// sqrt(lambda0) of one reading: a blunder of this many sigma / sqrt(redundancy) is found with
/// probability `power` by a two-sided test of level `alpha`; 4.13 for 0.001 and 0.80.
double minimal_detectable_factor(double alpha, double power);

/// Effective degrees of freedom of a combined uncertainty (Welch-Satterthwaite):
/// (sum u_i^2)^2 / sum(u_i^4 / dof_i), u_i the contributions c_i u(x_i) in units of the result.
/// Infinite dof_i are allowed; no contribution at all, or lengths that differ, give NaN.
/// Source: JCGM 100:2008 equation G.2b. Assumes independent contributions.
double effective_dof(std::span<const double> contributions, std::span<const double> dof);

/// How much wider the square of a 95 % half-width is for not knowing sigma exactly:
/// (t_0.975(dof) / z_0.975)^2 - 1; 0 for an infinite dof, larger than 0 otherwise.
double square_widening(double dof);

/// The dof of a given widening, infinite for 0, never below 1. Within 1e-9 of the widening.
double dof_of_square_widening(double widening);

}  // namespace pivotrace
