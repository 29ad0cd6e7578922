// Spheres: touch patterns of the trade, known radius, degenerate touches.
#include <doctest/doctest.h>

#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "pivotrace/geometry/sphere_fit.h"

using namespace pivotrace;

namespace {

using Points = std::vector<Eigen::Vector3d>;

constexpr double radius_mm = 15.7;
const Eigen::Vector3d centre_mm(-270.0, -200.0, -190.0);

/// `count` touches on the ring `from_pole_deg` below the pole; 0 = the pole itself.
void add_ring(Points& points, int count, double from_pole_deg, double first_deg = 0.0) {
  const double polar = from_pole_deg * std::numbers::pi / 180.0;
  for (int i = 0; i < count; ++i) {
    const double turn = 2.0 * std::numbers::pi * i / count + first_deg * std::numbers::pi / 180.0;
    points.push_back(centre_mm + radius_mm * Eigen::Vector3d(std::sin(polar) * std::cos(turn),
                                                             std::sin(polar) * std::sin(turn),
                                                             std::cos(polar)));
  }
}

struct Pattern {
  const char* name;
  Points points;
  Eigen::Vector3d free_factor;   ///< x, y, z with the radius free
  Eigen::Vector3d known_factor;  ///< with the radius known
  double half_unit = 0.005;
};

std::vector<Pattern> patterns() {
  // Factors on the standard deviation of one touch, computed for this project.
  std::vector<Pattern> all;
  const auto add = [&](const char* name, std::vector<std::pair<int, double>> rings,
                       const Eigen::Vector3d& free_factor, const Eigen::Vector3d& known_factor,
                       double half_unit = 0.005) {
    Pattern p{name, {}, free_factor, known_factor, half_unit};
    for (const auto& [count, polar] : rings) add_ring(p.points, count, polar);
    all.push_back(p);
  };
  add("4 equator + pole", {{4, 90}, {1, 0}}, {.71, .71, 1.12}, {.71, .71, 1.00});
  add("pole + 4 at 45", {{1, 0}, {4, 45}}, {1.00, 1.00, 3.82}, {1.00, 1.00, .58});
  add("pole + 4 at 30", {{1, 0}, {4, 30}}, {1.41, 1.41, 8.3}, {1.41, 1.41, .50}, 0.05);
  add("6 equator + pole", {{6, 90}, {1, 0}}, {.58, .58, 1.08}, {.58, .58, 1.00});
  add("4 equator + 4 at 45 + pole", {{4, 90}, {4, 45}, {1, 0}}, {.58, .58, .85}, {.58, .58, .58});
  add("5 equator + 5 at 45 + pole", {{5, 90}, {5, 45}, {1, 0}}, {.52, .52, .78}, {.52, .52, .54});
  // Pole, 4 at 22.5, 8 at 45, 4 at 67.5, 8 at 90: the 25-point probing test (ISO 10360-5; the
  // pattern is from memory).
  add("25 points", {{1, 0}, {4, 22.5}, {8, 45}, {4, 67.5}, {8, 90}}, {.35, .35, .55},
      {.35, .35, .33});
  return all;
}

Eigen::Vector3d factors(const SphereFit& fit) {
  return fit.cofactor.diagonal().head<3>().cwiseSqrt();
}

}  // namespace

TEST_CASE("how well a touch pattern knows the ball's centre") {
  for (const Pattern& pattern : patterns()) {
    CAPTURE(pattern.name);
    const SphereFit free = fit_sphere(pattern.points);
    const SphereFit known = fit_sphere_of_radius(pattern.points, radius_mm, centre_mm);
    REQUIRE(free.status == FitStatus::done);
    REQUIRE(known.status == FitStatus::done);
    CHECK((factors(free) - pattern.free_factor).cwiseAbs().maxCoeff() <= pattern.half_unit);
    CHECK((factors(known) - pattern.known_factor).cwiseAbs().maxCoeff() <= 0.0055);
    CHECK((free.centre_mm - centre_mm).norm() <= 1e-10);
    CHECK((known.centre_mm - centre_mm).norm() <= 1e-10);
  }
}

