// Control charts with memory: their values, their average run lengths, their design.
//
// Inputs are deviations already divided by their own standard uncertainty: mean 0 and variance 1 while
// nothing changes. Run length: number of results up to and with the first alarm.
// Method: the run length from each state solves an integral equation of the second kind, solved at the
// nodes of a Gauss-Legendre rule (E. J. Nystroem, Acta Math. 54, 1930; S. V. Crowder, Technometrics 29,
// 1987, for the chart below; both from memory).
#pragma once

#include <Eigen/Core>

namespace pivotrace {

/// Two-sided exponentially weighted mean Z <- weight z + (1 - weight) Z from 0; alarm when |Z| exceeds
/// limit sqrt(weight / (2 - weight)).
struct EwmaDesign {
  double weight = 0.2;  ///< lambda, 0 < weight <= 1
  double limit = 0.0;   ///< L, in standard deviations of Z in the long run
  double bound() const;
};

/// Average run length when every z has mean `shift`.
double ewma_run_length(const EwmaDesign& design, double shift);
/// The limit whose average run length without a change is `run_length`; NaN outside 2..1e6.
EwmaDesign design_ewma(double weight, double run_length);

/// Multivariate form: Z <- weight z + (1 - weight) Z for whitened vectors z of `size` values; alarm when
/// |Z|^2 (2 - weight) / weight exceeds `limit`.
/// Source: C. A. Lowry et al., Technometrics 34, 1992 (from memory).
struct VectorEwmaDesign {
  double weight = 0.2;
  double limit = 0.0;
  int size = 0;
};

/// Average run length when the mean of z has length `shift`. The state is the part of Z along the shift
/// and the length of the rest (G. C. Runger and S. S. Prabhu, J. Amer. Statist. Assoc. 91, 1996, from
/// memory); its integral equation is solved on a product rule. size >= 2, or 1: the chart above.
double vector_ewma_run_length(const VectorEwmaDesign& design, double shift);
VectorEwmaDesign design_vector_ewma(int size, double weight, double run_length);

/// Two cumulative sums up <- max(0, up + z - allowance), down <- max(0, down - z - allowance); alarm
/// when one exceeds `limit`. A sum was last 0 just before the change began: what dates a jump.
struct CusumDesign {
  double allowance = 0.5;
  double limit = 4.0;
};
struct Cusum {
  double up = 0.0;
  double down = 0.0;
  void add(double z, double allowance);
};
/// Average run length of both sides together (K. W. Kemp, Appl. Statist. 10, 1961, from memory:
/// 1 / both = 1 / up + 1 / down).
double cusum_run_length(const CusumDesign& design, double shift);

}  // namespace pivotrace
