#include "embedded/work.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

uint8_t unknowns_an_index_position(const pivotrace_setup& setup) {
  for (int k = 0; with_motion && k < axes_of(setup); ++k) {
    if (setup.axis[k].motion_sigma_nm > 0) return 4;
  }
  return 1;
}

/// The next `count` unknowns are called that. Returns the first of them.
[[gnu::noinline]] uint8_t name(Layout& layout, int count, int32_t named) {
  const uint8_t first = layout.unknowns;
  for (; count > 0; --count) layout.named[layout.unknowns++] = static_cast<int16_t>(named);
  return first;
}

/// Of two artefacts an earlier one can only be number 0.
void lay_out_artefacts(const pivotrace_setup& setup, Layout& layout) {
  for (int a = 0; a < setup.artefacts; ++a) {
    const int32_t place = PIVOTRACE_OPEN_PLACE << (2 * a);
    const bool ball = !with_pins || setup.artefact[a].kind == PIVOTRACE_BALL;
    layout.place[a] = name(layout, ball ? 3 : 2, place);
    if (!ball) name(layout, 2, place | Layout::tilt);
  }
  layout.radii_begin = layout.unknowns;
  for (int a = 0; a < setup.artefacts; ++a) {
    layout.radius[a] = layout.radii_begin;
    if (setup.artefact[a].diameter_as >= 0) continue;
    layout.radius[a] = name(layout, 1, PIVOTRACE_OPEN_DIAMETER << (2 * a));
    if (setup.artefact[a].diameter_u_nm > 0) ++layout.known;
  }
}

}  // namespace

void lay_out(const pivotrace_survey& survey, Layout& layout) {
  const pivotrace_setup& setup = *survey.setup;
  __builtin_memset(&layout, 0, sizeof(layout));
  layout.each_ = unknowns_an_index_position(setup);
  int32_t positions = survey.positions[0];
  if constexpr (most_axes == 2) {
    int32_t fewer = setup.axes == 2 ? survey.positions[1] : 0;
    if (fewer > positions) {
      layout.thin_axis_ = 1;
      positions = fewer;
      fewer = survey.positions[0];
    }
    layout.other_ = static_cast<uint8_t>(fewer * layout.each());
  }
  layout.positions = static_cast<uint8_t>(positions);
  lay_out_artefacts(setup, layout);
  layout.axes_begin = layout.unknowns;
  for (int k = 0; k < axes_of(setup); ++k) {
    name(layout, 2, PIVOTRACE_OPEN_CENTRE << (2 * k));
    name(layout, 2, PIVOTRACE_OPEN_LEAN << (2 * k) | Layout::tilt);
  }
}

int32_t numbers_behind(const Layout& layout) {
  return (block_rows + 1) * layout.width() + layout.dense_numbers() +
         layout.positions * layout.numbers_a_position();
}

real radius_u(const pivotrace_artefact& artefact) {
  if (artefact.diameter_as >= 0) return real(0);
  return real(artefact.diameter_u_nm) * (real(0.5) * counts_per_nm);
}

// As the program on the PC does: the machine axis nearest to the direction decides.
void set_frame(Frame& frame, const Three& direction) {
  frame.along = unit(direction);
  const real x = magnitude(frame.along[0]);
  const real y = magnitude(frame.along[1]);
  int next = y > x ? 2 : 1;
  if (magnitude(frame.along[2]) > larger(x, y)) next = 0;
  Vector candidate = scaled(-frame.along[next], frame.along);
  candidate[next] += real(1);
  frame.across[0] = unit(candidate);
  frame.across[1] = cross(frame.along, frame.across[0]);
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
