// Certified parameters and standard deviations of NIST through minimisers and square-root form.
// Source: NIST Statistical Reference Datasets, nonlinear regression (public domain), certified to
// 11 digits. Two small sets are retyped, the others are read where the folder is at hand.
#include <doctest/doctest.h>

#include <algorithm>
#include <cmath>

#include "pivotrace/solver/square_root_information.h"
#include "reference_data.h"
#include "solver/nist_strd.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

// One bound for every set: 11 digits are certified, and the last of them is a rounded one.
constexpr double digits_bound = 10.0;

/// Digits in which a value agrees with a certified one: -log10 of the relative difference, at most
/// the 11 that are certified (NIST's own score).
double matching_digits(double value, double certified) {
  const double difference = std::abs(value - certified) / std::abs(certified);
  return difference < 1e-11 ? 11.0 : -std::log10(difference);
}

struct Score {
  double parameters = 0.0;  ///< of the worst parameter
  double sigmas = 0.0;      ///< of the worst standard deviation
  double condition = 0.0;
};

/// What the rows of one linearisation say. Some sets see a direction weakly; nothing here may be
/// refused for that, so the rank tolerance is at round-off.
struct Normal {
  InformationSolution solved;
  double residual_sum_of_squares = 0.0;
  double sum_of_squares_here = 0.0;
};

Normal normal_at(const StrdSet& set, const Eigen::VectorXd& parameters) {
  const StrdLinearisation at = linearise_strd(set, parameters);
  SquareRootInformation information(static_cast<int>(parameters.size()));
  information.add(at.jacobian, at.residuals);
  return {information.solve(1e-14), information.residual_sum_of_squares(),
          at.residuals.squaredNorm()};
}

Score score_of(const StrdSet& set, Solver solver) {
  const LeastSquaresMinimum minimum = solve_strd(set, solver);
  INFO((solver == Solver::ceres ? std::string("Ceres") : std::string("our own")), " after ",
       minimum.iterations, " steps");
  REQUIRE(minimum.settled());
  Eigen::VectorXd parameters = minimum.unknowns;
  // The solver stops where the sum of squares no longer falls, which is flat to about 1e-8 of the
  // parameters; the step of the square-root form goes on to where the gradient vanishes (slowly
  // where residuals are large: Thurber needs some 20).
  for (int i = 0; i < 40; ++i) parameters += normal_at(set, parameters).solved.step;

  const Normal normal = normal_at(set, parameters);
  REQUIRE(normal.solved.full_rank());
  const auto dof = static_cast<double>(set.x.size()) - static_cast<double>(parameters.size());
  const double variance = normal.residual_sum_of_squares / dof;
  Score worst{11.0, 11.0, normal.solved.condition};
  for (Eigen::Index k = 0; k < parameters.size(); ++k) {
    const double sigma = std::sqrt(variance * normal.solved.covariance(k, k));
    worst.parameters = std::min(worst.parameters, matching_digits(parameters[k], set.certified[k]));
    worst.sigmas = std::min(worst.sigmas, matching_digits(sigma, set.certified_sigma[k]));
  }
  CHECK(matching_digits(normal.sum_of_squares_here, set.certified_residual_sum_of_squares) >=
        digits_bound);
  return worst;
}

/// Every solver of this build is put to the set; the worst counts.
Score score(const StrdSet& set) {
  Score worst{11.0, 11.0, 0.0};
  for (const Solver solver : {Solver::ceres, Solver::gauss_newton}) {
    if (!has_solver(solver)) continue;
    const Score found = score_of(set, solver);
    worst.parameters = std::min(worst.parameters, found.parameters);
    worst.sigmas = std::min(worst.sigmas, found.sigmas);
    worst.condition = found.condition;
  }
  return worst;
}

}  // namespace

TEST_CASE("Misra1a, retyped: certified parameters and standard deviations") {
  StrdSet set;
  set.name = "Misra1a";
  set.start = Eigen::Vector2d(250, 0.0005);
  set.certified = Eigen::Vector2d(2.3894212918E+02, 5.5015643181E-04);
  set.certified_sigma = Eigen::Vector2d(2.7070075241E+00, 7.2668688436E-06);
  set.certified_residual_sum_of_squares = 1.2455138894E-01;
  set.y = {10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02,
           44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78};
  set.x = {77.6,  114.9, 141.1, 190.8, 239.9, 289.0, 332.8,
           378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0};
  const Score found = score(set);
  CHECK(found.parameters >= digits_bound);
  CHECK(found.sigmas >= digits_bound);
}

TEST_CASE("DanWood, retyped: certified parameters and standard deviations") {
  StrdSet set;
  set.name = "DanWood";
  set.start = Eigen::Vector2d(0.7, 4);
  set.certified = Eigen::Vector2d(7.6886226176E-01, 3.8604055871E+00);
  set.certified_sigma = Eigen::Vector2d(1.8281973860E-02, 5.1726610913E-02);
  set.certified_residual_sum_of_squares = 4.3173084083E-03;
  set.y = {2.138, 3.421, 3.597, 4.340, 4.882, 5.660};
  set.x = {1.309, 1.471, 1.490, 1.565, 1.611, 1.680};
  const Score found = score(set);
  CHECK(found.parameters >= digits_bound);
  CHECK(found.sigmas >= digits_bound);
}

TEST_CASE("all certified regressions of NIST") {
  if (!have_reference("nist-strd")) return;
  for (const std::string& name : strd_names()) {
    CAPTURE(name);
    const StrdSet set = read_strd(name, reference_path("nist-strd/" + name + ".dat").string());
    REQUIRE(set.x.size() > 5);
    const Score found = score(set);
    MESSAGE(name << ": " << found.parameters << " digits in the parameters, " << found.sigmas
                 << " in the standard deviations, condition " << found.condition);
    CHECK(found.parameters >= digits_bound);
    CHECK(found.sigmas >= digits_bound);
  }
}
