// Taking in set-up, stations and touches. Every number is checked here, once.
#include "embedded/work.h"

using namespace pivotrace::PIVOTRACE_EMBEDDED;

namespace pivotrace::PIVOTRACE_EMBEDDED {
namespace {

constexpr int32_t farthest = 1000000000;       ///< 10 m
constexpr int32_t largest_angle = 2000000000;  ///< 2000 deg
constexpr int32_t turn = 360000000;
constexpr int32_t largest_linear_u = with_linear_terms ? 100000000 : 0;
constexpr int32_t same_position = 1000000;  ///< 1 deg

bool within(int32_t value, int32_t low, int32_t high) { return value >= low && value <= high; }

bool all_within(const int32_t* three, int32_t low, int32_t high) {
  return within(three[0], low, high) && within(three[1], low, high) && within(three[2], low, high);
}

bool is_direction(const int32_t* three) {
  return all_within(three, -1000000, 1000000) && (three[0] != 0 || three[1] != 0 || three[2] != 0);
}

int32_t fault_of(const pivotrace_axis& axis) {
  if (!within(axis.side, PIVOTRACE_WORK_SIDE, with_tool_axes ? PIVOTRACE_TOOL_SIDE : 0))
    return PIVOTRACE_FAULT_AXIS_SIDE;
  if (axis.turn != 1 && axis.turn != -1) return PIVOTRACE_FAULT_AXIS_TURN;
  if (!is_direction(axis.direction)) return PIVOTRACE_FAULT_AXIS_DIRECTION;
  if (!all_within(axis.centre, -farthest, farthest)) return PIVOTRACE_FAULT_AXIS_CENTRE;
  const bool sigmas = within(axis.index_sigma_mas, 0, 3600000) &&
                      within(axis.motion_sigma_nm, 0, with_motion ? 1000000 : 0);
  return sigmas ? 0 : PIVOTRACE_FAULT_AXIS_SIGMA;
}

bool carries(const pivotrace_setup& setup, int32_t axis) {
  if (axis == PIVOTRACE_BED) return true;
  return within(axis, 0, setup.axes - 1) && setup.axis[axis].side == PIVOTRACE_WORK_SIDE;
}

int32_t fault_of(const pivotrace_setup& setup, int number) {
  const pivotrace_artefact& artefact = setup.artefact[number];
  const bool pin = with_pins && artefact.kind == PIVOTRACE_PIN;
  if (!pin && artefact.kind != PIVOTRACE_BALL) return PIVOTRACE_FAULT_ARTEFACT_KIND;
  if (!carries(setup, artefact.carried_by)) return PIVOTRACE_FAULT_ARTEFACT_CARRIED_BY;
  if (!all_within(artefact.at, -farthest, farthest)) return PIVOTRACE_FAULT_ARTEFACT_AT;
  if (pin && !is_direction(artefact.direction)) return PIVOTRACE_FAULT_ARTEFACT_DIRECTION;
  const bool diameter = within(artefact.diameter, 10000, 100000000) &&
                        within(artefact.diameter_u_nm, 0, 10000000) &&
                        within(artefact.diameter_as, -1, number - 1);
  return diameter ? 0 : PIVOTRACE_FAULT_ARTEFACT_DIAMETER;
}

int32_t fault_of(const pivotrace_errors& errors) {
  const bool sigmas =
      within(errors.touch_sigma_nm, 10, 10000000) && within(errors.station_sigma_nm, 0, 10000000);
  const bool dof = errors.dof == 0 || within(errors.dof, 4, 1000);
  const bool common = all_within(errors.probe_offset_u_nm, 0, 100000000) &&
                      all_within(errors.scale_u_nm_per_m, 0, largest_linear_u) &&
                      all_within(errors.squareness_u_nm_per_m, 0, largest_linear_u) &&
                      all_within(errors.linear_origin, -farthest, farthest);
  if (!sigmas || !dof || !common) return PIVOTRACE_FAULT_ERRORS;
  const bool limits =
      within(errors.location_limit_nm, 1, 100000000) && errors.orientation_limit_mas > 0;
  return limits ? 0 : PIVOTRACE_FAULT_LIMITS;
}

int32_t fault_of(const pivotrace_setup& setup) {
  if (!within(setup.axes, 1, most_axes)) return PIVOTRACE_FAULT_AXES;
  if (!within(setup.artefacts, 1, most_artefacts)) return PIVOTRACE_FAULT_ARTEFACTS;
  int32_t fault = 0;
  for (int k = 0; k < setup.axes && fault == 0; ++k) {
    fault = fault_of(setup.axis[k]);
    if (fault != 0) fault += 100 * k;
  }
  for (int a = 0; a < setup.artefacts && fault == 0; ++a) {
    fault = fault_of(setup, a);
    if (fault != 0) fault += 100 * a;
  }
  return fault != 0 ? fault : fault_of(setup.errors);
}

/// Up to half a turn, either way [0.000001 deg].
int32_t apart(int32_t a, int32_t b) {
  int32_t off = (a % turn - b % turn) % turn;
  if (off < 0) off += turn;
  return off > turn / 2 ? turn - off : off;
}

const pivotrace_station* station_before(const pivotrace_survey& survey) {
  return survey.stations > 0 ? &survey.station[survey.stations - 1] : nullptr;
}

int8_t side_reached(const pivotrace_station* before, int axis, int32_t angle,
                    const int32_t* stated) {
  if (stated != nullptr && stated[axis] != 0) return static_cast<int8_t>(stated[axis]);
  if (before == nullptr || angle > before->angle[axis]) return 1;
  return angle < before->angle[axis] ? int8_t{-1} : before->side[axis];
}

/// The index position the station belongs to; the next free number when it is a new one.
int32_t position_of(const pivotrace_survey& survey, int axis, const pivotrace_station& stay) {
  for (int32_t s = 0; s < survey.stations; ++s) {
    const pivotrace_station& other = survey.station[s];
    if (other.side[axis] == stay.side[axis] &&
        apart(other.angle[axis], stay.angle[axis]) <= same_position) {
      return other.position[axis];
    }
  }
  return survey.positions[axis];
}

/// Gives each axis its side and index position and adds the station, or leaves all as it was.
int32_t settle_station(pivotrace_survey& survey, pivotrace_station& stay, const int32_t* side) {
  const int axes = static_cast<int>(survey.setup->axes);
  const pivotrace_station* before = station_before(survey);
  for (int k = 0; k < most_axes && k < axes; ++k) {
    stay.side[k] = side_reached(before, k, stay.angle[k], side);
    const bool moved =
        before == nullptr || stay.angle[k] != before->angle[k] || stay.side[k] != before->side[k];
    const int32_t position = moved ? position_of(survey, k, stay) : before->position[k];
    if (position >= PIVOTRACE_POSITIONS) return PIVOTRACE_FULL;
    stay.position[k] = static_cast<uint8_t>(position);
  }
  for (int k = 0; k < axes; ++k) {
    if (stay.position[k] == survey.positions[k]) ++survey.positions[k];
  }
  ++survey.stations;
  return PIVOTRACE_OK;
}

/// A station left without touches goes, with an index position only it has met.
void drop_empty_station(pivotrace_survey& survey) {
  const pivotrace_station* last = station_before(survey);
  if (last == nullptr || last->touches != 0) return;
  --survey.stations;
  for (int k = 0; k < survey.setup->axes; ++k) {
    int32_t met = 0;
    for (int32_t s = 0; s < survey.stations; ++s) {
      const int32_t beyond = survey.station[s].position[k] + 1;
      if (beyond > met) met = beyond;
    }
    survey.positions[k] = met;
  }
}

bool same_setup(const pivotrace_survey& a, const pivotrace_survey& b) {
  const auto* one = reinterpret_cast<const unsigned char*>(a.setup);
  const auto* two = reinterpret_cast<const unsigned char*>(b.setup);
  if (one == two) return true;
  for (size_t i = 0; i < sizeof(pivotrace_setup); ++i) {
    if (one[i] != two[i]) return false;
  }
  return true;
}

}  // namespace
}  // namespace pivotrace::PIVOTRACE_EMBEDDED

