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

/// 0.1 sigma an unknown. A hundredth never settles in float; in double a thousandth costs nothing.
constexpr real settled_square = sizeof(real) == sizeof(float) ? real(0.01) : real(1e-6);

/// Steps shorten as their square: after one below this share of what an unknown may be off (float: 3
/// um, 10 arcsec; double: 60 nm, 0.2 arcsec) the next is no longer than a few thousandths of it.
constexpr real near_the_end = sizeof(real) == sizeof(float) ? real(3e-4) : real(6e-6);
/// A tilt of what it may be off moves what is 60 mm away by three tenths of what a place may be off.
constexpr real share_of_tilt = real(0.3);
constexpr real next_square = real(1e-5);

/// A diagonal below this share of its column is round-off.
constexpr real hanging_share = sizeof(real) == sizeof(float) ? real(4e-6) : real(1e-11);

constexpr int32_t any_diameter = PIVOTRACE_OPEN_DIAMETER | PIVOTRACE_OPEN_DIAMETER << 2;

real rough(const Work& work, int unknown) {
  const int32_t named = work.layout.named[unknown];
  if ((named & any_diameter) != 0) return rough_diameter;
  return (named & Layout::tilt) != 0 ? rough_tilt : rough_place;
}

void hold(Work& work, int unknown, real sigma) {
  const int width = work.layout.dense() + 1;
  const int row = work.layout.other() + unknown;
  real* begin = work.dense + row_begin(row, width);
  const real weight = real(1) / sigma;
  begin[0] = weight;
  begin[width - 1 - row] = -work.unknowns[unknown] * weight;
}

/// Origin of positions: nominal centre of the first work-side axis, else place of artefact 0.
const int32_t* origin_of(const pivotrace_setup& setup) {
  for (int k = 0; k < axes_of(setup); ++k) {
    if (!with_tool_axes || setup.axis[k].side == PIVOTRACE_WORK_SIDE) return setup.axis[k].centre;
  }
  return setup.artefact[0].at;
}

}  // namespace

void weigh_touches_by(Work& work, real factor) {
  work.touch_factor = factor;
  const real sigma = real(work.setup->errors.touch_sigma_nm) * counts_per_nm;
  work.weight = real(1) / (sigma * contact::square_root(factor));
}

int32_t prepare(const pivotrace_survey* survey, void* memory, size_t size, bool keep) {
  if (survey == nullptr || memory == nullptr) return PIVOTRACE_NO_POINTER;
  if (survey->at_fault != 0) return PIVOTRACE_BAD_SETUP;
  if (reinterpret_cast<uintptr_t>(memory) % alignof(Work) != 0) return PIVOTRACE_MISALIGNED;
  constexpr size_t fixed = PIVOTRACE_WORK_FIXED * sizeof(real);
  if (size < fixed) return PIVOTRACE_TOO_SMALL;
  Work& work = *static_cast<Work*>(memory);
  const bool kept = keep && work.mark == mark_of_work && work.survey == survey &&
                    work.job == PIVOTRACE_JOB_UPDATE && near_nominal(work);
  const pivotrace_setup& setup = *survey->setup;
  if (!kept) {
    __builtin_memset(memory, 0, sizeof(Work));
    work.survey = survey;
    work.setup = &setup;
    weigh_touches_by(work, real(1));
  }
  // Until all is known to fit, the memory is that of no job.
  work.mark = 0;
  const Layout& layout = work.layout;
  lay_out(*survey, work.layout);
  work.solution = work.block() + block_rows * layout.width();
  work.dense = work.solution + layout.width();
  work.positions = work.dense + layout.dense_numbers();
  const real* end = work.position(layout.positions);
  if (static_cast<size_t>(end - work.block()) * sizeof(real) > size - fixed)
    return PIVOTRACE_TOO_SMALL;
  work.mark = mark_of_work;
  work.origin = origin_of(setup);
  work.touches = survey->touches;
  for (int k = 0; k < axes_of(setup); ++k) {
    set_frame(work.axis_frame[k], vector_of(setup.axis[k].direction));
  }
  begin_start(work);
  return PIVOTRACE_BUSY;
}

