#include "plan/tour.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numeric>

namespace pivotrace {

namespace {

/// A change of a way by less is rounding [min].
constexpr double clear_change = 1e-9;
constexpr double unknown = std::numeric_limits<double>::quiet_NaN();

}  // namespace

Tour::Tour(const Eigen::MatrixXd& turns, const std::vector<int>& stays, bool comes_back)
    : between_(turns(stays, stays)),
      way_(stays.size()),
      last_(stays.empty() ? 0 : stays.size() - 1) {
  std::iota(way_.begin(), way_.end(), 0);
  go_to_nearest();
  if (comes_back && !way_.empty()) way_.push_back(way_.front());
}

void Tour::go_to_nearest() {
  constexpr double tie = 1e-12;
  for (std::size_t k = 1; k < way_.size(); ++k) {
    std::size_t nearest = k;
    for (std::size_t j = k + 1; j < way_.size(); ++j) {
      if (turn(k - 1, j) < turn(k - 1, nearest) - tie) nearest = j;
    }
    std::swap(way_[k], way_[nearest]);
  }
}

void Tour::add_up() {
  there_.assign(way_.size(), 0.0);
  back_.assign(way_.size(), 0.0);
  for (std::size_t k = 1; k < way_.size(); ++k) {
    there_[k] = there_[k - 1] + turn(k - 1, k);
    back_[k] = back_[k - 1] + turn(k, k - 1);
  }
}

/// What the way changes by when the part from i to j is gone the other way: at its two ends and, because a
/// turn one way may take longer than back, inside.
double Tour::minutes_by_turning_round(std::size_t i, std::size_t j) const {
  double change = turn(i - 1, j) - turn(i - 1, i);
  if (j + 1 < way_.size()) change += turn(i, j + 1) - turn(j, j + 1);
  return change + (back_[j] - back_[i]) - (there_[j] - there_[i]);
}

/// What the way changes by when the stay at i is made between those at j and j + 1 instead.
double Tour::minutes_by_moving(std::size_t i, std::size_t j) const {
  const auto turn_to = [&](std::size_t from, std::size_t to) {
    return to < way_.size() ? turn(from, to) : 0.0;
  };
  const double without = turn(i - 1, i) + turn_to(i, i + 1) - turn_to(i - 1, i + 1);
  const double with = turn(j, i) + turn_to(i, j + 1) - turn_to(j, j + 1);
  return with - without;
}

bool Tour::turn_parts_round() {
  bool shorter = false;
  add_up();
  for (std::size_t i = 1; i < last_; ++i) {
    for (std::size_t j = i + 1; j <= last_; ++j) {
      if (minutes_by_turning_round(i, j) > -clear_change) continue;
      std::reverse(way_.begin() + static_cast<std::ptrdiff_t>(i),
                   way_.begin() + static_cast<std::ptrdiff_t>(j) + 1);
      add_up();
      shorter = true;
    }
  }
  return shorter;
}

bool Tour::move_single_stays() {
  bool shorter = false;
  for (std::size_t i = 1; i <= last_; ++i) {
    for (std::size_t j = 0; j <= last_; ++j) {
      if (j == i || j + 1 == i || minutes_by_moving(i, j) > -clear_change) continue;
      const auto at_i = way_.begin() + static_cast<std::ptrdiff_t>(i);
      const auto at_j = way_.begin() + static_cast<std::ptrdiff_t>(j);
      if (i < j) {
        std::rotate(at_i, at_i + 1, at_j + 1);
      } else {
        std::rotate(at_j + 1, at_i, at_i + 1);
      }
      shorter = true;
    }
  }
  return shorter;
}

bool Tour::is_blocked(double blocked) const {
  for (std::size_t k = 1; k < way_.size(); ++k) {
    if (turn(k - 1, k) >= blocked) return true;
  }
  return false;
}

void Tour::shorten(double blocked, bool always) {
  while (turn_parts_round() || ((always || is_blocked(blocked)) && move_single_stays())) {
  }
}

Insertion::Insertion(const Eigen::MatrixXd& turns, std::vector<int> stays)
    : turns_(turns),
      stays_(std::move(stays)),
      known_(static_cast<std::size_t>(turns.rows()), unknown) {
  for (std::size_t k = 1; k < stays_.size(); ++k) {
    turn_after_.push_back(turns_(stays_[k - 1], stays_[k]));
  }
}

double Insertion::minutes(int stay) {
  double& least = known_[static_cast<std::size_t>(stay)];
  if (!std::isnan(least)) return least;
  double found = std::numeric_limits<double>::infinity();
  for (std::size_t k = 0; k < stays_.size(); ++k) {
    double more = turns_(stays_[k], stay);
    if (k + 1 < stays_.size()) more += turns_(stay, stays_[k + 1]) - turn_after_[k];
    found = std::min(found, more);
  }
  return least = found;
}

}  // namespace pivotrace
