#include "pivotrace/pivots/shim.h"

#include <fmt/format.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <map>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/rotation.h"
#include "pivotrace/pivots/pivot_values.h"
#include "pivots/shim_stack.h"

namespace pivotrace {

namespace {

/// Leans below this are not worth a hammer: 0.1 um over 300 mm (common practice, no source).
constexpr double no_turn_rad = 3e-7;
/// Enough for any table; each adds a row to the sheet (common practice, no source).
constexpr int fewest_feet = 2;
constexpr std::size_t most_feet = 24;

Expected<const AxisResult*> chosen_axis(const FitResult& result, std::optional<char> letter) {
  for (const AxisResult& axis : result.axes) {
    if (axis.side != AxisSide::work || (letter && axis.letter != *letter)) continue;
    if (axis.estimated) return &axis;
    if (letter) break;
  }
  return failure({ProblemNumber::no_such_value,
                  letter ? fmt::format("axis {} is not a measured work-side axis", *letter)
                         : std::string("this result has no measured axis on the work side"),
                  {},
                  "only a unit that stands on the machine table can be shimmed"});
}

/// The smallest turn that brings direction u to n, axis times angle [rad].
Eigen::Vector3d turn_between(const Eigen::Vector3d& u, const Eigen::Vector3d& n) {
  const Eigen::Vector3d cross = u.cross(n);
  const double sine = cross.norm();
  if (sine == 0.0) return Eigen::Vector3d::Zero();
  return cross / sine * std::atan2(sine, u.dot(n));
}

/// Rows: by how much each foot rises, beyond all together, per turn about (t1, t2), the two
/// directions in the table. (w x r) . m = w . (r x m).
struct TablePlane {
  Eigen::Vector3d m;
  Eigen::Vector3d t1;
  Eigen::Vector3d t2;

  explicit TablePlane(const Eigen::Vector3d& normal) : m(normal.normalized()) {
    const CrossPair pair = cross_pair(m);
    t1 = pair.first;
    t2 = pair.second;
  }
  Eigen::RowVector2d rise(const Eigen::Vector3d& r_mm) const {
    const Eigen::Vector3d lever = r_mm.cross(m);
    return {lever.dot(t1), lever.dot(t2)};
  }
  Eigen::Vector3d turn(const Eigen::Vector2d& w) const { return w[0] * t1 + w[1] * t2; }
  Eigen::Vector2d in_table(const Eigen::Vector3d& w) const { return {w.dot(t1), w.dot(t2)}; }
};

Eigen::MatrixXd rises(const TablePlane& table, const std::vector<Foot>& feet, bool fixed_only) {
  std::vector<Eigen::RowVector2d> rows;
  for (const Foot& foot : feet) {
    if (!fixed_only || foot.fixed) rows.push_back(table.rise(foot.at_mm));
  }
  Eigen::MatrixXd matrix(static_cast<Eigen::Index>(rows.size()), 2);
  for (std::size_t i = 0; i < rows.size(); ++i) matrix.row(static_cast<Eigen::Index>(i)) = rows[i];
  if (matrix.rows() > 0) matrix.rowwise() -= Eigen::RowVector2d(matrix.colwise().mean());
  return matrix;
}

/// Projector onto the turns in the table that `rises` can see.
Eigen::Matrix2d seen_turns(const Eigen::MatrixXd& rises) {
  if (rises.rows() < 2) return Eigen::Matrix2d::Zero();
  const Eigen::JacobiSVD<Eigen::MatrixXd> svd(rises, Eigen::ComputeFullV);
  // Feet closer than this to one line cannot steady a turn about it (common practice, no source).
  constexpr double least_spread_mm = 1.0;
  Eigen::Matrix2d projector = Eigen::Matrix2d::Zero();
  for (Eigen::Index i = 0; i < svd.singularValues().size(); ++i) {
    if (svd.singularValues()[i] < least_spread_mm) continue;
    const Eigen::Vector2d v = svd.matrixV().col(i);
    projector += v * v.transpose();
  }
  return projector;
}

/// Part of a turn that changes the direction n; the rest spins the unit about its own axis.
Eigen::Vector3d leaning_part(const Eigen::Vector3d& w, const Eigen::Vector3d& n) {
  return w - w.dot(n) * n;
}

class Advisor {
 public:
  Advisor(const AxisResult& axis, const Mounting& mounting)
      : axis_(axis),
        mounting_(mounting),
        table_(mounting.table_normal),
        wanted_(turn_between(axis.line.direction, axis.nominal.direction)) {
    advice_.letter = axis.letter;
    advice_.lean_rad = wanted_.norm();
    advice_.lean_U95_rad = axis.lean.U95_absolute;
  }

