// Does the carried body really turn the way the machine file says?
#pragma once

#include <optional>
#include <vector>

#include "estimate/adjustment.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

/// The sense that is not this one.
TurnSense other(TurnSense sense);

/// The rotary axes that the survey turned.
std::vector<int> turned_axes(const Model& model);

/// What the touches say about the turn sense of each rotary axis.
struct SenseVerdict {
  enum class Answer { not_asked, confirmed, cannot_tell, wrong };
  std::vector<Answer> answers;    ///< per rotary axis
  double rms_as_stated_mm = 0.0;  ///< root mean square gap under the stated senses
  double rms_if_turned_mm = 0.0;  ///< under the best other senses, when some answer is `wrong`

  bool wrong() const;
  fit_refusal::WrongTurnSense as_refusal(const Machine& machine) const;
};

/// A fit with the senses as stated; chi2 under `random` of check_turn_sense(), as the other senses get.
struct AsStated {
  Eigen::VectorXd unknowns;
  double chi2 = 0.0;
  int redundancy = 0;
};

/// Solves again with every other combination of senses of the turned axes and compares chi2.
/// `stated` is absent when the stated senses could not be solved at all.
/// 0 and 180 deg alone fit both senses equally well: then the answer is cannot_tell.
SenseVerdict check_turn_sense(const Model& model, const RandomModel& random,
                              const std::optional<AsStated>& stated, Solver solver);

/// Writes turn_confirmed into the axes.
void mark_turn_sense(const SenseVerdict& verdict, FitResult& result);

}  // namespace pivotrace
