// Ways through stays, against every single change of them counted anew.
#include <doctest/doctest.h>

#include <algorithm>
#include <limits>
#include <random>

#include "plan/tour.h"

using namespace pivotrace;

namespace {

/// A turn one way may take longer than back, as up and down against a brake.
Eigen::MatrixXd random_turns(int stays, std::mt19937_64& engine) {
  std::uniform_real_distribution<double> minutes(0.02, 0.4);
  Eigen::MatrixXd turns(stays, stays);
  for (double& turn : turns.reshaped()) turn = minutes(engine);
  return turns;
}

double minutes_of(const Eigen::MatrixXd& turns, const std::vector<int>& stays) {
  double sum = 0.0;
  for (std::size_t k = 1; k < stays.size(); ++k) sum += turns(stays[k - 1], stays[k]);
  return sum;
}

std::vector<int> stays_at(const std::vector<int>& stays, const std::vector<int>& order) {
  std::vector<int> made;
  for (const int place : order) made.push_back(stays[static_cast<std::size_t>(place)]);
  return made;
}

struct Case {
  Eigen::MatrixXd turns;
  std::vector<int> stays;
};

Case random_case(std::mt19937_64& engine) {
  Case made;
  made.turns = random_turns(12, engine);
  const int count = std::uniform_int_distribution<int>(1, 9)(engine);
  for (int k = 0; k < count; ++k) {
    made.stays.push_back(std::uniform_int_distribution<int>(0, 11)(engine));
  }
  return made;
}

constexpr std::uint64_t seed = 20261130;

}  // namespace

TEST_CASE("a short way visits all, and no part turned round or stay moved makes it shorter") {
  std::mt19937_64 engine(seed);
  for (int run = 0; run < 300; ++run) {
    INFO("seed ", seed, ", run ", run);
    const Case c = random_case(engine);
    const bool comes_back = run % 2 == 0;
    const bool always = run % 3 == 0;
    Tour tour(c.turns, c.stays, comes_back);
    tour.shorten(5.0, always);
    std::vector<int> order = tour.order();
    REQUIRE(order.front() == 0);
    std::vector<int> way = stays_at(c.stays, order);
    const double minutes = minutes_of(c.turns, way);
    const auto last = static_cast<std::ptrdiff_t>(c.stays.size()) - 1;
    for (std::ptrdiff_t i = 1; i <= last; ++i) {
      for (std::ptrdiff_t j = 1; j <= last; ++j) {
        std::vector<int> changed = way;
        if (i < j) {
          std::reverse(changed.begin() + i, changed.begin() + j + 1);
          CHECK(minutes_of(c.turns, changed) > minutes - 1e-8);
        }
        if (!always || i == j) continue;
        changed = way;
        const int moved = changed[static_cast<std::size_t>(i)];
        changed.erase(changed.begin() + i);
        changed.insert(changed.begin() + j, moved);
        CHECK(minutes_of(c.turns, changed) > minutes - 1e-8);
      }
    }
    if (comes_back) {
      REQUIRE(order.back() == 0);
      order.pop_back();
    }
    std::ranges::sort(order);
    REQUIRE(order.size() == c.stays.size());
    for (std::size_t k = 0; k < order.size(); ++k) CHECK(order[k] == static_cast<int>(k));
  }
}

TEST_CASE("turns that are blocked are gone round where there is a way round") {
  Eigen::MatrixXd turns = Eigen::MatrixXd::Constant(4, 4, 0.1);
  turns(0, 1) = turns(1, 0) = turns(2, 1) = turns(1, 2) = 5.0;
  const std::vector<int> stays = {0, 1, 2, 3};
  Tour tour(turns, stays, false);
  tour.shorten(5.0, false);
  CHECK(minutes_of(turns, stays_at(stays, tour.order())) == doctest::Approx(0.3));
}

TEST_CASE("what one more stay adds is the least of all its places in the way") {
  std::mt19937_64 engine(seed + 1);
  for (int run = 0; run < 100; ++run) {
    INFO("seed ", seed + 1, ", run ", run);
    const Case c = random_case(engine);
    Insertion insertion(c.turns, c.stays);
    for (int stay = 0; stay < 12; ++stay) {
      double least = std::numeric_limits<double>::infinity();
      for (std::size_t k = 1; k <= c.stays.size(); ++k) {
        std::vector<int> more = c.stays;
        more.insert(more.begin() + static_cast<std::ptrdiff_t>(k), stay);
        least = std::min(least, minutes_of(c.turns, more) - minutes_of(c.turns, c.stays));
      }
      CHECK(insertion.minutes(stay) == doctest::Approx(least).epsilon(1e-9));
      CHECK(insertion.minutes(stay) == doctest::Approx(least).epsilon(1e-9));
    }
  }
}
