// Circles against published answers and the figures of the trade.
#include <doctest/doctest.h>

#include <Eigen/Eigenvalues>
#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "pivotrace/geometry/circle_fit.h"

using namespace pivotrace;

namespace {

using Points2 = std::vector<Eigen::Vector2d>;

double radians(double degrees) { return degrees * std::numbers::pi / 180.0; }

/// `count` points over `arc_deg` centred on the +X direction, ends included.
Points2 arc(int count, double arc_deg, double radius) {
  Points2 points;
  for (int i = 0; i < count; ++i) {
    const double t = radians(arc_deg * (i / (count - 1.0) - 0.5));
    points.emplace_back(radius * std::cos(t), radius * std::sin(t));
  }
  return points;
}

Points2 full_circle(int count, double radius) {
  Points2 points;
  for (int i = 0; i < count; ++i) {
    const double t = 2.0 * std::numbers::pi * i / count;
    points.emplace_back(radius * std::cos(t), radius * std::sin(t));
  }
  return points;
}

struct Scatter {
  double mean_mm = 0.0;
  double sd_mm = 0.0;
};

/// Centre along the bisector found from noisy points, many times over. Seed fixed, so a failure can be
/// repeated.
template <class Fit>
Scatter bisector_scatter(const Points2& exact, double sigma, Fit fit) {
  constexpr int runs = 20000;
  std::mt19937_64 random(1994);
  std::normal_distribution<double> noise(0.0, sigma);
  double sum = 0.0;
  double squares = 0.0;
  for (int run = 0; run < runs; ++run) {
    Points2 points = exact;
    for (Eigen::Vector2d& p : points) p += Eigen::Vector2d(noise(random), noise(random));
    const double off = fit(points).centre_mm.x();
    sum += off;
    squares += off * off;
  }
  const double mean = sum / runs;
  return {mean, std::sqrt(squares / runs - mean * mean)};
}

}  // namespace

TEST_CASE("the six points of Gander, Golub and Strebel") {
  // BIT 34 (1994) 558: geometric fit, printed to six decimals.
  const Points2 points = {{1, 7}, {2, 6}, {5, 8}, {7, 7}, {9, 5}, {3, 7}};
  const CircleFit fit = fit_circle(points);
  REQUIRE(fit.status == FitStatus::done);
  CHECK(std::abs(fit.centre_mm.x() - 4.739782) <= 5e-7);
  CHECK(std::abs(fit.centre_mm.y() - 2.983533) <= 5e-7);
  CHECK(std::abs(fit.radius_mm - 4.714226) <= 5e-7);
}

TEST_CASE("the five points of the Apache Commons Math test suite") {
  // Published there: centre, radius and the centre's part of (J'J)^-1 (radius as mean distance).
  const Points2 points = {{30, 68}, {50, -6}, {110, -20}, {35, 15}, {45, 97}};
  const CircleFit fit = fit_circle(points);
  REQUIRE(fit.status == FitStatus::done);
  CHECK(std::abs(fit.radius_mm - 69.9602) <= 5e-5);
  CHECK(std::abs(fit.centre_mm.x() - 96.0759) <= 5e-5);
  CHECK(std::abs(fit.centre_mm.y() - 48.1352) <= 5e-5);
  CHECK(std::abs(fit.cofactor(0, 0) - 1.839) <= 5e-4);
  CHECK(std::abs(fit.cofactor(1, 1) - 0.786) <= 5e-4);
}

TEST_CASE("how well a circle's centre is known: full circle and part arcs") {
  // Factors on the standard deviation of one coordinate, computed for this project by an independent
  // simulation good to 1 %.
  CHECK(std::sqrt(fit_circle(full_circle(3, 100.0)).cofactor(0, 0)) ==
        doctest::Approx(std::sqrt(2.0 / 3.0)));
  CHECK(std::sqrt(fit_circle(full_circle(8, 100.0)).cofactor(1, 1)) ==
        doctest::Approx(std::sqrt(2.0 / 8.0)));

  struct Row {
    double arc_deg, along_bisector, printed_half_unit, across;
  };
  for (const Row& row :
       {Row{210, 0.88, 0.005, 0.57}, Row{180, 1.10, 0.005, 0.58}, Row{120, 2.16, 0.005, 0.71},
        Row{90, 3.67, 0.005, 0.88}, Row{60, 8.0, 0.05, 1.26}, Row{30, 31, 0.5, 2.44}}) {
    CAPTURE(row.arc_deg);
    const CircleFit fit = fit_circle(arc(5, row.arc_deg, 100.0));
    CHECK(std::abs(std::sqrt(fit.cofactor(0, 0)) - row.along_bisector) <=
          row.printed_half_unit + 0.01 * row.along_bisector);
    CHECK(std::sqrt(fit.cofactor(1, 1)) == doctest::Approx(row.across).epsilon(0.01));
  }
}