  ShimAdvice advise() {
    weigh();
    lay_shims();
    plan_tap();
    const Eigen::Vector3d left = wanted_ - shimmed_ - tapped_;
    advice_.lean_expected_rad = leaning_part(left, axis_.nominal.direction).norm();
    foresee_centre();
    return advice_;
  }

 private:
  void note(ShimNote::Kind kind, const std::string& foot = "", double amount_mm = 0.0) {
    advice_.notes.push_back({kind, foot, amount_mm, mounting_.keys.size(), '\0'});
  }

  void weigh() {
    advice_.nothing_to_gain = !(advice_.lean_rad > advice_.lean_U95_rad);
    // Half a turn about a leaning axis turns the lean round: twice the lean times the reach.
    advice_.left_by_offset_mm = 2.0 * std::tan(advice_.lean_rad) * mounting_.part_reach_mm;
    advice_.offset_is_enough = advice_.left_by_offset_mm <= mounting_.mismatch_mm;
  }

  void lay_shims() {
    const Eigen::Vector2d in_table = table_.in_table(wanted_);
    const Eigen::MatrixXd fixed = rises(table_, mounting_.feet, true);
    const Eigen::MatrixXd all = rises(table_, mounting_.feet, false);
    const Eigen::Matrix2d free = Eigen::Matrix2d::Identity() - seen_turns(fixed);
    const Eigen::Vector2d possible = seen_turns(all) * (free * in_table);
    if ((in_table - possible).norm() > std::max(no_turn_rad, 0.02 * in_table.norm())) {
      note(ShimNote::Kind::lean_stays);
    }
    const std::vector<double> exact = exact_rises(possible);
    const StackRequest request{exact, fixed_feet(), shims(), mounting_.most_shims};
    // Only the part of a rounding error that leans the axis counts.
    const auto lean_of = [&](const std::vector<double>& rise_errors) {
      const Eigen::Vector3d w = table_.turn(turn_of(all, rise_errors));
      return leaning_part(w, axis_.nominal.direction).norm();
    };
    const std::vector<ShimStack> stacks = round_to_shims(request, lean_of);
    std::vector<double> laid;
    for (std::size_t i = 0; i < stacks.size(); ++i) {
      laid.push_back(stacks[i].thickness_mm);
      advice_.feet.push_back(
          {mounting_.feet[i].name, exact[i], stacks[i].thickness_mm, stacks[i].pieces_mm});
      if (exact[i] < -smallest_shim() / 2.0) {
        note(ShimNote::Kind::foot_too_high, mounting_.feet[i].name, -exact[i]);
      }
    }
    const Eigen::Vector2d turned = turn_of(all, laid);
    shimmed_ = table_.turn(turned);
    const double mean = mean_of(laid);
    for (std::size_t i = 0; i < laid.size(); ++i) {
      const double plane = mean + all.row(static_cast<Eigen::Index>(i)).dot(turned);
      advice_.rock_mm = std::max(advice_.rock_mm, std::abs(laid[i] - plane));
    }
    lift_mm_ = mean;
  }

  /// Heights that make this turn, all of them at least 0 where no foot is fixed.
  std::vector<double> exact_rises(const Eigen::Vector2d& w) const {
    std::vector<double> rise;
    for (const Foot& foot : mounting_.feet) rise.push_back(table_.rise(foot.at_mm).dot(w));
    double base = *std::min_element(rise.begin(), rise.end());
    for (std::size_t i = 0; i < rise.size(); ++i) {
      if (mounting_.feet[i].fixed) base = rise[i];
    }
    for (double& r : rise) r -= base;
    return rise;
  }

  static double mean_of(const std::vector<double>& numbers) {
    double sum = 0.0;
    for (const double number : numbers) sum += number;
    return sum / static_cast<double>(numbers.size());
  }

