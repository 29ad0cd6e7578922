#include "pivotrace/plan/foresight.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <deque>
#include <utility>

#include "pivotrace/machine/kinematics.h"

namespace pivotrace {

namespace {

/// Directions with less than this in sum d d' of a visit are not seen by it.
constexpr double least_seen = 0.1;
/// A finding pass leaves this times e^2 / R of a sideways error e.
constexpr double left_by_a_pass = 0.75;

bool across(const Eigen::Vector3d& direction, int along) {
  return std::abs(direction[along]) <= 1.0 - 1e-12;
}

/// Of every axis what lies across it.
std::vector<LearnedCoordinate> coordinates_of_axes(const MachineState& state) {
  std::vector<LearnedCoordinate> coordinates;
  for (std::size_t i = 0; i < state.axis_lines.size(); ++i) {
    for (int k = 0; k < 3; ++k) {
      if (across(state.axis_lines[i].direction, k))
        coordinates.push_back({static_cast<int>(i), -1, k});
    }
  }
  return coordinates;
}

/// Touches on one target in a row, of target 0.
std::vector<ForeseenVisit> visits_of(const Machine& machine, const PlannedStation& station) {
  std::vector<ForeseenVisit> visits;
  for (std::size_t i = 0; i < station.touches.size(); ++i) {
    if (visits.empty() ||
        !same_target(machine, station.touches[visits.back().first_touch], station.touches[i])) {
      visits.push_back({0, i, 0, 0.0, 0.0, 0.0, 0, {}});
    }
    ++visits.back().touches;
  }
  return visits;
}

/// Of up to three columns.
double largest_singular_value(const Eigen::MatrixXd& columns) {
  Eigen::Matrix3d square = Eigen::Matrix3d::Zero();
  const Eigen::Index width = columns.cols();
  square.topLeftCorner(width, width) = columns.transpose().lazyProduct(columns);
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> eigen(square, Eigen::EigenvaluesOnly);
  return std::sqrt(std::max(0.0, eigen.eigenvalues()[2]));
}

/// The same with the coordinates of all targets.
struct Sight {
  Eigen::MatrixXd h;  ///< 3 x n, machine frame, all directions
  const TargetSight* own = nullptr;
  Eigen::Index place_column = 0;  ///< where the coordinates of the target itself begin
};

/// Everything the file may have wrong, as far as it has not been found yet.
struct Ignorance {
  Eigen::MatrixXd from_file;  ///< n x n: errors now from errors of the file
  Eigen::MatrixXd scatter;    ///< n x n: covariance of errors from what directions leave unsaid
  Eigen::MatrixXd believed;   ///< n x n: covariance the gains are made from

  void learn(const Eigen::MatrixXd& gain, const Eigen::MatrixXd& h) {
    const Eigen::MatrixXd keep =
        Eigen::MatrixXd::Identity(believed.rows(), believed.rows()) - gain * h;
    const Eigen::MatrixXd noise = unsaid_mm * unsaid_mm * gain * gain.transpose();
    from_file = keep * from_file;
    scatter = keep * scatter * keep.transpose() + noise;
    believed = keep * believed * keep.transpose() + noise;
  }
};

/// Exact: the place is linear in every coordinate.
void weigh_coordinates(const Machine& machine, const MachineState& state,
                       const PlannedStation& station, int carrier,
                       const Eigen::Vector3d& place_at_zero, TargetSight& sight) {
  const auto shown = [&](const MachineState& moved, const Eigen::Vector3d& at_zero) {
    return shown_from_stylus(
        machine, moved, machine_from_carried(machine, moved, carrier, at_zero, station.angles_rad),
        station.angles_rad);
  };
  const Eigen::Vector3d nominal = shown(state, place_at_zero);
  const std::vector<LearnedCoordinate> axes = coordinates_of_axes(state);
  sight.of_axes.resize(3, static_cast<Eigen::Index>(axes.size()));
  MachineState moved = state;
  for (std::size_t j = 0; j < axes.size(); ++j) {
    double& coordinate = moved.axis_lines[axes[j].axis].point_mm[axes[j].along];
    const double was = std::exchange(coordinate, coordinate + 1.0);
    sight.of_axes.col(static_cast<Eigen::Index>(j)) = shown(moved, place_at_zero) - nominal;
    coordinate = was;
  }
  for (int k = 0; k < 3; ++k) {
    sight.of_target.col(k) = shown(state, place_at_zero + Eigen::Vector3d::Unit(k)) - nominal;
  }
}

void look(const Machine& machine, const MachineState& state, const ProbingDistances& distances,
          const PlannedStation& station, const ForeseenVisit& visit, TargetSight& sight) {
  const PlannedTouch& first = station.touches[visit.first_touch];
  const bool flat = machine.artefacts[first.artefact].kind == ArtefactKind::flat;
  Eigen::Matrix3d normal = Eigen::Matrix3d::Zero();
  sight.outward.resize(3, static_cast<Eigen::Index>(visit.touches));
  for (std::size_t i = 0; i < visit.touches; ++i) {
    const PlacedTouch placed = place_touch(machine, state, distances, station.angles_rad,
                                           station.touches[visit.first_touch + i]);
    normal += placed.outward * placed.outward.transpose();
    sight.outward.col(static_cast<Eigen::Index>(i)) = placed.outward;
    sight.curve_mm = flat ? 0.0 : placed.reach_mm;
  }
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> eigen(normal);
  Eigen::Index seen = 0;
  for (int i = 0; i < 3; ++i) seen += eigen.eigenvalues()[i] >= least_seen ? 1 : 0;
  sight.seen = eigen.eigenvectors().rightCols(seen);
}

class Foreseer {
 public:
  using Sights = std::function<const std::vector<TargetSight>&(std::size_t station)>;

