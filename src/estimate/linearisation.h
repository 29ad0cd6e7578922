// Every touch of a station and its derivatives at one point of the unknowns.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "estimate/model.h"

namespace pivotrace {

/// Gaps of one station and their derivatives, unweighted.
struct StationBlock {
  Eigen::VectorXd gap;          ///< (m) mm
  Eigen::MatrixXd by_unknown;   ///< (m x p)
  Eigen::MatrixXd by_nuisance;  ///< (m x k): shown X, Y, Z [mm/mm], rotary angles [mm/rad]
  Eigen::MatrixXd by_common;    ///< (m x c): the effects asked for as common-mode terms
};

struct PointJet;
struct SurfaceJet;

/// Evaluates stations at one point. Costs one rotation per axis and station, then about 300
/// floating-point operations a touch.
class Linearisation {
 public:
  Linearisation(const Model& model, const Eigen::VectorXd& unknowns);

  /// `nuisance`: deviations of this station (3 shifts [mm], one angle [rad] per axis), may be null.
  void evaluate(int station, const double* nuisance, StationBlock& block,
                const std::vector<Effect>& common = {}) const;

  const MachineState& state() const { return state_; }

 private:
  struct Frame;
  struct Placed;
  struct Carried;
  Frame frame(const RotaryAngles& angles_rad) const;
  Frame station_frame(int station, const double* nuisance) const;
  void evaluate_touch(const Touch& touch, const Frame& frame, const double* nuisance, int row,
                      StationBlock& block, const std::vector<Effect>& common) const;
  Placed placed(const Touch& touch, const double* nuisance) const;
  Carried carry(const Touch& touch, const Frame& frame, const double* nuisance) const;
  void write_row(const Touch& touch, const Carried& carried, const SurfaceJet& jet, int row,
                 StationBlock& block, const std::vector<Effect>& common) const;
  void write_place(int artefact, const SurfaceJet& jet,
                   Eigen::Ref<Eigen::RowVectorXd, 0, Eigen::InnerStride<>> by_unknown) const;
  void write_effects(const Touch& touch, const Carried& carried, const SurfaceJet& jet, int row,
                     StationBlock& block, const std::vector<Effect>& common) const;

  const Model& model_;
  const Eigen::VectorXd& unknowns_;
  MachineState state_;
  std::vector<Eigen::Matrix<double, 3, 2>> axis_by_tilt_;
  std::vector<Eigen::Matrix<double, 3, 2>> place_by_tilt_;
};

}  // namespace pivotrace
