#include "host_job.h"

#include <cmath>

#include "pivotrace/geometry/angle.h"

namespace pivotrace::testing {

namespace {

std::int32_t counts(double mm) { return static_cast<std::int32_t>(std::llround(mm * 1e5)); }
std::int32_t nm(double mm) { return static_cast<std::int32_t>(std::llround(mm * 1e6)); }
std::int32_t microdegrees(double rad) {
  return static_cast<std::int32_t>(std::llround(deg_from_rad(rad) * 1e6));
}

std::array<std::int32_t, 3> counts(const Eigen::Vector3d& mm) {
  return {counts(mm.x()), counts(mm.y()), counts(mm.z())};
}

std::array<std::int32_t, 3> direction(const Eigen::Vector3d& unit) {
  // Directions of small whole numbers (2, 1, 2) / 3 are kept as they are meant.
  const double smallest = (unit.array().abs() > 1e-9).select(unit.array().abs(), 1.0).minCoeff();
  const Eigen::Vector3d long_one = unit / smallest;
  return {static_cast<std::int32_t>(std::lround(long_one.x())),
          static_cast<std::int32_t>(std::lround(long_one.y())),
          static_cast<std::int32_t>(std::lround(long_one.z()))};
}

BoardAxis axis_of(const RotaryAxis& axis) {
  BoardAxis result;
  result.tool_side = axis.side == AxisSide::tool;
  result.turn = axis.positive_turn == TurnSense::right_hand ? 1 : -1;
  result.direction = direction(axis.direction);
  result.centre = counts(axis.centre_mm);
  result.index_sigma_mas =
      static_cast<std::int32_t>(std::lround(deg_from_rad(axis.index_sigma_rad) * 3.6e6));
  return result;
}

BoardArtefact artefact_of(const Machine& machine, const Artefact& artefact) {
  BoardArtefact result;
  result.pin = artefact.kind == ArtefactKind::pin;
  result.carried_by = artefact.carried_by;
  result.at = counts(artefact.at_mm);
  result.direction = direction(artefact.direction);
  result.diameter = counts(artefact.diameter_mm.value_or(20.0) + machine.probe.stylus_diameter_mm);
  const double u = std::hypot(artefact.diameter_u_mm.value_or(0.0),
                              machine.probe.stylus_diameter_u_mm.value_or(0.0));
  const bool known =
      artefact.diameter_u_mm.has_value() && machine.probe.stylus_diameter_u_mm.has_value();
  result.diameter_u_nm = known ? nm(u) : 0;
  return result;
}

BoardErrors errors_of(const Machine& machine, int dof) {
  BoardErrors errors;
  errors.touch_sigma_nm = nm(machine.probe.touch_sigma_mm);
  errors.station_sigma_nm = nm(machine.linear.station_sigma_mm);
  errors.dof = dof;
  for (std::size_t k = 0; k < 3; ++k) {
    errors.probe_offset_u_nm[k] = nm(machine.probe.offset_u_mm[static_cast<Eigen::Index>(k)]);
    errors.scale_u_nm_per_m[k] = nm(1e3 * machine.linear.scale_u[k]);
    errors.squareness_u_nm_per_m[k] = nm(1e3 * machine.linear.squareness_u_rad[k]);
  }
  Eigen::Vector3d origin = Eigen::Vector3d::Zero();
  for (int k = 0; k < 3; ++k) {
    const Range& travel = machine.linear.travel_mm[static_cast<std::size_t>(k)];
    origin[k] = 0.5 * (travel.low + travel.high);
  }
  for (const RotaryAxis& axis : machine.rotary) {
    if (axis.side == AxisSide::work) origin = axis.centre_mm;
  }
  errors.linear_origin = counts(origin);
  return errors;
}

}  // namespace

Survey rounded_for_board(const Survey& survey) {
  Survey rounded = survey;
  for (Touch& touch : rounded.touches) {
    for (int k = 0; k < 3; ++k) touch.shown_mm[k] = 1e-5 * std::round(1e5 * touch.shown_mm[k]);
  }
  for (Station& stay : rounded.stations) {
    for (double& angle : stay.angles_rad) angle = rad_from_deg(1e-6 * microdegrees(angle));
  }
  return rounded;
}

BoardJob board_job(const Machine& machine, const Survey& survey, int dof) {
  BoardJob job;
  for (const RotaryAxis& axis : machine.rotary) job.axes.push_back(axis_of(axis));
  for (const Artefact& artefact : machine.artefacts) {
    job.artefacts.push_back(artefact_of(machine, artefact));
  }
  job.errors = errors_of(machine, dof);
  for (const Station& stay : survey.stations) {
    for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
      BoardStation station;
      station.artefact = static_cast<int>(a);
      for (std::size_t k = 0; k < machine.rotary.size() && k < 2; ++k) {
        station.angle[k] = microdegrees(stay.angles_rad[k]);
      }
      for (int t = 0; t < stay.touch_count; ++t) {
        const Touch& touch = survey.touches[static_cast<std::size_t>(stay.first_touch + t)];
        if (touch.artefact == static_cast<int>(a))
          station.touches.push_back(counts(touch.shown_mm));
      }
      if (!station.touches.empty()) job.stations.push_back(station);
    }
  }
  return job;
}

}  // namespace pivotrace::testing
