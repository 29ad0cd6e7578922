#include "plan/outcome.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/length_text.h"
#include "pivotrace/plan/check_plan.h"

namespace pivotrace {

namespace {

/// How far off the axis a second ball is imagined when its worth is worked out, round in either unit: common
/// practice, no source.
constexpr double second_ball_along_mm = 60.0;
constexpr double second_ball_along_inch = 2.0;

const BudgetLine* largest_share(const FitResult& prediction, const ValueName& output) {
  const BudgetLine* largest = nullptr;
  for (const BudgetLine& line : prediction.budget) {
    if (line.output == output && (largest == nullptr || line.share > largest->share)) {
      largest = &line;
    }
  }
  return largest;
}

}  // namespace

std::vector<BudgetLine> limits_of(const FitResult& prediction) {
  std::vector<BudgetLine> limits;
  const std::vector<PredictedOutput> outputs = predicted_outputs(prediction);
  for (const bool angle : {false, true}) {
    const PredictedOutput* worst = nullptr;
    for (const PredictedOutput& output : outputs) {
      if (is_angle(output.name) == angle && (worst == nullptr || output.U95 > worst->U95))
        worst = &output;
    }
    if (worst == nullptr) continue;
    const BudgetLine* share = largest_share(prediction, worst->name);
    if (share != nullptr) limits.push_back(*share);
  }
  return limits;
}

std::optional<Gain> gain_of_second_ball(const Machine& machine, const Plan& now) {
  const auto first = std::find_if(machine.artefacts.begin(), machine.artefacts.end(),
                                  [](const Artefact& a) { return a.kind == ArtefactKind::ball; });
  if (first == machine.artefacts.end() || first->carried_by < 0) return std::nullopt;
  const int copied = static_cast<int>(first - machine.artefacts.begin());
  Machine bigger = machine;
  Artefact second = *first;
  second.name += " 2";
  const double along_mm =
      machine.inch ? second_ball_along_inch * mm_per_inch : second_ball_along_mm;
  second.at_mm += along_mm * machine.rotary[first->carried_by].direction.normalized();
  bigger.artefacts.push_back(second);
  Plan more = now;
  for (PlannedStation& station : more.stations) {
    std::vector<PlannedTouch> copies;
    for (PlannedTouch touch : station.touches) {
      if (touch.artefact != copied) continue;
      touch.artefact = static_cast<int>(machine.artefacts.size());
      copies.push_back(touch);
    }
    station.touches.insert(station.touches.end(), copies.begin(), copies.end());
  }
  const Expected<FitResult> prediction = predict_plan(bigger, more);
  if (!prediction) return std::nullopt;
  return Gain{fmt::format("a second ball {} further along {} (if it can be reached)",
                          round_length_text(along_mm, machine.inch),
                          machine.rotary[first->carried_by].letter),
              minutes_of(bigger, more) - now.minutes, predicted_outputs(*prediction)};
}

}  // namespace pivotrace