  /// Least-squares turn that explains rises of the feet, beyond their mean.
  static Eigen::Vector2d turn_of(const Eigen::MatrixXd& all, const std::vector<double>& rise) {
    const Eigen::Map<const Eigen::VectorXd> h(rise.data(), static_cast<Eigen::Index>(rise.size()));
    const Eigen::VectorXd beyond = h.array() - h.mean();
    return all.completeOrthogonalDecomposition().solve(beyond);
  }

  std::vector<bool> fixed_feet() const {
    std::vector<bool> fixed;
    for (const Foot& foot : mounting_.feet) fixed.push_back(foot.fixed);
    return fixed;
  }

  const std::vector<double>& shims() const {
    return mounting_.shims_mm.empty() ? usual_shims_mm() : mounting_.shims_mm;
  }
  double smallest_shim() const { return *std::min_element(shims().begin(), shims().end()); }

  void plan_tap() {
    const double turn = wanted_.dot(table_.m);
    const Eigen::Vector3d sideways = table_.m.cross(axis_.nominal.direction);
    if (std::abs(turn) < no_turn_rad || sideways.norm() < 0.1) return;
    TapAdvice tap;
    choose_pivot(tap);
    // A turn about m moves a foot at r by turn m x r: sideways by turn times its distance ahead, as
    // the axis runs across the table. An axis that rises from the table runs across it shortened.
    const Eigen::Vector3d across = sideways.normalized();
    const Eigen::Vector3d ahead = across.cross(table_.m);
    const Foot* far = farthest_foot(tap.pivot_mm, ahead);
    if (far == nullptr) return;
    const double travel = turn * (far->at_mm - tap.pivot_mm).dot(ahead);
    tap.at = far->name;
    tap.amount_mm = std::abs(travel);
    tap.towards = across * (travel < 0.0 ? -1.0 : 1.0);
    tap.turn_rad = turn;
    tapped_ = turn * table_.m;
    check_keys(turn);
    advice_.tap = tap;
  }

  void choose_pivot(TapAdvice& tap) const {
    if (mounting_.keys.size() == 1) {
      tap.about = "key \"" + mounting_.keys.front().name + "\"";
      tap.pivot_mm = mounting_.keys.front().at_mm;
      return;
    }
    const auto fixed = std::find_if(mounting_.feet.begin(), mounting_.feet.end(),
                                    [](const Foot& foot) { return foot.fixed; });
    const Foot& foot = fixed != mounting_.feet.end() ? *fixed : mounting_.feet.front();
    tap.about = "foot \"" + foot.name + "\"";
    tap.pivot_mm = foot.at_mm;
  }

  const Foot* farthest_foot(const Eigen::Vector3d& pivot_mm, const Eigen::Vector3d& ahead) const {
    const auto reach = [&](const Foot& foot) {
      return std::abs((foot.at_mm - pivot_mm).dot(ahead));
    };
    const auto far = std::max_element(
        mounting_.feet.begin(), mounting_.feet.end(),
        [&](const Foot& left, const Foot& right) { return reach(left) < reach(right); });
    // Closer to the pivot nobody sets an indicator (common practice, no source).
    constexpr double shortest_lever_mm = 10.0;
    return reach(*far) < shortest_lever_mm ? nullptr : &*far;
  }

  void check_keys(double turn) {
    if (mounting_.keys.size() < 2) return;
    double clearance = 0.0;
    double apart = 0.0;
    for (const Key& key : mounting_.keys) {
      clearance = std::max(clearance, key.clearance_mm);
      for (const Key& other : mounting_.keys) {
        apart = std::max(apart, (key.at_mm - other.at_mm).norm());
      }
    }
    // Two keys with play c, L apart, let the unit turn by c / L to either side from the middle.
    if (apart > 0.0 && std::abs(turn) <= clearance / apart) return;
    note(ShimNote::Kind::held_by_keys);
  }

