// The unknowns of one survey and how every touch depends on them.
#pragma once

#include <Eigen/Core>
#include <vector>

#include "estimate/effects.h"
#include "estimate/shared_effects.h"
#include "pivotrace/machine/line_chart.h"
#include "pivotrace/machine/state.h"
#include "pivotrace/results/unknown.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace {

/// One sigma of every random effect.
struct RandomModel {
  double touch_sigma_mm = 0.0;
  double form_sigma_mm = 0.0;  ///< part of touch_sigma_mm that is the form of the balls
  double station_sigma_mm = 0.0;
  RotaryAngles index_sigma_rad{};  ///< 0 for an axis that never turned in the survey
  RotaryAngles index_repeat_sigma_rad{};
  RotaryAngles axis_motion_sigma_mm{};

  double sigma(int group) const;
  void scale_variance(int group, double factor);
};

/// Prior knowledge of effective radii: minimise 1/2 (rho - mean)' precision (rho - mean).
struct RadiusPrior {
  Eigen::VectorXd mean_mm;    ///< (g)
  Eigen::MatrixXd precision;  ///< (g x g), singular where nothing is known
  Eigen::MatrixXd root;       ///< (rank x g) with root' root = precision
  /// What it is made of: rho_g = R_g + sign_g r with precisions of R_g and of the stylus radius r.
  Eigen::VectorXd artefact_precision;  ///< (g) 0 = not known
  Eigen::VectorXd sign;                ///< (g) -1 in a bore
  double stylus_precision = 0.0;
};

/// Effective radius shared by the artefacts of one diameter group: R + r outside, R - r in a bore.
struct RadiusGroup {
  int owner = 0;  ///< artefact whose diameter it is
  bool inside = false;
  int unknown = -1;  ///< index into the unknowns
};

/// Where each unknown stands in the vector, and the charts that turn numbers into lines.
struct Layout {
  std::vector<int> axis_first;    ///< per rotary axis: first of 4 unknowns, -1 = not estimated
  std::vector<int> place_first;   ///< per artefact: first unknown, -1 = not touched
  std::vector<int> radius_group;  ///< per artefact: index into radius_groups, -1 = none
  std::vector<RadiusGroup> radius_groups;
  std::vector<Effect> effects;  ///< optional unknowns
  int effects_first = 0;
  int unknowns = 0;
  std::vector<Unknown> names;  ///< of each unknown
};

/// Index of the amplitude of this effect among the unknowns; -1 = it is none.
int unknown_of(const Layout& layout, const Effect& effect);

/// An effect with the letter of its axis in place of the index.
EffectName name_of(const Machine& machine, const Effect& effect);

/// Covers one survey on one machine. References must outlive the model.
class Model {
 public:
  Model(const Machine& machine, const Survey& survey, const std::vector<Effect>& effects = {});

  const Machine& machine() const { return machine_; }
  const Survey& survey() const { return survey_; }
  const Layout& layout() const { return layout_; }
  const RadiusPrior& radius_prior() const { return prior_; }
  const EffectContext& context() const { return context_; }
  const LineChart& axis_chart(int axis) const { return axis_charts_[axis]; }
  const LineChart& place_chart(int artefact) const { return place_charts_[artefact]; }

  void set_turns(const std::vector<TurnSense>& turns) { turns_ = turns; }
  const std::vector<TurnSense>& turns() const { return turns_; }

  /// Unknowns for a given state (the inverse of `state`).
  Eigen::VectorXd unknowns_from(const MachineState& state) const;
  /// The lines and places these unknowns stand for.
  MachineState state(const Eigen::VectorXd& unknowns) const;

  /// Readings of station s: 1 per touch, 3 per centre row.
  int readings(int station) const { return station_readings_[station]; }
  int total_readings() const { return total_readings_; }

  /// Random effects per station: 3 linear + one per rotary axis.
  int nuisances() const { return 3 + static_cast<int>(machine_.rotary.size()); }

  bool axis_turned(int axis) const { return axis_turned_[axis]; }

  const SharedEffects& shared() const { return shared_; }

 private:
  void find_turned_axes();
  void lay_out_axes();
  void lay_out_artefacts();
  void lay_out_radii();
  void build_prior();

  const Machine& machine_;
  const Survey& survey_;
  Layout layout_;
  std::vector<LineChart> axis_charts_;
  std::vector<LineChart> place_charts_;
  std::vector<TurnSense> turns_;
  RadiusPrior prior_;
  EffectContext context_;
  std::vector<bool> axis_turned_;
  SharedEffects shared_;
  std::vector<int> station_readings_;
  int total_readings_ = 0;

  friend class Linearisation;
};

}  // namespace pivotrace
