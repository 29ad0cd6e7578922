// Short ways through a few stays.
#pragma once

#include <Eigen/Core>
#include <vector>

namespace pivotrace {

/// A way through all of some stays, begun at the first of them.
class Tour {
 public:
  /// Nearest next. `turns`: minutes from stay to stay (from, to). With `comes_back` the first stay is made again at the
  /// end.
  Tour(const Eigen::MatrixXd& turns, const std::vector<int>& stays, bool comes_back);

  /// Turns round parts of the way while that shortens it, and moves single stays `always` or where a turn takes
  /// `blocked` or longer. The first stays first, a repeated one last.
  void shorten(double blocked, bool always);

  /// Where the stays stand in the list it was made of; a repeated first one is 0 again.
  const std::vector<int>& order() const { return way_; }

 private:
  double turn(std::size_t from, std::size_t to) const { return between_(way_[from], way_[to]); }
  void go_to_nearest();
  void add_up();
  double minutes_by_turning_round(std::size_t i, std::size_t j) const;
  double minutes_by_moving(std::size_t i, std::size_t j) const;
  bool turn_parts_round();
  bool move_single_stays();
  bool is_blocked(double blocked) const;

  Eigen::MatrixXd between_;    ///< minutes from place to place in the list
  std::vector<int> way_;       ///< places in the list, one after the other
  std::size_t last_;           ///< that may be moved
  std::vector<double> there_;  ///< minutes up to every place of the way,
  std::vector<double> back_;   ///< and of the same way gone backwards
};

/// What one more stay adds to a way, at its best place in it.
class Insertion {
 public:
  Insertion(const Eigen::MatrixXd& turns, std::vector<int> stays);

  double minutes(int stay);

 private:
  const Eigen::MatrixXd& turns_;
  std::vector<int> stays_;
  std::vector<double> turn_after_;
  std::vector<double> known_;  ///< per stay; not a number where it was not asked for yet
};

}  // namespace pivotrace
