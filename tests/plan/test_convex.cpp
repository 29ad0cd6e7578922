#include <doctest/doctest.h>

#include <cmath>
#include <random>

#include "plan/convex.h"

using namespace pivotrace;
using Eigen::Vector3d;

TEST_CASE("distances of simple bodies are the hand-worked ones") {
  SUBCASE("two balls") {
    const double d = distance_bound_mm(ball_body({0, 0, 0}, 3), ball_body({10, 0, 0}, 2));
    CHECK(d == doctest::Approx(5.0).epsilon(1e-9));
  }
  SUBCASE("crossing rods, 8 apart") {
    const double d = distance_bound_mm(rod_body({-50, 0, 0}, {50, 0, 0}, 1),
                                       rod_body({0, -50, 8}, {0, 50, 8}, 2), 1e-3);
    CHECK(d == doctest::Approx(5.0).epsilon(1e-3));
  }
  SUBCASE("flat end of a cylinder over a box") {
    ConvexBody box;
    for (const double x : {-20.0, 20.0}) {
      for (const double y : {-20.0, 20.0}) {
        for (const double z : {-5.0, 0.0}) box.points.emplace_back(x, y, z);
      }
    }
    const ConvexBody holder = cylinder_body({3, 4, 7}, {3, 4, 60}, 10);
    CHECK(distance_bound_mm(holder, box, 1e-3) == doctest::Approx(7.0).epsilon(1e-3));
    CHECK(apart_by(holder, box, 6.9));
    CHECK_FALSE(apart_by(holder, box, 7.1));
  }
  SUBCASE("a swept ball passes 2 from a post it would miss at both ends") {
    ConvexBody moving = ball_body({-30, 5, 0}, 1);
    moving.sweep_mm = {60, 0, 0};
    const ConvexBody post = rod_body({0, 0, -10}, {0, 0, 10}, 2);
    CHECK(distance_bound_mm(moving, post, 1e-3) == doctest::Approx(2.0).epsilon(1e-3));
  }
  SUBCASE("overlapping bodies are never called apart") {
    CHECK_FALSE(apart_by(ball_body({0, 0, 0}, 5), ball_body({1, 0, 0}, 5), 0.0));
  }
}

TEST_CASE("the bound never exceeds the distance, and comes near it") {
  const unsigned seed = 20260301;
  INFO("seed ", seed);
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> place(-100, 100);
  const auto point = [&] { return Vector3d(place(random), place(random), place(random)); };
  for (int i = 0; i < 300; ++i) {
    const Vector3d a = point(), b = point(), c = point(), d = point();
    // Closest approach of two segments by dense search: a second route to the same number.
    double nearest = 1e9;
    for (int s = 0; s <= 400; ++s) {
      const Vector3d p = a + (b - a) * (s / 400.0);
      const Vector3d along = d - c;
      const double t = std::clamp((p - c).dot(along) / along.squaredNorm(), 0.0, 1.0);
      nearest = std::min(nearest, (p - c - t * along).norm());
    }
    const double bound = distance_bound_mm(rod_body(a, b, 0), rod_body(c, d, 0), 0.01);
    CHECK(bound <= nearest + 1e-9);
    if (nearest > 2.0) CHECK(bound > nearest - 0.5);
  }
}

TEST_CASE("straight above the face of a leaning cylinder, the distance is that to its face") {
  const unsigned seed = 20261130;
  INFO("seed ", seed);
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> any(-1, 1);
  const auto point = [&] { return Vector3d(any(random), any(random), any(random)); };
  for (int i = 0; i < 2000; ++i) {
    CAPTURE(i);
    const Vector3d axis = (point() + Vector3d(0, 0, 1.5)).normalized();
    const Vector3d bottom = 300.0 * point();
    const Vector3d top = bottom + 35.0 * axis;
    const ConvexBody table = cylinder_body(bottom, top, 100);
    const double height = 4.0 + 3.0 * any(random);
    const ConvexBody stylus = ball_body(top + height * axis, 3);
    CHECK(distance_bound_mm(stylus, table, 1e-6) ==
          doctest::Approx(height - 3.0).scale(1).epsilon(1e-6));
    CHECK(apart_by(stylus, table, height - 3.0 - 1e-6));
    CHECK_FALSE(apart_by(stylus, table, height - 3.0 + 1e-6));
    // No direction finds a point outside the body: along the axis at most its length.
    for (const Vector3d& direction : {axis, Vector3d(-axis), Vector3d(axis + 1e-15 * point())}) {
      const double along = axis.dot(table.support(direction) - bottom);
      CHECK(along >= -1e-9);
      CHECK(along <= 35.0 + 1e-9);
    }
  }
}
