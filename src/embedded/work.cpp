#include "embedded/work.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

int32_t unknowns_an_index_position(const pivotrace_setup& setup) {
  for (int k = 0; with_motion && k < setup.axes; ++k) {
    if (setup.axis[k].motion_sigma_nm > 0) return 4;
  }
  return 1;
}

/// The next `count` unknowns are called that.
void name(Layout& layout, int count, int32_t named) {
  for (int i = 0; i < count; ++i) {
    layout.named[layout.unknowns++] = static_cast<int16_t>(named);
  }
}

/// Diameters first, then places. Of two artefacts an earlier one can only be number 0.
void lay_out_artefacts(const pivotrace_setup& setup, Layout& layout) {
  for (int a = 0; a < setup.artefacts; ++a) {
    const bool shared = setup.artefact[a].diameter_as >= 0;
    layout.diameter[a] = shared ? layout.diameter[0] : static_cast<int8_t>(layout.unknowns);
    if (!shared) name(layout, 1, PIVOTRACE_OPEN_DIAMETER << (2 * a));
  }
  for (int a = 0; a < setup.artefacts; ++a) {
    const int32_t place = PIVOTRACE_OPEN_PLACE << (2 * a);
    const bool ball = !with_pins || setup.artefact[a].kind == PIVOTRACE_BALL;
    layout.place[a] = static_cast<int8_t>(layout.unknowns);
    name(layout, ball ? 3 : 2, place);
    if (!ball) name(layout, 2, place | Layout::tilt);
  }
}

}  // namespace

Layout layout_of(const pivotrace_survey& survey) {
  const pivotrace_setup& setup = *survey.setup;
  Layout layout{};
  layout.each_ = unknowns_an_index_position(setup);
  layout.positions = survey.positions[0];
  if constexpr (most_axes == 2) {
    int32_t fewer = setup.axes == 2 ? survey.positions[1] : 0;
    if (fewer > layout.positions) {
      layout.thin_axis = 1;
      layout.positions = fewer;
      fewer = survey.positions[0];
    }
    layout.other = fewer * layout.each();
  }
  lay_out_artefacts(setup, layout);
  layout.axes_begin = layout.unknowns;
  for (int k = 0; k < most_axes && k < setup.axes; ++k) {
    name(layout, 2, PIVOTRACE_OPEN_CENTRE << (2 * k));
    name(layout, 2, PIVOTRACE_OPEN_LEAN << (2 * k) | Layout::tilt);
  }
  return layout;
}

int32_t numbers_behind(const Layout& layout) {
  const int width = layout.width();
  return (block_rows + 1) * width + row_begin(layout.dense(), layout.dense() + 1) +
         layout.positions * layout.numbers_a_position();
}

const int32_t* origin_of(const pivotrace_setup& setup) {
  for (int k = 0; k < setup.axes; ++k) {
    if (setup.axis[k].side == PIVOTRACE_WORK_SIDE) return setup.axis[k].centre;
  }
  return setup.artefact[0].at;
}

// As the program on the PC does: the machine axis nearest to the direction decides.
Frame frame_of(const Vector& direction) {
  Frame frame;
  frame.along = unit(direction);
  int nearest = 0;
  for (int k = 1; k < 3; ++k) {
    if (magnitude(frame.along[k]) > magnitude(frame.along[nearest])) nearest = k;
  }
  const int next = nearest == 2 ? 0 : nearest + 1;
  Vector candidate{};
  candidate[next] = real(1);
  frame.across[0] = unit(plus(candidate, -frame.along[next], frame.along));
  frame.across[1] = cross(frame.along, frame.across[0]);
  return frame;
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