TEST_CASE("the cofactor is the scatter of the centre") {
  // Second route to the same factors: noise along the normal, many times over. Seed fixed.
  constexpr int runs = 20000;
  constexpr double sigma = 0.001;
  const Pattern pattern = patterns().front();
  std::mt19937_64 random(25);
  std::normal_distribution<double> noise(0.0, sigma);
  Eigen::Vector3d squares = Eigen::Vector3d::Zero();
  for (int run = 0; run < runs; ++run) {
    Points points = pattern.points;
    for (Eigen::Vector3d& p : points) p += noise(random) * (p - centre_mm).normalized();
    squares += (fit_sphere(points).centre_mm - centre_mm).cwiseAbs2();
  }
  const Eigen::Vector3d scatter = (squares / runs).cwiseSqrt() / sigma;
  const Eigen::Vector3d expected = factors(fit_sphere(pattern.points));
  // Standard deviation of a standard deviation from 20000 runs: 0.5 %; four of them.
  CHECK((scatter - expected).cwiseQuotient(expected).cwiseAbs().maxCoeff() <= 0.02);
}

TEST_CASE("the right radius given, both spheres agree, a wrong one moves the pole direction only") {
  Points points;
  add_ring(points, 6, 90);
  add_ring(points, 1, 0);
  const SphereFit right = fit_sphere_of_radius(points, radius_mm, centre_mm);
  CHECK((right.centre_mm - fit_sphere(points).centre_mm).norm() <= 1e-10);
  CHECK(right.radius_mm == radius_mm);
  CHECK(right.cofactor.row(3).isZero());
  const SphereFit wrong = fit_sphere_of_radius(points, radius_mm + 0.01, centre_mm);
  CHECK((wrong.centre_mm - centre_mm).head<2>().norm() <= 1e-10);
  CHECK(wrong.centre_mm.z() - centre_mm.z() == doctest::Approx(-0.01).epsilon(0.01));
}

TEST_CASE("of two mirrored spheres of known radius the one near the guess is taken") {
  Points points;
  add_ring(points, 3, 40);
  const Eigen::Vector3d mirrored =
      centre_mm + Eigen::Vector3d(0, 0, 2 * radius_mm * std::cos(40 * std::numbers::pi / 180));
  const Eigen::Vector3d offset(1.0, -2.0, 1.5);
  const SphereFit below = fit_sphere_of_radius(points, radius_mm, centre_mm + offset);
  const SphereFit above = fit_sphere_of_radius(points, radius_mm, mirrored + offset);
  REQUIRE(below.status == FitStatus::done);
  REQUIRE(above.status == FitStatus::done);
  CHECK((below.centre_mm - centre_mm).norm() <= 1e-10);
  CHECK((above.centre_mm - mirrored).norm() <= 1e-10);
}

TEST_CASE("touches that leave the centre free are refused") {
  Points equator;
  add_ring(equator, 6, 90);
  CHECK(fit_sphere(equator).status == FitStatus::degenerate);
  CHECK(fit_sphere_algebraic(equator).status == FitStatus::degenerate);
  // On a great circle the known radius holds the centre only to second order.
  CHECK(fit_sphere_of_radius(equator, radius_mm, centre_mm).status == FitStatus::degenerate);
  CHECK(
      fit_sphere_of_radius(equator, radius_mm, centre_mm + Eigen::Vector3d(0.1, 0.2, 0.5)).status ==
      FitStatus::degenerate);

  const Points three(equator.begin(), equator.begin() + 3);
  CHECK(fit_sphere(three).status == FitStatus::too_few_points);
  const Points two(equator.begin(), equator.begin() + 2);
  CHECK(fit_sphere_of_radius(two, radius_mm, centre_mm).status == FitStatus::too_few_points);
  CHECK(fit_sphere_of_radius(equator, NAN, centre_mm).status == FitStatus::not_finite);
}
