// Every touch of a station and its derivatives at one point of the unknowns.
#pragma once

#include <Eigen/Core>
#include <array>
#include <utility>
#include <vector>

#include "estimate/model.h"
#include "pivotrace/contact/derivatives.h"

namespace pivotrace {

/// Gaps of one station and their derivatives, unweighted.
struct StationBlock {
  Eigen::VectorXd gap;          ///< (m) mm
  Eigen::MatrixXd by_unknown;   ///< (m x p)
  Eigen::MatrixXd by_nuisance;  ///< (m x k): shown X, Y, Z [mm/mm], rotary angles [mm/rad]
  Eigen::MatrixXd by_common;    ///< (m x c): the effects asked for as common-mode terms
  Eigen::MatrixXd by_shared;    ///< (m x a): SharedEffects::of_station, in that order
};

/// How a line moves for a unit of each of the four numbers of its chart: shifts of its point, changes
/// of its direction.
struct LineMoves {
  contact::Vec3<double> shift_first, shift_second, tilt_first, tilt_second;
};

/// What is off at one station: shown X, Y, Z [mm], then the angle of every axis [rad].
using StationErrors = std::array<double, 3 + max_rotary_axes>;

/// Evaluates stations at one point. Costs one rotation per axis and station, then about 200
/// floating-point operations a touch.
class Linearisation {
 public:
  Linearisation(const Model& model, const Eigen::VectorXd& unknowns);

  /// Derivatives are taken where every station has these errors, and the gaps are those which straight
  /// lines from there give without the errors. Empty: no errors.
  void bend_by(std::vector<StationErrors> errors) { errors_ = std::move(errors); }

  /// `nuisance`: deviations of this station (3 shifts [mm], one angle [rad] per axis), may be null; not
  /// after bend_by().
  void evaluate(int station, const double* nuisance, StationBlock& block,
                const std::vector<Effect>& common = {}) const;

  /// (m x 3) How a motion of what carries this axis, along X, Y, Z in the frame outside it, moves the gaps
  /// of a station whose `block` was evaluated here; 0 for touches that do not feel the axis.
  Eigen::MatrixXd by_motion(int station, int axis, const StationBlock& block) const;

  /// The rotary axes at one station, with what the optional unknowns do to their angles.
  contact::Chain<double> station_chain(int station, const double* nuisance) const;
  /// Where the stylus centre of a touch was, seen from what carries its artefact, with what the optional
  /// unknowns and the survey's own do to it; the touch may be one that was left out.
  Eigen::Vector3d stylus_in_carried(const Touch& touch, const RotaryAngles& angles_rad) const;
  /// Outward normal under one touch in the frame of the spindle as it stands unflipped.
  Eigen::Vector3d outward_in_spindle(const Touch& touch, const contact::Chain<double>& chain) const;

  const MachineState& state() const { return state_; }

 private:
  void fill_shared(int station, StationBlock& block) const;
  void take_errors_back(int station, StationBlock& block) const;
  struct Row;
  contact::Reading<double> reading(const Touch& touch, const double* nuisance) const;
  void evaluate_touch(const Touch& touch, const contact::Chain<double>& chain,
                      const double* nuisance, int row, StationBlock& block,
                      const std::vector<Effect>& common) const;
  void write_row(const Row& at, StationBlock& block, const std::vector<Effect>& common) const;
  void write_place(const Row& at,
                   Eigen::Ref<Eigen::RowVectorXd, 0, Eigen::InnerStride<>> by_unknown) const;
  void write_effects(const Row& at, StationBlock& block, const std::vector<Effect>& common) const;

  const Model& model_;
  const Eigen::VectorXd& unknowns_;
  MachineState state_;
  std::vector<StationErrors> errors_;
  contact::Chain<double> chain_at_zero_;
  std::vector<LineMoves> axis_moves_;
  std::vector<LineMoves> place_moves_;
};

/// Of all readings, without station errors [mm^2].
double sum_of_squared_gaps(const Model& model, const Eigen::VectorXd& unknowns);

}  // namespace pivotrace
