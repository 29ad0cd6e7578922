// Everything that is the same in every trial, from the fit to the plain numbers of the kernels.
#pragma once

#include <vector>

#include "estimate/adjustment.h"
#include "estimate/trial_refit.h"
#include "estimate/uncertainty.h"

namespace pivotrace {

/// The touches set on the fitted surface, the errors they may have and the gains of the fit. The
/// model must outlive it.
class TrialBench {
 public:
  TrialBench(const Model& model, const Adjusted& adjusted, const RandomModel& random,
             const std::vector<CommonTerm>& common);
  TrialBench(const TrialBench&) = delete;
  TrialBench& operator=(const TrialBench&) = delete;

  const trial::Problem& problem() const { return problem_; }
  const Model& model() const { return model_; }
  const Eigen::VectorXd& best() const { return best_; }

 private:
  void size_matrices(Eigen::Index commons);
  void lay_out_axes();
  void lay_out_places();
  /// Sets every touch on the fitted surface and keeps how it depends on what is random.
  void take_touches(const Adjusted& adjusted, const RandomModel& random,
                    const std::vector<CommonTerm>& common);
  void add_shared(int station, const StationBlock& block, const Eigen::VectorXd& sigma);
  void add_station(int station, const Linearisation& at, const StationBlock& block);
  /// What the optional unknowns do to this touch, at the fit: over a few micrometres of scatter it
  /// changes by less than a ten-thousandth.
  void add_effects(const Touch& touch, const Eigen::Vector3d& outward_in_spindle);
  void take_prior(const Adjusted& adjusted);
  void point_at_all(const RandomModel& random);

  const Model& model_;
  const Eigen::VectorXd best_;
  int random_effects_ = 0;  ///< most that any station has for itself alone
  MachineState state_;
  std::vector<trial::AxisRow> axes_;
  std::vector<trial::PlaceRow> places_;
  std::vector<trial::StationRow> stations_;
  std::vector<trial::TouchRow> touches_;
  std::vector<trial::EffectRow> effects_;
  std::vector<trial::EffectAmount> effect_amounts_;
  std::vector<int> shared_of_;
  std::vector<double> by_shared_;
  /// Row by row, as the kernels read them.
  using RowMajor = Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor>;
  RowMajor by_common_, by_random_, outward_, gain_, prior_gain_, prior_by_unknown_;
  trial::Problem problem_{};
};

}  // namespace pivotrace