void begin_start(Work& work) {
  work.pass = 0;
  work.phase = Phase::start;
  begin_pass(work, true);
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
  clear(work.dense, layout.dense_numbers() + layout.positions * layout.numbers_a_position());
  for (int r = 0; r < layout.other(); ++r) {
    work.dense[row_begin(r, layout.dense() + 1)] = real(1);
  }
  for (int k = 0; k < layout.positions; ++k) {
    for (int r = 0; r < layout.each(); ++r)
      work.position(k)[row_begin(r, layout.width())] = real(1);
  }
  for (int j = 0; held && j < layout.unknowns; ++j) hold(work, j, rough(work, j));
  for (int a = 0; a < work.setup->artefacts; ++a) {
    const real known = radius_u(work.setup->artefact[a]);
    if (known > real(0)) hold(work, layout.radius[a], known);
  }
  work.rank = 0;
  work.within = real(0);
  work.between = real(0);
  work.station = 0;
  work.gap = work.phase == Phase::start ? Gap::algebraic : Gap::exact;
  set_chain(work);
}

void pass_station(Work& work) {
  const pivotrace_station& stay = work.survey->station[work.station];
  const Layout& layout = work.layout;
  const bool exact = work.gap == Gap::exact;
  turn_to(work, stay);
  // A start needs no weights but those of the touches: the exact passes bring the others.
  work.visit.shift_sigma =
      exact || work.job != PIVOTRACE_JOB_FIT ? stated_shift_sigma(work) : real(0);
  work.within += reduce_touches(work, stay) * work.touch_factor;
  const int coefficients = work.visit.coefficients();
  work.rank += stay.touches < coefficients ? int32_t{stay.touches} : coefficients;
  const int from = exact ? 0 : layout.other();
  const int thin = layout.each() + from;
  const int last = layout.width() - 1;
  weigh_block(work, exact ? 0 : thin, last);
  const int width = layout.dense() + 1;
  real* block = work.block();
  real* rest = block + block_rows * last;
  for (int r = 0; r < coefficients; ++r) rest[r] = reduced_gap(work.visit, r);
  if (exact) absorb(work.position_of(stay), layout.each(), layout.width(), block);
  absorb(work.dense + row_begin(from, width), layout.dense() - from, width - from,
         block + block_rows * thin);
  work.between += product(rest, rest);
  ++work.station;
}

Step end_pass(Work& work) {
  const Layout& layout = work.layout;
  const int width = layout.dense() + 1;
  const int from = work.gap == Gap::exact ? 0 : layout.other();
  real* x = work.solution;
  real squares = real(0);
  const real* row = work.dense + row_begin(from, width);
  for (int r = from; r < layout.dense(); ++r) {
    row += width - r;
    x[r] = row[-1];
    if (r >= layout.other()) squares += x[r] * x[r];
  }
  solve_back(work.dense, from, layout.dense(), width, x);
  Step step{false, true, real(0)};
  real bent = real(0);
  for (int j = 0; j < layout.unknowns; ++j) {
    const real move = x[layout.other() + j];
    work.unknowns[j] += move;
    const real share = magnitude(move) / rough(work, j);
    if (!(share < real(1e9))) step.finite = false;
    step.longest = larger(step.longest, share);
    const int32_t named = layout.named[j];
    // A diameter is a plain sum: its step bends nothing.
    if ((named & any_diameter) != 0) continue;
    bent = larger(bent, (named & Layout::tilt) != 0 ? share_of_tilt * share : share);
  }
  if (bent <= near_the_end) squares *= next_square;
  step.settled = squares <= settled_square * real(int{layout.unknowns});
  ++work.pass;
  return step;
}

int32_t open_bit(const Work& work, int unknown) {
  return work.layout.named[unknown] & ~Layout::tilt;
}

int32_t hanging(Work& work) {
  const Layout& layout = work.layout;
  int32_t bits = 0;
  for (int j = 0; j < layout.unknowns; ++j) {
    const int r = layout.other() + j;
    const real* number = work.dense + r;
    real column = real(0);
    for (int above = 0; above < r; ++above) {
      column += square(*number);
      number += layout.dense() - above;
    }
    // Written so that what is not a number hangs.
    if (!(square(*number) > square(hanging_share) * column)) bits |= open_bit(work, j);
  }
  return bits;
}

int32_t touch_redundancy(const Work& work) { return work.touches - work.rank; }

int32_t station_redundancy(const Work& work) {
  return work.rank + work.layout.known - work.layout.unknowns;
}

real pooled_factor(const Work& work, real squares, int32_t redundancy) {
  const int32_t dof = work.setup->errors.dof;
  if (dof == 0 || redundancy <= 0) return real(1);
  return (real(dof) + squares) / real(dof + redundancy);
}

void pool_touches(Work& work) {
  weigh_touches_by(work, pooled_factor(work, work.within, touch_redundancy(work)));
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
  Layout layout;
  lay_out(*survey, layout);
  return (PIVOTRACE_WORK_FIXED + static_cast<size_t>(numbers_behind(layout))) * sizeof(real);
}