  Foreseer(const Machine& machine, const Plan& plan, double sure_mm, bool only_passes,
           Sights sights)
      : machine_(machine),
        plan_(plan),
        state_(nominal_state(machine)),
        sure_mm_(sure_mm),
        only_passes_(only_passes),
        known_sights_(std::move(sights)) {}

  Foresight foresee() {
    list_visits();
    list_coordinates();
    std::vector<std::vector<Sight>> sights;
    for (std::size_t i = 0; i < plan_.stations.size(); ++i) sights.push_back(sights_of(i));
    Ignorance now = at_first();
    made_.learned_after = plan_.stations.size();
    for (std::size_t i = 0; i < plan_.stations.size(); ++i) {
      if (made_.learned_after == plan_.stations.size() && sure_from(i, sights, now)) {
        made_.learned_after = i;
      }
      const bool learning = i < made_.learned_after;
      for (std::size_t k = 0; k < sights[i].size(); ++k) {
        visit(made_.stations[i][k], sights[i][k], learning, now);
      }
    }
    return std::move(made_);
  }

 private:
  void list_visits() {
    for (const PlannedStation& station : plan_.stations) {
      std::vector<ForeseenVisit> visits = visits_of(machine_, station);
      for (ForeseenVisit& visit : visits)
        visit.target = target_of(station.touches[visit.first_touch]);
      made_.stations.push_back(std::move(visits));
    }
  }

  int target_of(const PlannedTouch& touch) {
    for (std::size_t i = 0; i < made_.targets.size(); ++i) {
      if (same_target(machine_, made_.targets[i], touch)) return static_cast<int>(i);
    }
    made_.targets.push_back(touch);
    return static_cast<int>(made_.targets.size()) - 1;
  }

  void list_coordinates() {
    made_.coordinates = coordinates_of_axes(state_);
    for (std::size_t i = 0; i < made_.targets.size(); ++i) {
      for (int k = 0; k < 3; ++k) made_.coordinates.push_back({-1, static_cast<int>(i), k});
    }
  }

  Eigen::Index size() const { return static_cast<Eigen::Index>(made_.coordinates.size()); }

  Ignorance at_first() const {
    const Eigen::MatrixXd one = Eigen::MatrixXd::Identity(size(), size());
    const double rough = std::max(plan_.distances.rough, 0.0);
    return {one, 0.0 * one, std::max(rough * rough, 1e-6) * one};
  }

  std::vector<Sight> sights_of(std::size_t station) {
    const std::vector<TargetSight>* known = nullptr;
    if (known_sights_) {
      known = &known_sights_(station);
    } else {
      own_sights_.push_back(sights_at(machine_, state_, plan_.distances, plan_.stations[station]));
      known = &own_sights_.back();
    }
    std::vector<Sight> sights;
    for (std::size_t k = 0; k < known->size(); ++k) {
      const TargetSight& own = (*known)[k];
      const Eigen::Index axes = own.of_axes.cols();
      Sight sight;
      sight.own = &own;
      sight.place_column = axes + 3 * made_.stations[station][k].target;
      sight.h = Eigen::MatrixXd::Zero(3, size());
      sight.h.leftCols(axes) = own.of_axes;
      sight.h.middleCols<3>(sight.place_column) = own.of_target;
      sights.push_back(std::move(sight));
    }
    return sights;
  }

  Eigen::MatrixXd best_gain(const Sight& sight, const Ignorance& now) const {
    const Eigen::MatrixXd h = sight.own->seen.transpose() * sight.h;
    const Eigen::MatrixXd cross = now.believed * h.transpose();
    Eigen::MatrixXd spread = h * cross;
    spread.diagonal().array() += unsaid_mm * unsaid_mm;
    return spread.ldlt().solve(cross.transpose()).transpose() * sight.own->seen.transpose();
  }

  /// Only the place of the target follows what was found.
  Eigen::MatrixXd gain_of_keeping(const Sight& sight) const {
    Eigen::MatrixXd gain = Eigen::MatrixXd::Zero(size(), 3);
    gain.middleRows<3>(sight.place_column) =
        sight.own->of_target.transpose() * sight.own->seen * sight.own->seen.transpose();
    return gain;
  }