extern "C" int32_t pivotrace_begin_survey(pivotrace_survey* survey, const pivotrace_setup* setup,
                                          pivotrace_station* station, int32_t station_room,
                                          pivotrace_touch* touch, int32_t touch_room) {
  if (survey == nullptr || setup == nullptr || station == nullptr || touch == nullptr) {
    return PIVOTRACE_NO_POINTER;
  }
  survey->setup = setup;
  survey->station = station;
  survey->touch = touch;
  survey->station_room = station_room;
  survey->touch_room = touch_room;
  survey->stations = 0;
  survey->touches = 0;
  for (int k = 0; k < most_axes; ++k) survey->positions[k] = 0;
  survey->at_fault = fault_of(*setup);
  if (survey->at_fault != 0) return PIVOTRACE_BAD_SETUP;
  return station_room > 0 && touch_room > 0 ? PIVOTRACE_OK : PIVOTRACE_FULL;
}

extern "C" int32_t pivotrace_open_station(pivotrace_survey* survey, const int32_t* angle,
                                          const int32_t* side, int32_t artefact) {
  if (survey == nullptr || angle == nullptr) return PIVOTRACE_NO_POINTER;
  if (survey->at_fault != 0) return PIVOTRACE_BAD_SETUP;
  if (!within(artefact, 0, survey->setup->artefacts - 1)) return PIVOTRACE_BAD_READING;
  for (int k = 0; k < most_axes && k < survey->setup->axes; ++k) {
    if (!within(angle[k], -largest_angle, largest_angle)) return PIVOTRACE_BAD_READING;
    if (side != nullptr && !within(side[k], -1, 1)) return PIVOTRACE_BAD_READING;
  }
  drop_empty_station(*survey);
  if (survey->stations >= survey->station_room) return PIVOTRACE_FULL;
  pivotrace_station& stay = survey->station[survey->stations];
  for (int k = 0; k < most_axes; ++k) {
    stay.angle[k] = k < survey->setup->axes ? angle[k] : 0;
    stay.side[k] = 1;
    stay.position[k] = 0;
  }
  stay.first = survey->touches;
  stay.touches = 0;
  stay.artefact = static_cast<int16_t>(artefact);
  return settle_station(*survey, stay, side);
}

