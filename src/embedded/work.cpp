#include "embedded/work.h"

namespace pivotrace::PIVOTRACE_EMBEDDED {

namespace {

int16_t unknowns_an_index_position(const pivotrace_setup& setup) {
  for (int k = 0; k < setup.axes; ++k) {
    if (setup.axis[k].motion_sigma_nm > 0) return 4;
  }
  return 1;
}

/// Diameters first, then places. Of two artefacts an earlier one can only be number 0.
int16_t lay_out_artefacts(const pivotrace_setup& setup, Layout& layout) {
  int16_t next = 0;
  for (int a = 0; a < setup.artefacts; ++a) {
    layout.diameter[a] = setup.artefact[a].diameter_as >= 0 ? layout.diameter[0] : next++;
  }
  for (int a = 0; a < setup.artefacts; ++a) {
    layout.place[a] = next;
    next = static_cast<int16_t>(next + (setup.artefact[a].kind == PIVOTRACE_BALL ? 3 : 4));
  }
  return next;
}

}  // namespace

Layout layout_of(const pivotrace_survey& survey) {
  const pivotrace_setup& setup = *survey.setup;
  Layout layout{};
  layout.each = unknowns_an_index_position(setup);
  layout.thin_axis = 0;
  layout.positions = static_cast<int16_t>(survey.positions[0]);
  layout.other = 0;
  if constexpr (most_axes == 2) {
    const int32_t second = setup.axes == 2 ? survey.positions[1] : 0;
    if (second > survey.positions[0]) layout.thin_axis = 1;
    const int32_t fewer = layout.thin_axis == 1 ? survey.positions[0] : second;
    layout.positions = static_cast<int16_t>(survey.positions[int{layout.thin_axis}]);
    layout.other = static_cast<int16_t>(fewer * layout.each);
  }
  layout.axes_begin = lay_out_artefacts(setup, layout);
  layout.unknowns = static_cast<int16_t>(layout.axes_begin + numbers_an_axis * setup.axes);
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
Frame frame_of(const int32_t* direction) {
  Frame frame;
  frame.along = {{real(direction[0]), real(direction[1]), real(direction[2])}};
  frame.along = (real(1) / contact::length(frame.along)) * frame.along;
  int nearest = 0;
  for (int k = 1; k < 3; ++k) {
    if (magnitude(frame.along[k]) > magnitude(frame.along[nearest])) nearest = k;
  }
  Vector candidate{};
  candidate[(nearest + 1) % 3] = real(1);
  frame.first = contact::square_to(candidate, frame.along);
  frame.first = (real(1) / contact::length(frame.first)) * frame.first;
  frame.second = contact::cross(frame.along, frame.first);
  return frame;
}

}  // namespace pivotrace::PIVOTRACE_EMBEDDED
