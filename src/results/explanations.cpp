#include "results/explanations.h"

#include <Eigen/Dense>
#include <algorithm>
#include <array>
#include <cmath>
#include <numeric>

#include "results/line_motion.h"

namespace pivotrace {

namespace {

/// Lengths that make a turn as large as a shift when ranks are judged.
constexpr double turn_arm_mm = 100.0;
constexpr double rank_tolerance = 1e-6;
/// Explanations this much less likely than the best are told apart from it (common practice, no source).
constexpr double told_apart_odds = 20.0;
constexpr double least_probability = 0.01;

/// One complete explanation: d = G p.
struct Candidate {
  CauseName cause;
  Eigen::MatrixXd gains;  ///< (n x k)
  bool turns = false;
  Eigen::MatrixXd motion;  ///< (6 x k) the rigid motion of p
  Eigen::Vector3d about_mm = Eigen::Vector3d::Zero();
  std::array<bool, 6> seen{};

  int freedoms = 0;
  Eigen::VectorXd fitted;  ///< whitened
  Eigen::VectorXd size;    ///< p
  double log_weight = 0.0;
};

using Motion = Eigen::Matrix<double, 6, Eigen::Dynamic>;

Motion any_motion() { return Motion::Identity(6, 6); }
Motion any_shift() { return Motion::Identity(6, 3); }

/// An axis line does not answer to a shift along itself or a turn about itself; what its lean makes of them
/// is nothing to read a size from.
std::array<bool, 6> seen_motions(const Eigen::MatrixXd& by_motion, const Motion& motion) {
  constexpr double least_answer = 0.05;
  std::array<bool, 6> seen{};
  for (Eigen::Index k = 0; k < 6; ++k) {
    const bool part_of_it = motion.row(k).cwiseAbs().maxCoeff() > least_answer;
    const double answer = by_motion.col(k).cwiseAbs().maxCoeff();
    seen[static_cast<std::size_t>(k)] = part_of_it && answer > least_answer;
  }
  return seen;
}

class Candidates {
 public:
  Candidates(const FitResult& result, const EpochPair& pair) : result_(result), pair_(pair) {
    for (const AxisSide side : {AxisSide::work, AxisSide::tool}) add_side(side);
    add({Cause::probe}, pair.axes, any_shift(), false);
    const std::vector<char> work = of_side(AxisSide::work);
    if (!work.empty()) add({Cause::machine_zero}, work, any_shift(), false);
    add_several();
  }

  std::vector<Candidate> all;

 private:
  /// Outermost first, as the machine file lists them.
  std::vector<char> of_side(AxisSide side) const {
    std::vector<char> letters;
    for (const char letter : pair_.axes) {
      if (axis(letter).side == side) letters.push_back(letter);
    }
    return letters;
  }

  const AxisResult& axis(char letter) const {
    return *std::ranges::find(result_.axes, letter, &AxisResult::letter);
  }

  void add_side(AxisSide side) {
    const std::vector<char> letters = of_side(side);
    if (letters.empty()) return;
    add_body({Cause::unit, letters.front(), side}, letters);
    for (std::size_t i = 0; i < letters.size(); ++i) {
      const std::vector<char> carried(letters.begin() + static_cast<std::ptrdiff_t>(i),
                                      letters.end());
      add_body({Cause::axis_bearing, letters[i], side}, carried);
      if (carried.size() > 1 || tells_zero(letters[i])) {
        add_zero({Cause::axis_zero, letters[i], side}, carried);
      }
    }
  }

  /// A body slides, or slides and turns: two explanations, because most bodies only slide.
  void add_body(const CauseName& cause, const std::vector<char>& moved) {
    add(cause, moved, any_shift(), false);
    add(cause, moved, any_motion(), true);
  }

  void add_zero(const CauseName& cause, const std::vector<char>& carried) {
    const Line& line = axis(cause.axis).line;
    const std::vector<char> inner(carried.begin() + 1, carried.end());
    Motion turn = Motion::Zero(6, 1);
    turn.bottomRows<3>() = line.direction;
    add(cause, inner, turn, true, line.point_mm);
    const auto own = std::ranges::find(pair_.names, axis_value(cause.axis, ValueKind::zero));
    if (own == pair_.names.end()) return;
    all.back().gains(own - pair_.names.begin(), 0) = turn_sign(axis(cause.axis).turn);
  }

