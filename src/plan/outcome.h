// What any plan, however it was made, is told beside: what limits it, what another ball would buy.
#pragma once

#include <optional>
#include <vector>

#include "pivotrace/plan/make_plan.h"

namespace pivotrace {

/// The largest source of the worst length and of the worst angle, from the budget.
std::vector<BudgetLine> limits_of(const FitResult& prediction);

/// A second ball beside the first, further along the axis that carries it, touched at every station.
std::optional<Gain> gain_of_second_ball(const Machine& machine, const Plan& now);

}  // namespace pivotrace