TEST_CASE("at metrology noise the algebraic circle is as good as the geometric one") {
  // 6 points, sigma 2 um, radius 12.5 mm; figures computed for this project. The bias of the
  // algebraic fit is of the order sigma^2 / R and drowns in the scatter.
  struct Row {
    double arc_deg, sd_um, sd_half_unit_um, most_bias_um;
  };
  for (const Row& row : {Row{180, 2.1, 0.1, 0.05}, Row{90, 7, 0.5, 0.2}}) {
    CAPTURE(row.arc_deg);
    const Points2 points = arc(6, row.arc_deg, 12.5);
    const Scatter algebraic =
        bisector_scatter(points, 0.002, [](const Points2& p) { return fit_circle_algebraic(p); });
    const Scatter geometric =
        bisector_scatter(points, 0.002, [](const Points2& p) { return fit_circle(p); });
    CHECK(std::abs(1e3 * algebraic.sd_mm - row.sd_um) <= row.sd_half_unit_um);
    CHECK(algebraic.sd_mm == doctest::Approx(geometric.sd_mm).epsilon(0.01));
    CHECK(std::abs(1e3 * algebraic.mean_mm) <= row.most_bias_um);
  }
}

TEST_CASE("a three-lobe probe moves the centre of a four-touch circle and of no other") {
  // Pre-travel a cos 3(phi - phi0): centre shift a for N = 4, none for 3, 5, 6, 7, 8, 9, 12;
  // N = 3 turns it into a radius error.
  constexpr double lobe_mm = 0.001;
  for (const int count : {3, 4, 5, 6, 7, 8, 9, 12}) {
    CAPTURE(count);
    for (const double phase : {0.0, 0.3, 1.0}) {
      Points2 points;
      for (int i = 0; i < count; ++i) {
        const double phi = 2.0 * std::numbers::pi * i / count;
        const double r = 12.0 + lobe_mm * std::cos(3.0 * (phi - phase));
        points.emplace_back(r * std::cos(phi), r * std::sin(phi));
      }
      const CircleFit fit = fit_circle(points);
      const double expected_shift = count == 4 ? lobe_mm : 0.0;
      CHECK(std::abs(fit.centre_mm.norm() - expected_shift) <= 1e-3 * lobe_mm);
      const double expected_radius = count == 3 ? lobe_mm * std::cos(3.0 * phase) : 0.0;
      CHECK(std::abs(fit.radius_mm - 12.0 - expected_radius) <= 1e-3 * lobe_mm);
    }
  }
}

TEST_CASE("a far-off origin costs nothing but the digits of the coordinates") {
  const Points2 near = {{1, 7}, {2, 6}, {5, 8}, {7, 7}, {9, 5}, {3, 7}};
  Points2 far;
  for (const Eigen::Vector2d& p : near) far.emplace_back(p + Eigen::Vector2d(1048576, -2097152));
  const CircleFit a = fit_circle(near);
  const CircleFit b = fit_circle(far);
  // The shifted coordinates are exact, so only the sum of shift and centre rounds.
  CHECK((b.centre_mm - Eigen::Vector2d(1048576, -2097152) - a.centre_mm).norm() <= 1e-9);
  CHECK(std::abs(a.radius_mm - b.radius_mm) <= 1e-13);
}

TEST_CASE("points without a circle in them are refused") {
  CHECK(fit_circle({}).status == FitStatus::too_few_points);
  CHECK(fit_circle(Points2{{0, 0}, {1, 0}}).status == FitStatus::too_few_points);
  CHECK(fit_circle(Points2{{0, 0}, {1, 1}, {2, 2}}).status == FitStatus::degenerate);
  CHECK(fit_circle(Points2{{0.1, 0.3}, {0.2, 0.6}, {0.3, 0.9}, {0.7, 2.1}}).status ==
        FitStatus::degenerate);
  CHECK(fit_circle(Points2{{0, 0}, {0, 0}, {2, 2}}).status == FitStatus::degenerate);
  CHECK(fit_circle(Points2{{0, 0}, {1, NAN}, {2, 2}}).status == FitStatus::not_finite);
}