  bool tells_zero(char letter) const {
    return std::ranges::find(pair_.names, axis_value(letter, ValueKind::zero)) != pair_.names.end();
  }

  void add_several() {
    Candidate candidate;
    candidate.cause = {Cause::several};
    candidate.gains = Eigen::MatrixXd::Identity(pair_.size(), pair_.size());
    candidate.motion = Eigen::MatrixXd::Zero(6, pair_.size());
    all.push_back(std::move(candidate));
  }

  void add(const CauseName& cause, const std::vector<char>& moved, const Motion& motion, bool turns,
           std::optional<Eigen::Vector3d> about_mm = std::nullopt) {
    Candidate candidate;
    candidate.cause = cause;
    candidate.turns = turns;
    candidate.motion = motion;
    // The zero of an innermost axis moves no line.
    candidate.about_mm = about_mm ? *about_mm : axis(moved.front()).line.point_mm;
    const Eigen::MatrixXd by_motion = motion_gains(result_, pair_.names, moved, candidate.about_mm);
    candidate.gains = by_motion * motion;
    candidate.seen = seen_motions(by_motion, motion);
    all.push_back(std::move(candidate));
  }

  const FitResult& result_;
  const EpochPair& pair_;
};

/// The change and its uncertainty with the bias as a further variance.
class Weighing {
 public:
  Weighing(const EpochPair& pair, double readings)
      : reference_(pair.reference), penalty_(0.5 * std::log(std::max(readings, 2.0))) {
    const Eigen::VectorXd variances = pair.bias.half_widths.cwiseAbs2() / 3.0;
    factor_.compute(pair.covariance +
                    pair.bias.gains * variances.asDiagonal() * pair.bias.gains.transpose());
    change_ = factor_.matrixL().solve(pair.change);
  }

  void weigh(Candidate& candidate) const {
    const Eigen::MatrixXd gains = factor_.matrixL().solve(candidate.gains);
    fit(candidate, gains);
    const double left = (change_ - candidate.fitted).squaredNorm();
    const double h = static_cast<double>(change_.size());
    const double dof = reference_.dof;
    const double scaled = left / reference_.scale;
    const double likelihood =
        std::isfinite(dof) ? -0.5 * (dof + h) * std::log1p(scaled / dof) : -0.5 * scaled;
    candidate.log_weight = likelihood - penalty_ * candidate.freedoms;
  }

 private:
  /// Shortest p in the units of the columns: what the values do not see stays 0.
  void fit(Candidate& candidate, const Eigen::MatrixXd& gains) const {
    candidate.fitted = Eigen::VectorXd::Zero(change_.size());
    candidate.size = Eigen::VectorXd::Zero(gains.cols());
    const Eigen::VectorXd scale = column_scale(candidate);
    Eigen::JacobiSVD<Eigen::MatrixXd> svd(gains * scale.asDiagonal(),
                                          Eigen::ComputeThinU | Eigen::ComputeThinV);
    svd.setThreshold(rank_tolerance);
    candidate.freedoms = static_cast<int>(svd.rank());
    candidate.size = scale.cwiseProduct(Eigen::VectorXd(svd.solve(change_)));
    candidate.fitted = gains * candidate.size;
  }

  static Eigen::VectorXd column_scale(const Candidate& candidate) {
    Eigen::VectorXd scale = Eigen::VectorXd::Ones(candidate.gains.cols());
    for (Eigen::Index j = 0; j < scale.size(); ++j) {
      if (candidate.motion.col(j).tail<3>().norm() > 0.0) scale[j] = 1.0 / turn_arm_mm;
    }
    return scale;
  }