extern "C" int32_t pivotrace_add_touch(pivotrace_survey* survey, const int32_t* at) {
  if (survey == nullptr || at == nullptr) return PIVOTRACE_NO_POINTER;
  if (survey->at_fault != 0) return PIVOTRACE_BAD_SETUP;
  if (survey->stations == 0) return PIVOTRACE_NO_STATION;
  if (!all_within(at, -farthest, farthest)) return PIVOTRACE_BAD_READING;
  pivotrace_station& stay = survey->station[survey->stations - 1];
  if (survey->touches >= survey->touch_room || stay.touches == INT16_MAX) return PIVOTRACE_FULL;
  pivotrace_touch& touch = survey->touch[survey->touches];
  for (int k = 0; k < 3; ++k) touch.at[k] = at[k];
  ++survey->touches;
  ++stay.touches;
  return PIVOTRACE_OK;
}

extern "C" int32_t pivotrace_take_back_touch(pivotrace_survey* survey) {
  if (survey == nullptr) return PIVOTRACE_NO_POINTER;
  if (survey->stations == 0 || survey->station[survey->stations - 1].touches == 0) {
    return PIVOTRACE_NO_STATION;
  }
  --survey->station[survey->stations - 1].touches;
  --survey->touches;
  return PIVOTRACE_OK;
}

namespace pivotrace::PIVOTRACE_EMBEDDED {
namespace {

/// Adds the stations of `from` one by one; what is in stays as it was when the room ends.
int32_t add_all(pivotrace_survey& into, const pivotrace_survey& from, int32_t artefact_shift) {
  for (int32_t s = 0; s < from.stations; ++s) {
    const pivotrace_station& stay = from.station[s];
    int32_t side[most_axes] = {};
    for (int k = 0; k < most_axes; ++k) side[k] = stay.side[k] < 0 ? -1 : 1;
    int32_t status =
        pivotrace_open_station(&into, stay.angle, side, stay.artefact + artefact_shift);
    for (int32_t t = 0; t < stay.touches && status == PIVOTRACE_OK; ++t) {
      status = pivotrace_add_touch(&into, from.touch[stay.first + t].at);
    }
    if (status != PIVOTRACE_OK) return status;
  }
  return PIVOTRACE_OK;
}

}  // namespace
}  // namespace pivotrace::PIVOTRACE_EMBEDDED

extern "C" int32_t pivotrace_merge(pivotrace_survey* into, const pivotrace_survey* from,
                                   int32_t artefact_moved) {
  if (into == nullptr || from == nullptr) return PIVOTRACE_NO_POINTER;
  if (into->at_fault != 0 || from->at_fault != 0) return PIVOTRACE_BAD_SETUP;
  if (into == from || !same_setup(*into, *from)) return PIVOTRACE_NOT_ALIKE;
  const int32_t shift = artefact_moved != 0 ? 1 : 0;
  for (int32_t s = 0; s < from->stations; ++s) {
    if (from->station[s].artefact + shift >= into->setup->artefacts) return PIVOTRACE_NOT_ALIKE;
  }
  drop_empty_station(*into);
  const bool room = from->stations <= into->station_room - into->stations &&
                    from->touches <= into->touch_room - into->touches;
  if (!room) return PIVOTRACE_FULL;
  const pivotrace_survey before = *into;
  const int32_t status = add_all(*into, *from, shift);
  if (status == PIVOTRACE_OK) return status;
  *into = before;
  return status;
}
