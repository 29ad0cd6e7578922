// Tests on a change between two independent results, and how large a change they would show.
//
// Every function answers NaN, or a verdict that claims nothing, for arguments outside its range.
#pragma once

#include <Eigen/Core>
#include <limits>
#include <vector>

namespace pivotrace {

/// P(F'(h, dof; lambda) > F_{1-alpha}(h, dof)): how often the F test of level `alpha` sees a change of
/// non-centrality lambda = d' C^-1 d. dof may be infinite (then chi-squared).
double f_test_power(double alpha, double h, double dof, double lambda);

/// The non-centrality the F test of level `alpha` sees with probability `power`; the smallest visible
/// shift of one value is sqrt(lambda(h = 1)) u. 0 < alpha < power < 1.
double f_test_noncentrality(double alpha, double power, double h, double dof);

/// The smallest shift of one value that a two-sided t test of level 1 % sees in 8 of 10 cases, when the
/// test grants a bias of at most B before it calls anything a change: sqrt(lambda) u + B.
double smallest_seen(double u, double dof, double B);

/// What a statistic follows: scale F(h, dof).
struct ScaledF {
  double dof = std::numeric_limits<double>::quiet_NaN();
  double scale = 1.0;

  ScaledF() = default;
  ScaledF(double dof_of_f, double times = 1.0) : dof(dof_of_f), scale(times) {}
};

/// Sizes of variances s_g^2, each pooled of a stated one and of what a survey found, known so well.
struct VarianceErrors {
  Eigen::MatrixXd covariance;  ///< of the relative errors
  Eigen::VectorXd means;       ///< of f_g = sigma_g^2 / s_g^2, the true over the pooled

  Eigen::Index count() const { return covariance.rows(); }
};

/// Variances that know nothing of each other: f_g = n_g / chi2(n_g), n_g = 2 / errors(g, g), mean
/// n_g / (n_g - 2).
VarianceErrors independent_variances(const Eigen::MatrixXd& errors);

/// Variances found together: what one survey sees is often only their sum, and the sum is better known than
/// each. With the information I = errors^-1 = J + n0 / 2 in log f, J the survey's and n0 the stated degrees
/// of freedom, to second order about the mode of the posterior,
///   E log f_j = 1/2 sum V_jm t_mkl V_kl, V = errors, E f_j = 1 / (1 - E log f_j - V_jj / 2),
///   t_mkl = 2 T_mkl - d_mk J_ml - d_ml J_mk - d_kl J_km + d_mkl n0_m / 2,
/// T_mkl = tr(P V_m P V_k P V_l), of which only J_mk = tr(P V_m P V_k) / 2 is known: with r = J 1,
///   T_mkl = 2 (n_m n_k n_l)^(1/3) J_mk J_kl J_lm / (r_m r_k r_l), n_g = r_g^2 / J_gg,
/// exact where the survey sees each variance alone, and where it sees nothing but their sum. One variance
/// alone has n / (n - 2).
VarianceErrors variances_found_together(const Eigen::MatrixXd& errors,
                                        const Eigen::VectorXd& stated_dof);

/// Of T = d' C^-1 d / h where C = sum of `parts` + what is known exactly: scale and dof for which
/// scale F(h, dof) has the mean and the variance of T,
///   E = tr M, V = 2 tr M^2 + sum cov(f_i, f_j) (2 tr P_i P_j + tr P_i tr P_j),
///   P_g the whitened parts, M = 1 + sum (E f_g - 1) P_g.
/// Exact for one part that is all of C; the 1 % level is held within 0.8 to 1.1 % at 8 degrees of freedom
/// (tests/results/test_change_statistics.cpp). A variance of less than 4.25 degrees of freedom, whose spread
/// has no variance, counts with so many.
ScaledF scaled_f(const Eigen::MatrixXd& covariance, const std::vector<Eigen::MatrixXd>& parts,
                 const VarianceErrors& errors);

/// Congruency of two results: T = d' C^-1 d / h against scale F(h, dof).
/// Source: H. Pelzer, Zur Analyse geodaetischer Deformationsmessungen, 1971 (from memory).
struct Congruency {
  double statistic = std::numeric_limits<double>::quiet_NaN();  ///< T
  int h = 0;                                                    ///< rank of C
  double dof = std::numeric_limits<double>::quiet_NaN();
  double scale = 1.0;
  double probability = std::numeric_limits<double>::quiet_NaN();  ///< of T or more without a change
  bool rejects(double alpha) const { return probability < alpha; }
};
/// `change` (n), `covariance` (n x n): directions with less than 1e-12 of the largest scaled variance
/// take no part.
Congruency congruency(const Eigen::VectorXd& change, const Eigen::MatrixXd& covariance,
                      const ScaledF& reference);

/// The same when a bias G b, |b_j| <= w_j, may be in the change: every change is granted the bias that brings
/// it nearest to 0.
class BiasGrant {
 public:
  /// `covariance` (n x n), `gains` (n x m), `half_widths` (m).
  BiasGrant(const Eigen::MatrixXd& covariance, const Eigen::MatrixXd& gains,
            const Eigen::VectorXd& half_widths);

  int rank() const { return static_cast<int>(whiten_.rows()); }
  /// (h x n) with W C W' = 1.
  const Eigen::MatrixXd& whiten() const { return whiten_; }
  /// l' C^-1 l of what is left of a change (n).
  double squared_length_left(const Eigen::VectorXd& change) const;
  /// Whether that is more than `limit`, of a whitened change (h): sooner known than the length itself.
  bool leaves_more(const Eigen::VectorXd& whitened, double limit) const;

 private:
  Eigen::MatrixXd whiten_;
  Eigen::MatrixXd gains_;  ///< whitened
  Eigen::VectorXd half_widths_;
  bool sensible_ = false;
};

/// The smallest T over all such b. A true bias within its bounds gives at least this T, so the level holds
/// whatever the bias is.
Congruency congruency_beside(const Eigen::VectorXd& change, const Eigen::MatrixXd& covariance,
                             const ScaledF& reference, const Eigen::MatrixXd& bias_gains,
                             const Eigen::VectorXd& half_widths);

/// Two one-sided tests (D. J. Schuirmann, J. Pharmacokinet. Biopharm. 15, 1987): a change is proven to
/// be within low .. high at level `alpha` when both t statistics lie beyond the one-sided quantile.
struct Equivalence {
  double t_above = std::numeric_limits<double>::quiet_NaN();  ///< (d - low) / u: must be large
  double t_below = std::numeric_limits<double>::quiet_NaN();  ///< (d - high) / u: must be small
  bool within = false;
};
/// A bias of at most B narrows the range by B at each end. One end may be infinite.
Equivalence equivalence(double change, double u, double dof, double low, double high,
                        double B = 0.0, double alpha = 0.05);

/// Difference of two independent means with their own standard uncertainties.
/// Source: B. L. Welch, Biometrika 34, 1947.
struct WelchDifference {
  double difference = std::numeric_limits<double>::quiet_NaN();
  double u = std::numeric_limits<double>::quiet_NaN();
  double dof = std::numeric_limits<double>::quiet_NaN();
};
WelchDifference welch_difference(double old_value, double old_u, double old_dof, double new_value,
                                 double new_u, double new_dof);

}  // namespace pivotrace