  ScaledF reference_;
  double penalty_;
  Eigen::LLT<Eigen::MatrixXd> factor_;
  Eigen::VectorXd change_;
};

void name_cause(Explanation& line, const CauseName& cause) {
  if (std::ranges::find(line.what, cause) == line.what.end()) line.what.push_back(cause);
}

bool names(const Explanation& line, Cause cause) {
  return std::ranges::find(line.what, cause, &CauseName::cause) != line.what.end();
}

void fill_told_apart(Explanation& line) {
  if (line.what.size() < 2) return;
  const bool body = names(line, Cause::unit) || names(line, Cause::axis_bearing);
  const bool probe = names(line, Cause::probe);
  const bool zero = names(line, Cause::machine_zero);
  if (zero || (body && probe)) line.told_apart_by.push_back(TellApart::fixed_artefact);
  if (probe) line.told_apart_by.push_back(TellApart::flip_spindle);
  if (names(line, Cause::unit) && names(line, Cause::axis_bearing)) {
    line.told_apart_by.push_back(TellApart::housing_indicator);
  }
  const bool vague =
      names(line, Cause::several) || names(line, Cause::axis_zero) || line.told_apart_by.empty();
  if (vague) line.told_apart_by.push_back(TellApart::more_touches);
}

/// Same columns seen by the data, and the same change explained: one explanation with several names.
bool inseparable(const Candidate& a, const Candidate& b) {
  constexpr double same = 1e-4;
  return a.freedoms == b.freedoms && (a.fitted - b.fitted).norm() < same;
}

Explanation explanation_of(const Candidate& best) {
  Explanation line;
  line.what = {best.cause};
  line.turned = best.turns;
  line.seen = best.seen;
  line.size.about_mm = best.about_mm;
  const Eigen::VectorXd motion = best.motion * best.size;
  line.size.shift_mm = motion.head<3>();
  line.size.turn_rad = motion.tail<3>();
  return line;
}

/// The next line: the best candidate left and all that cannot be told from it. `whole` is the sum of
/// the weights of different explanations, so that one with many names is not counted many times.
Explanation next_line(std::vector<Candidate>& left, bool first) {
  const Candidate best = left.front();
  Explanation line = explanation_of(best);
  std::vector<Candidate> counted;
  std::vector<Candidate> others;
  for (const Candidate& candidate : left) {
    const bool same = inseparable(candidate, best);
    const bool close = first && best.log_weight - candidate.log_weight < std::log(told_apart_odds);
    if (!same && !close) {
      others.push_back(candidate);
      continue;
    }
    name_cause(line, candidate.cause);
    const bool seen =
        std::ranges::any_of(counted, [&](const Candidate& c) { return inseparable(c, candidate); });
    if (seen) continue;
    counted.push_back(candidate);
    line.probability += std::exp(candidate.log_weight);
  }
  left = std::move(others);
  fill_told_apart(line);
  return line;
}

/// One cause that can make every change leaves nothing for several to add.
void drop_needless_several(std::vector<Candidate>& candidates, Eigen::Index values) {
  const auto is_several = [](const Candidate& c) { return c.cause.cause == Cause::several; };
  const bool one_makes_all = std::ranges::any_of(
      candidates, [&](const Candidate& c) { return !is_several(c) && c.freedoms == values; });
  if (one_makes_all) std::erase_if(candidates, is_several);
}

}  // namespace

std::vector<Explanation> explanations_of(const FitResult& new_result, const EpochPair& pair,
                                         double readings) {
  std::vector<Candidate> left = Candidates(new_result, pair).all;
  const Weighing weighing(pair, readings);
  for (Candidate& candidate : left) weighing.weigh(candidate);
  drop_needless_several(left, pair.size());
  std::ranges::stable_sort(left, std::greater<>(), &Candidate::log_weight);
  const double best = left.front().log_weight;
  for (Candidate& candidate : left) candidate.log_weight -= best;
  std::vector<Explanation> lines;
  while (!left.empty()) lines.push_back(next_line(left, lines.empty()));
  const double whole =
      std::accumulate(lines.begin(), lines.end(), 0.0,
                      [](double sum, const Explanation& line) { return sum + line.probability; });
  for (Explanation& line : lines) line.probability /= whole;
  std::erase_if(lines, [&](const Explanation& line) {
    return &line != &lines.front() && line.probability < least_probability;
  });
  return lines;
}

}  // namespace pivotrace
