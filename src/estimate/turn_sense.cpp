#include "estimate/turn_sense.h"

#include <algorithm>
#include <cmath>
#include <limits>

#include "estimate/linearisation.h"
#include "estimate/start.h"

namespace pivotrace {

namespace {

/// The other sense is ruled out when it costs this much more chi2, in units of the scatter found.
/// exp(-50/2) is the likelihood ratio: about one in 10^11.
constexpr double decisive_chi2 = 50.0;

/// The stated sense is given up only when the other explains the touches this many times better.
constexpr double decisive_ratio = 10.0;

/// From the closed-form start the right sense settles in three or four steps; the wrong one never
/// comes near, however long it is given.
constexpr int steps_allowed = 8;

struct Attempt {
  double chi2 = std::numeric_limits<double>::infinity();
  double rms_mm = std::numeric_limits<double>::infinity();
};

double rms_gap(const Model& model, const Eigen::VectorXd& unknowns) {
  return std::sqrt(sum_of_squared_gaps(model, unknowns) / model.total_readings());
}

Attempt attempt(Model model, const RandomModel& random, const std::vector<TurnSense>& turns,
                Solver solver) {
  model.set_turns(turns);
  const Expected<LeastSquaresMinimum> minimum =
      minimise_gaps(model, random, starting_unknowns(model), {steps_allowed, solver});
  if (!minimum) return {};
  const Adjusted adjusted = adjusted_at(model, random, minimum->unknowns, {});
  return {adjusted.chi2, rms_gap(model, minimum->unknowns)};
}

std::vector<TurnSense> flipped(const Model& model, const std::vector<int>& axes, unsigned pattern) {
  std::vector<TurnSense> turns = model.turns();
  for (std::size_t k = 0; k < axes.size(); ++k) {
    if ((pattern >> k) & 1U) turns[axes[k]] = other(turns[axes[k]]);
  }
  return turns;
}

}  // namespace

TurnSense other(TurnSense sense) {
  return sense == TurnSense::right_hand ? TurnSense::left_hand : TurnSense::right_hand;
}

std::vector<int> turned_axes(const Model& model) {
  std::vector<int> axes;
  for (std::size_t axis = 0; axis < model.machine().rotary.size(); ++axis) {
    if (model.axis_turned(static_cast<int>(axis))) axes.push_back(static_cast<int>(axis));
  }
  return axes;
}

bool SenseVerdict::wrong() const {
  return std::find(answers.begin(), answers.end(), Answer::wrong) != answers.end();
}

fit_refusal::WrongTurnSense SenseVerdict::as_refusal(const Machine& machine) const {
  fit_refusal::WrongTurnSense wrong;
  for (std::size_t axis = 0; axis < answers.size(); ++axis) {
    if (answers[axis] == Answer::wrong) wrong.axes.push_back(machine.rotary[axis].letter);
  }
  wrong.rms_as_stated_mm = rms_as_stated_mm;
  wrong.rms_if_turned_mm = rms_if_turned_mm;
  return wrong;
}

SenseVerdict check_turn_sense(const Model& model, const RandomModel& random,
                              const std::optional<AsStated>& stated, Solver solver) {
  SenseVerdict verdict;
  verdict.answers.assign(model.machine().rotary.size(), SenseVerdict::Answer::not_asked);
  const std::vector<int> axes = turned_axes(model);
  Attempt as_stated;
  double scatter = 1.0;
  if (stated) {
    as_stated = {stated->chi2, rms_gap(model, stated->unknowns)};
    if (stated->redundancy > 0) scatter = std::max(1.0, stated->chi2 / stated->redundancy);
  } else {
    as_stated = attempt(model, random, model.turns(), solver);
  }
  verdict.rms_as_stated_mm = as_stated.rms_mm;
  Attempt best;
  unsigned best_pattern = 0;
  for (unsigned pattern = 1; pattern < (1U << axes.size()); ++pattern) {
    const Attempt found = attempt(model, random, flipped(model, axes, pattern), solver);
    if (found.chi2 < best.chi2) {
      best = found;
      best_pattern = pattern;
    }
    const bool ruled_out = found.chi2 > as_stated.chi2 + decisive_chi2 * scatter;
    for (std::size_t k = 0; k < axes.size(); ++k) {
      if (!((pattern >> k) & 1U)) continue;
      auto& answer = verdict.answers[axes[k]];
      if (!ruled_out) {
        answer = SenseVerdict::Answer::cannot_tell;
      } else if (answer == SenseVerdict::Answer::not_asked) {
        answer = SenseVerdict::Answer::confirmed;
      }
    }
  }
  verdict.rms_if_turned_mm = best.rms_mm;
  const bool clearly_better =
      best.chi2 * decisive_ratio < as_stated.chi2 && best.chi2 + decisive_chi2 < as_stated.chi2;
  for (std::size_t k = 0; k < axes.size(); ++k) {
    if (clearly_better && ((best_pattern >> k) & 1U)) {
      verdict.answers[axes[k]] = SenseVerdict::Answer::wrong;
    }
  }
  return verdict;
}

void mark_turn_sense(const SenseVerdict& verdict, FitResult& result) {
  for (std::size_t axis = 0; axis < result.axes.size(); ++axis) {
    result.axes[axis].turn_confirmed = verdict.answers[axis] == SenseVerdict::Answer::confirmed;
  }
}

}  // namespace pivotrace
