#include "embedded/passes.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

constexpr uint32_t mark_of_work = 0x70697674U;

/// How far the unknowns may be off nominal: what a set-up promises [counts, rad].
constexpr real rough_place = real(1000000);
constexpr real rough_diameter = real(100000);
constexpr real rough_tilt = real(0.05);

/// Beyond this multiple of it the answer is not believed.
constexpr real believed = real(4);

/// A start is near enough when the last step was below this part of it: what is left is its square,
/// and an exact pass comes nearer from there as well.
/// Two exact passes are needed in double anyway.
constexpr real near_enough = sizeof(real) == sizeof(float) ? real(0.25) : real(0.7);

/// A state to be shown was near enough when the last step was below this part.
constexpr real near_enough_to_show = real(0.005);

/// 0.1 sigma an unknown. A hundredth never settles in float; in double a thousandth costs nothing.
constexpr real settled_square = sizeof(real) == sizeof(float) ? real(0.01) : real(1e-6);

/// Steps shorten as their square: after one below this share of what an unknown may be off (float: 3
/// um, 10 arcsec; double: 60 nm, 0.2 arcsec) the next is no longer than a few thousandths of it.
constexpr real near_the_end = sizeof(real) == sizeof(float) ? real(3e-4) : real(6e-6);
constexpr real near_the_end_tilt = near_the_end * real(10.0 / 3.0);
constexpr real next_square = real(1e-5);

/// A diagonal below this share of its column is round-off.
constexpr real hanging_share = sizeof(real) == sizeof(float) ? real(4e-6) : real(1e-11);

constexpr int32_t any_diameter = PIVOTRACE_OPEN_DIAMETER | PIVOTRACE_OPEN_DIAMETER << 2;

real rough(const Work& work, int unknown) {
  const int32_t named = work.layout.named[unknown];
  if ((named & any_diameter) != 0) return rough_diameter;
  return (named & Layout::tilt) != 0 ? rough_tilt : rough_place;
}

/// Radius uncertainty [counts] of the artefact a diameter unknown belongs to; 0: free.
real known_within(const Work& work, int unknown) {
  const pivotrace_setup& setup = *work.survey->setup;
  for (int a = 0; a < setup.artefacts; ++a) {
    if (work.layout.diameter[a] == unknown) {
      return real(0.5) * real(setup.artefact[a].diameter_u_nm) * counts_per_nm;
    }
  }
  return real(0);
}

void hold(Work& work, int unknown, real sigma) {
  const int width = work.layout.dense() + 1;
  const int row = work.layout.other + unknown;
  real* begin = work.dense() + row_begin(row, width);
  begin[0] = real(1) / sigma;
  begin[width - 1 - row] = -work.unknowns[unknown] / sigma;
}

real stated_touch_variance(const Work& work) {
  return square(real(work.survey->setup->errors.touch_sigma_nm) * counts_per_nm);
}

}  // namespace

int32_t prepare(const pivotrace_survey* survey, void* memory, size_t size, bool keep) {
  if (survey == nullptr || memory == nullptr) return PIVOTRACE_NO_POINTER;
  if (survey->at_fault != 0) return PIVOTRACE_BAD_SETUP;
  if (size < pivotrace_work_size(survey)) return PIVOTRACE_TOO_SMALL;
  if (reinterpret_cast<uintptr_t>(memory) % alignof(Work) != 0) return PIVOTRACE_MISALIGNED;
  Work& work = *static_cast<Work*>(memory);
  const bool kept = keep && work.mark == mark_of_work && work.survey == survey &&
                    work.job == PIVOTRACE_JOB_UPDATE && near_nominal(work);
  if (!kept) {
    __builtin_memset(memory, 0, sizeof(Work));
    work.survey = survey;
    work.mark = mark_of_work;
    work.touch_variance = stated_touch_variance(work);
  }
  work.layout = layout_of(*survey);
  work.origin = origin_of(*survey->setup);
  work.touches = survey->touches;
  work.station = 0;
  work.pass = 0;
  work.phase = Phase::none;
  const pivotrace_setup& setup = *survey->setup;
  for (int k = 0; k < most_axes && k < setup.axes; ++k) {
    work.axis_frame[k] = frame_of(vector_of(setup.axis[k].direction));
  }
  return PIVOTRACE_OK;
}

int32_t same_survey(const pivotrace_survey* survey, const Work* work) {
  if (survey == nullptr || work == nullptr) return PIVOTRACE_NO_POINTER;
  if (reinterpret_cast<uintptr_t>(work) % alignof(Work) != 0) return PIVOTRACE_MISALIGNED;
  const bool same = work->mark == mark_of_work && work->survey == survey &&
                    work->touches == survey->touches && work->phase != Phase::none;
  return same ? PIVOTRACE_OK : PIVOTRACE_CHANGED;
}