  void foresee_centre() {
    Eigen::Vector3d middle = Eigen::Vector3d::Zero();
    for (const Foot& foot : mounting_.feet) {
      middle += foot.at_mm / static_cast<double>(mounting_.feet.size());
    }
    const auto moved = [&](const Eigen::Vector3d& p) -> Eigen::Vector3d {
      const Eigen::Vector3d lifted = p + lift_mm_ * table_.m + shimmed_.cross(p - middle);
      return advice_.tap ? Eigen::Vector3d(lifted + tapped_.cross(p - advice_.tap->pivot_mm))
                         : lifted;
    };
    const Line& now = axis_.line;
    const Line then{moved(now.point_mm),
                    (now.direction + (shimmed_ + tapped_).cross(now.direction)).normalized()};
    const Eigen::Vector3d& n = axis_.nominal.direction;
    const Eigen::Vector3d centre = pierce_plane(then, n, n.dot(now.point_mm));
    advice_.centre_shift_mm = centre - now.point_mm;
    if (!mounting_.tailstock_mm) return;
    const Eigen::Vector3d on_line = pierce_plane(then, n, n.dot(*mounting_.tailstock_mm));
    advice_.tailstock_shift_mm = on_line - *mounting_.tailstock_mm;
  }

  const AxisResult& axis_;
  const Mounting& mounting_;
  TablePlane table_;
  Eigen::Vector3d wanted_;
  Eigen::Vector3d shimmed_ = Eigen::Vector3d::Zero();
  Eigen::Vector3d tapped_ = Eigen::Vector3d::Zero();
  double lift_mm_ = 0.0;
  ShimAdvice advice_;
};

}  // namespace

const std::vector<double>& usual_shims_mm() {
  static const std::vector<double> shims = {0.01, 0.02, 0.03, 0.05, 0.10, 0.20, 0.30, 0.50, 1.00};
  return shims;
}

Problems Mounting::validate() const {
  Problems problems;
  const auto add = [&](const Place& where, const std::string& what, const std::string& advice) {
    problems.push_back({ProblemNumber::out_of_range, what, where, advice});
  };
  const Place here{file, 0, 0};
  if (feet.size() < fewest_feet || feet.size() > most_feet) {
    add(here,
        fmt::format("{} feet: the unit must stand on {} to {}", feet.size(), fewest_feet,
                    most_feet),
        "add a [[foot]] for each place the unit stands on");
  }
  std::map<std::string, int> names;
  for (const Foot& foot : feet) {
    if (!foot.at_mm.allFinite())
      add(foot.where, "a foot is not at three numbers", "at = [x, y, z]");
    if (++names[foot.name] == 2) {
      problems.push_back({ProblemNumber::duplicate_name,
                          fmt::format("two feet are called \"{}\"", foot.name), foot.where,
                          "give each its own name"});
    }
  }
  if (!(table_normal.norm() > 0.0)) add(here, "the table normal has no direction", "[0, 0, 1]");
  for (const double shim : shims_mm) {
    if (!(shim > 0.0) || shim > 50.0) add(here, "a shim is not between 0 and 50 mm thick", "");
  }
  if (most_shims < 1 || most_shims > 5) add(here, "most_shims is out of range", "use 1 to 5");
  if (!(part_reach_mm >= 0.0)) add(here, "part_reach is negative", "");
  if (!(mismatch_mm > 0.0)) add(here, "mismatch is not above 0", "");
  return problems;
}

Expected<ShimAdvice> shim_advice(const FitResult& result, const Mounting& mounting,
                                 std::optional<char> letter) {
  Problems problems = reasons_not_to_write(result);
  const Problems mounting_problems = mounting.validate();
  problems.insert(problems.end(), mounting_problems.begin(), mounting_problems.end());
  if (!mounting.machine.empty() && mounting.machine != result.machine_name) {
    problems.push_back({ProblemNumber::other_machine,
                        fmt::format("the result is for the machine \"{}\", the feet are those of "
                                    "\"{}\"",
                                    result.machine_name, mounting.machine),
                        {mounting.file, 0, 0},
                        "take the feet of this machine"});
  }
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  const Expected<const AxisResult*> axis = chosen_axis(result, letter);
  if (!axis) return tl::make_unexpected(axis.error());
  ShimAdvice advice = Advisor(**axis, mounting).advise();
  for (const AxisResult& other : result.axes) {
    if (&other == *axis || other.side != AxisSide::work) continue;
    const bool outer = &other < *axis;
    advice.notes.push_back({outer ? ShimNote::Kind::carried_by_axis : ShimNote::Kind::carries_axis,
                            "", 0.0, 0, other.letter});
  }
  return advice;
}

}  // namespace pivotrace
