#include "pivots/shim_stack.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

namespace pivotrace {

namespace {

constexpr double steps_per_mm = 1e5;  // thicknesses equal to 0.01 um are one thickness

long step_of(double mm) { return std::lround(mm * steps_per_mm); }

const ShimStack& nearest(const std::vector<ShimStack>& stacks, double wanted_mm) {
  return *std::min_element(
      stacks.begin(), stacks.end(), [&](const ShimStack& left, const ShimStack& right) {
        return std::abs(left.thickness_mm - wanted_mm) < std::abs(right.thickness_mm - wanted_mm);
      });
}

struct Choice {
  std::vector<ShimStack> stacks;
  double cost = std::numeric_limits<double>::infinity();
  std::size_t pieces = 0;
};

Choice choice_at(const StackRequest& request, const std::vector<ShimStack>& stacks, double lift_mm,
                 const std::function<double(const std::vector<double>&)>& cost) {
  Choice choice;
  std::vector<double> errors;
  for (std::size_t i = 0; i < request.wanted_mm.size(); ++i) {
    const double wanted = request.wanted_mm[i] + lift_mm;
    choice.stacks.push_back(request.fixed[i] ? ShimStack{} : nearest(stacks, wanted));
    errors.push_back(choice.stacks.back().thickness_mm - request.wanted_mm[i]);
    choice.pieces += choice.stacks.back().pieces_mm.size();
  }
  choice.cost = cost(errors);
  return choice;
}

}  // namespace

std::vector<ShimStack> possible_stacks(const std::vector<double>& shims_mm, int most_pieces) {
  std::map<long, ShimStack> found{{0, {}}};
  std::vector<ShimStack> last{{}};
  for (int pieces = 1; pieces <= most_pieces; ++pieces) {
    std::vector<ShimStack> next;
    for (const ShimStack& stack : last) {
      for (const double shim : shims_mm) {
        ShimStack taller = stack;
        taller.thickness_mm += shim;
        taller.pieces_mm.push_back(shim);
        std::sort(taller.pieces_mm.rbegin(), taller.pieces_mm.rend());
        if (found.emplace(step_of(taller.thickness_mm), taller).second) next.push_back(taller);
      }
    }
    last = std::move(next);
  }
  std::vector<ShimStack> stacks;
  stacks.reserve(found.size());
  for (const auto& [step, stack] : found) stacks.push_back(stack);
  return stacks;
}

std::vector<ShimStack> round_to_shims(
    const StackRequest& request, const std::function<double(const std::vector<double>&)>& cost) {
  const std::vector<ShimStack> stacks = possible_stacks(request.shims_mm, request.most_pieces);
  Choice best = choice_at(request, stacks, 0.0, cost);
  const bool any_fixed =
      std::any_of(request.fixed.begin(), request.fixed.end(), [](bool fixed) { return fixed; });
  if (any_fixed) return best.stacks;
  // Raising all feet together by a fraction of a shim, or by one, costs nothing.
  const double thinnest = *std::min_element(request.shims_mm.begin(), request.shims_mm.end());
  constexpr int fractions = 10;
  constexpr int lifts = 5 * fractions;
  // A better stack must be better by more than round-off to earn more pieces.
  const double hardly = 1e-3 * best.cost;
  for (int i = 1; i <= lifts; ++i) {
    const Choice other = choice_at(request, stacks, i * thinnest / fractions, cost);
    const bool better = other.cost < best.cost - hardly;
    const bool as_good = other.cost <= best.cost + hardly && other.pieces < best.pieces;
    if (better || as_good) best = other;
  }
  return best.stacks;
}

}  // namespace pivotrace
