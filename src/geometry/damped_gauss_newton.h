// The iteration behind every fit of curved rows: of a cloud of points, and of a whole survey. No heap
// of its own.
#pragma once

#include <algorithm>
#include <cmath>
#include <limits>
#include <type_traits>
#include <utility>

#include "pivotrace/geometry/fit_status.h"

namespace pivotrace {

/// Where the iteration ended. `Rows` holds derivatives and residuals at `state`.
template <class State, class Rows>
struct Descent {
  FitStatus status = FitStatus::not_started;
  State state{};
  Rows rows{};
  int iterations = -1;
};

/// Share of the damping kept after a step that lowered the sum by this share of what was expected: a
/// third (all as expected, or more) to twice (hardly lowered).
inline double damping_kept(double as_expected) {
  const double beside = 2.0 * std::min(as_expected, 1.0) - 1.0;
  return std::max(1.0 / 3.0, 1.0 - beside * beside * beside);
}

/// Minimise the sum of squared residuals f(state).
/// `linearise(state)` gives the rows of (J, -f) with
///   sum_of_squares()        |f|^2
///   solve_damped(damping)   the step that minimises |J step + f|^2 + damping |D step|^2, D the
///                           lengths of the columns of J
///   expected_drop(step)     |f|^2 - |J step + f|^2
///   length(step)            of a step, in units in which rounding errors are of one size
///   smallest_step()         a step this short is not worth another one
///   near_round_off()        steps below this may be nothing but rounding error;
/// `moved(state, step)` applies a step.
/// Plain Gauss-Newton while it lowers the sum; otherwise damped (Levenberg, Marquardt) until it does. A
/// step that fails raises the damping by 2, the next one in a row by 4, then 8: from hardly any, because
/// along a bent valley, where nothing but a weak prior pulls, no step may be shortened more than the
/// bend asks for, and sixteen failures in a row span 40 decades. A step that succeeds lowers it by as
/// much as the drop came up to what was expected: where the same bend goes on, so does the damping
/// (H. B. Nielsen, Damping Parameter in Marquardt's Method, 1999, from memory).
/// Ends when steps reach round-off or stop getting shorter near it: the sum itself is flat to 1e-8 of
/// the parameters there and cannot be the criterion.
template <class State, class Linearise, class Moved>
auto damped_gauss_newton(const State& start, const Linearise& linearise, const Moved& moved,
                         int most_iterations = 500) {
  constexpr double flat = 1e-12;
  constexpr double least_damping = 1e-10;
  constexpr double most_damping = 1e12;
  constexpr double first_raise = 2.0;

  using Rows = std::decay_t<std::invoke_result_t<Linearise, const State&>>;
  Descent<State, Rows> found{FitStatus::did_not_converge, start, linearise(start), -1};
  double damping = 0.0;
  double raise = first_raise;
  double last_length = std::numeric_limits<double>::infinity();
  for (found.iterations = 1; found.iterations <= most_iterations; ++found.iterations) {
    const auto step = found.rows.solve_damped(damping);
    const double length = found.rows.length(step);
    State candidate = moved(found.state, step);
    Rows rows = linearise(candidate);
    const bool is_near = length < found.rows.near_round_off();
    const bool usable = std::isfinite(length) && std::isfinite(rows.sum_of_squares());
    const bool higher = rows.sum_of_squares() > found.rows.sum_of_squares() * (1.0 + flat);
    if (!usable || (higher && !is_near)) {
      damping = std::max(least_damping, raise * damping);
      raise *= 2.0;
      if (damping > most_damping) return found;
      continue;
    }
    const bool at_floor = is_near && length > 0.5 * last_length;
    const bool short_enough = length <= found.rows.smallest_step();
    const double drop = found.rows.sum_of_squares() - rows.sum_of_squares();
    const double as_expected = is_near ? 1.0 : drop / found.rows.expected_drop(step);
    damping *= damping_kept(as_expected);
    if (damping < least_damping) damping = 0.0;
    raise = first_raise;
    last_length = length;
    found.state = std::move(candidate);
    found.rows = std::move(rows);
    if (short_enough || at_floor) {
      found.status = FitStatus::done;
      return found;
    }
  }
  return found;
}

}  // namespace pivotrace
