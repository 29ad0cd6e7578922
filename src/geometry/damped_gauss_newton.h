// The iteration behind every geometric fit of this layer. No heap.
#pragma once

#include <algorithm>
#include <limits>

#include "geometry/triangular_rows.h"
#include "pivotrace/geometry/fit_status.h"

namespace pivotrace {

template <int N, class State>
struct Minimum {
  FitStatus status = FitStatus::not_started;
  State state{};
  TriangularRows<N> rows;  ///< derivatives and residuals at `state`
  int iterations = -1;
};

/// Minimise the sum of squared residuals f(state).
/// `linearise(state)` gives TriangularRows<N> of (J, -f); `moved(state, step)` applies a step in
/// the N parameters. All quantities must be of order one (fits work in units of the cloud's
/// size), so the thresholds below are relative.
/// Plain Gauss-Newton while it lowers the sum; otherwise damped (Levenberg, Marquardt) until it
/// does. Ends when steps reach round-off or stop getting shorter near it: the sum itself is
/// flat to 1e-8 of the parameters there and cannot be the criterion.
template <int N, class State, class Linearise, class Moved>
Minimum<N, State> damped_gauss_newton(const State& start, const Linearise& linearise,
                                      const Moved& moved) {
  constexpr int most_iterations = 500;
  constexpr double smallest_step = 4.0 * std::numeric_limits<double>::epsilon();
  constexpr double near_round_off = 1e-9;
  constexpr double flat = 1e-12;
  constexpr double first_damping = 1e-4;
  constexpr double most_damping = 1e12;

  Minimum<N, State> found;
  found.status = FitStatus::did_not_converge;
  found.state = start;
  found.rows = linearise(start);
  double damping = 0.0;
  double last_length = std::numeric_limits<double>::infinity();
  for (found.iterations = 1; found.iterations <= most_iterations; ++found.iterations) {
    const auto step = found.rows.solve_damped(damping);
    const double length = step.norm();
    const State candidate = moved(found.state, step);
    const TriangularRows<N> rows = linearise(candidate);
    const bool usable = std::isfinite(length) && std::isfinite(rows.sum_of_squares());
    const bool higher = rows.sum_of_squares() > found.rows.sum_of_squares() * (1.0 + flat) &&
                        length > near_round_off;
    if (!usable || higher) {
      damping = std::max(first_damping, 10.0 * damping);
      if (damping > most_damping) return found;
      continue;
    }
    found.state = candidate;
    found.rows = rows;
    const bool at_floor = length < near_round_off && length > 0.5 * last_length;
    if (length <= smallest_step || at_floor) {
      found.status = FitStatus::done;
      return found;
    }
    last_length = length;
    damping = damping > first_damping ? 0.1 * damping : 0.0;
  }
  return found;
}

}  // namespace pivotrace