  /// Errors of one centre or place are together no longer than `rough`: the length its 3 x 2 or 3 x 3
  /// part can make of them, added up.
  double off_mm(const Eigen::MatrixXd& directions, const Sight& sight, const Ignorance& now) const {
    const Eigen::MatrixXd h = directions.transpose() * sight.h;
    const Eigen::MatrixXd error = h * now.from_file;
    double off = 0.0;
    for (Eigen::Index j = 0; j < size();) {
      Eigen::Index width = 1;
      while (j + width < size() && same_point(j, j + width)) ++width;
      off += largest_singular_value(error.middleCols(j, width));
      j += width;
    }
    const double variance = (h * now.scatter * h.transpose()).trace();
    return std::max(plan_.distances.rough, 0.0) * off + 2.0 * std::sqrt(std::max(variance, 0.0));
  }

  /// Along one direction a place off by e is met off by its part along it and e^2 / 2R of what lies across.
  double met_off_mm(const Eigen::Vector3d& direction, const Sight& sight,
                    const Ignorance& now) const {
    const double off = off_mm(Eigen::Matrix3d::Identity(), sight, now);
    const double sideways = sight.own->curve_mm > 0.0 ? 0.5 * off * off / sight.own->curve_mm : 0.0;
    return off_mm(direction, sight, now) + sideways;
  }

  double met_off_mm(const Sight& sight, const Ignorance& now) const {
    double most = 0.0;
    for (const auto& outward : sight.own->outward.colwise()) {
      most = std::max(most, met_off_mm(outward, sight, now));
    }
    return most;
  }

  bool same_point(Eigen::Index a, Eigen::Index b) const {
    return made_.coordinates[a].axis == made_.coordinates[b].axis &&
           made_.coordinates[a].target == made_.coordinates[b].target;
  }

  /// Keeping each target where it was found last is enough from this station on.
  bool sure_from(std::size_t first, const std::vector<std::vector<Sight>>& sights,
                 Ignorance now) const {
    for (std::size_t i = first; i < sights.size(); ++i) {
      for (const Sight& sight : sights[i]) {
        if (off_mm(sight.own->seen, sight, now) > sure_mm_) return false;
        now.learn(gain_of_keeping(sight), sight.h);
      }
    }
    return true;
  }

  void visit(ForeseenVisit& made, const Sight& sight, bool learning, Ignorance& now) const {
    made.off_mm = off_mm(sight.own->seen, sight, now);
    if (!only_passes_) {
      made.met_off_mm = met_off_mm(sight, now);
      made.felt_off_mm = met_off_mm(Eigen::Vector3d::UnitZ(), sight, now);
    }
    made.finding_passes = passes_for(made.off_mm, sight.own->curve_mm);
    made.gain = learning ? best_gain(sight, now) : gain_of_keeping(sight);
    now.learn(made.gain, sight.h);
  }

  int passes_for(double off_mm, double curve_mm) const {
    int passes = 0;
    const int most = plan_.distances.rough > 0.0 ? most_finding_passes : 0;
    while (off_mm > sure_mm_ && passes < most) {
      off_mm = curve_mm > 0.0 ? left_by_a_pass * off_mm * off_mm / curve_mm : 0.0;
      ++passes;
    }
    return passes;
  }

  const Machine& machine_;
  const Plan& plan_;
  const MachineState state_;
  const double sure_mm_;
  const bool only_passes_;
  const Sights known_sights_;
  std::deque<std::vector<TargetSight>> own_sights_;
  Foresight made_;
};

}  // namespace

bool same_target(const Machine& machine, const PlannedTouch& a, const PlannedTouch& b) {
  if (a.artefact != b.artefact) return false;
  switch (machine.artefacts[a.artefact].kind) {
    case ArtefactKind::ball: return true;
    case ArtefactKind::flat:
      return a.out_mm == b.out_mm && (a.out_mm == 0.0 || a.around_rad == b.around_rad);
    case ArtefactKind::pin:
    case ArtefactKind::bore: break;
  }
  return a.along_mm == b.along_mm;
}

std::vector<TargetSight> sights_at(const Machine& machine, const MachineState& state,
                                   const ProbingDistances& distances,
                                   const PlannedStation& station) {
  std::vector<TargetSight> sights;
  for (const ForeseenVisit& visit : visits_of(machine, station)) {
    const PlannedTouch& touch = station.touches[visit.first_touch];
    const Eigen::Vector3d place_at_zero =
        place_touch(machine, state, distances, {}, touch).centre_mm;
    TargetSight sight;
    weigh_coordinates(machine, state, station, machine.artefacts[touch.artefact].carried_by,
                      place_at_zero, sight);
    look(machine, state, distances, station, visit, sight);
    sights.push_back(std::move(sight));
  }
  return sights;
}

Foresight foresee(const Machine& machine, const Plan& plan, double sure_mm) {
  return Foreseer(machine, plan, sure_mm, false, {}).foresee();
}

Foresight foresee(const Machine& machine, const Plan& plan) {
  return foresee(machine, plan, sure_share_of_limit * plan.distances.limit);
}

Foresight foresee_passes(
    const Machine& machine, const Plan& plan,
    const std::function<const std::vector<TargetSight>&(std::size_t station)>& sights) {
  return Foreseer(machine, plan, sure_share_of_limit * plan.distances.limit, true, sights)
      .foresee();
}

}  // namespace pivotrace