void begin_pass(Work& work, bool held) {
  const Layout& layout = work.layout;
  const int numbers = row_begin(layout.dense(), layout.dense() + 1) +
                      layout.positions * layout.numbers_a_position();
  __builtin_memset(work.dense(), 0, static_cast<size_t>(numbers) * sizeof(real));
  for (int r = 0; r < layout.other; ++r) {
    work.dense()[row_begin(r, layout.dense() + 1)] = real(1);
  }
  for (int k = 0; k < layout.positions; ++k) {
    for (int r = 0; r < layout.each(); ++r)
      work.position(k)[row_begin(r, layout.width())] = real(1);
  }
  for (int j = 0; j < layout.unknowns; ++j) {
    const real known = known_within(work, j);
    if (known > real(0)) {
      hold(work, j, known);
    } else if (held) {
      hold(work, j, rough(work, j));
    }
  }
  work.rank = 0;
  work.within = real(0);
  work.between = real(0);
  work.station = 0;
  set_chain(work);
}

void pass_station(Work& work, Gap gap) {
  const pivotrace_station& stay = work.survey->station[work.station];
  const Layout& layout = work.layout;
  turn_to(work, stay);
  const int coefficients = work.visit.coefficients();
  const real left = reduce_touches(work, stay, gap);
  work.within += left / stated_touch_variance(work);
  work.rank += stay.touches < coefficients ? int32_t{stay.touches} : coefficients;
  // In the algebraic gap the first row holds rho^2 - |error|^2, a number of the station alone.
  // A start needs no weights but those of the touches: the exact passes bring the others.
  const bool plain = gap == Gap::algebraic && work.job == PIVOTRACE_JOB_FIT;
  whiten(work, plain ? real(0) : station_variance(work), gap == Gap::algebraic);
  const int from = gap == Gap::exact ? 0 : static_cast<int>(layout.other);
  const int column = gap == Gap::exact ? 0 : layout.each() + from;
  weigh_block(work, column);
  const int width = layout.dense() + 1;
  real* block = work.block();
  if (gap == Gap::exact) {
    absorb(work.position(stay.position[int{layout.thin_axis}]), layout.each(), layout.width(),
           block);
  }
  absorb(work.dense() + row_begin(from, width), layout.dense() - from, width - from,
         block + block_rows * (layout.each() + from));
  const real* rest = block + block_rows * (layout.width() - 1);
  work.between += product(rest, rest);
}

Step end_pass(Work& work, Gap gap) {
  const Layout& layout = work.layout;
  const int width = layout.dense() + 1;
  const int from = gap == Gap::exact ? 0 : layout.other;
  real* x = work.solution();
  real squares = real(0);
  for (int r = from; r < layout.dense(); ++r) {
    x[r] = work.dense()[row_begin(r, width) + width - 1 - r];
    if (r >= layout.other) squares += x[r] * x[r];
  }
  solve_back(work.dense(), from, layout.dense(), width, x);
  Step step{false, false, false, is_number(squares)};
  bool near_end = true;
  for (int j = 0; j < layout.unknowns; ++j) {
    const real move = x[layout.other + j];
    work.unknowns[j] += move;
    if (!is_number(work.unknowns[j])) step.finite = false;
    const real share = magnitude(move) / rough(work, j);
    if (share > near_enough) step.far = true;
    if (share > near_enough_to_show) step.bent = true;
    // A diameter is a plain sum: its step bends nothing.
    const int32_t named = work.layout.named[j];
    const bool tilts = (named & Layout::tilt) != 0;
    if ((named & any_diameter) == 0 && share > (tilts ? near_the_end_tilt : near_the_end)) {
      near_end = false;
    }
  }
  if (near_end) squares *= next_square;
  step.settled = squares <= settled_square * real(layout.unknowns);
  ++work.pass;
  return step;
}

int32_t open_bit(const Work& work, int unknown) {
  return work.layout.named[unknown] & ~Layout::tilt;
}

int32_t hanging(Work& work) {
  const Layout& layout = work.layout;
  const int width = layout.dense() + 1;
  int32_t bits = 0;
  for (int r = layout.other; r < layout.dense(); ++r) {
    real column = real(0);
    for (int above = 0; above <= r; ++above) {
      column += square(work.dense()[row_begin(above, width) + r - above]);
    }
    const real diagonal = work.dense()[row_begin(r, width)];
    if (!(square(diagonal) > square(hanging_share) * column)) {
      bits |= open_bit(work, r - layout.other);
    }
  }
  return bits;
}

int32_t touch_redundancy(const Work& work) { return work.touches - work.rank; }

int32_t station_redundancy(const Work& work) {
  int32_t known = 0;
  for (int j = 0; j < work.layout.axes_begin; ++j) known += known_within(work, j) > real(0) ? 1 : 0;
  return work.rank + known - work.layout.unknowns;
}

real pooled_touch_factor(const Work& work) {
  const int32_t dof = work.survey->setup->errors.dof;
  if (dof == 0) return real(1);
  return (real(dof) + work.within) / real(dof + touch_redundancy(work));
}

bool near_nominal(const Work& work) {
  for (int j = 0; j < work.layout.unknowns && j < most_unknowns; ++j) {
    if (!(magnitude(work.unknowns[j]) <= believed * rough(work, j))) return false;
  }
  return true;
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED

using namespace pivotrace::PIVOTRACE_EMBEDDED;

extern "C" size_t pivotrace_work_size(const pivotrace_survey* survey) {
  if (survey == nullptr || survey->at_fault != 0) return 0;
  const auto behind = static_cast<size_t>(numbers_behind(layout_of(*survey)));
  return (PIVOTRACE_WORK_FIXED + behind) * sizeof(real);
}
