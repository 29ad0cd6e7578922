// Invented machines with every artefact kind, tilted axes and heads, as whole scenarios.
#pragma once

#include <string>
#include <vector>

#include "scenarios.h"

namespace pivotrace::testing {

struct NamedScenario {
  std::string name;
  Scenario scenario;
};

/// A rotary axis given by a direction vector.
inline RotaryAxis tilted_axis(char letter, const Eigen::Vector3d& direction, TurnSense sense,
                              const Eigen::Vector3d& centre_mm, double index_sigma_arcsec) {
  RotaryAxis axis = rotary_axis(letter, LinearAxis::X, sense, centre_mm, index_sigma_arcsec);
  axis.along.reset();
  axis.direction = direction.normalized();
  axis.quote_at_mm = axis.direction.dot(centre_mm);
  return axis;
}

/// Pin, bore or flat.
inline Artefact artefact(const char* name, ArtefactKind kind, int carried_by,
                         const Eigen::Vector3d& at_mm, const Eigen::Vector3d& direction) {
  Artefact what = ball(name, carried_by, at_mm);
  what.kind = kind;
  what.direction = direction.normalized();
  what.length_mm = 80.0;
  if (kind == ArtefactKind::flat) {
    what.size_mm = 120.0;
    what.diameter_mm.reset();
    what.diameter_u_mm.reset();
  }
  return what;
}

inline std::vector<TouchTarget> joined(std::vector<TouchTarget> first,
                                       const std::vector<TouchTarget>& second) {
  first.insert(first.end(), second.begin(), second.end());
  return first;
}

/// `count` touches on a circle of `radius_mm` on a flat.
inline std::vector<TouchTarget> face_pattern(const Artefact& flat, int index, int count,
                                             double radius_mm) {
  const CrossPair cross = cross_pair(flat.direction);
  std::vector<TouchTarget> targets;
  for (int k = 0; k < count; ++k) {
    const double phi = 0.2 + 2.0 * std::numbers::pi * k / count;
    TouchTarget target;
    target.artefact = index;
    target.outward = flat.direction;
    target.on_face_mm = radius_mm * (std::cos(phi) * cross.first + std::sin(phi) * cross.second);
    targets.push_back(target);
  }
  return targets;
}

/// Two sections of a pin or bore, touched all round.
inline std::vector<TouchTarget> two_sections(const Machine& machine, int index,
                                             const RotaryAngles& angles_rad, int count) {
  const auto section = [&](double along_mm) {
    return round_pattern(machine, index, angles_rad, count, along_mm,
                         Eigen::Vector3d(0.3, 0.5, 0.9), std::numbers::pi);
  };
  return joined(section(10.0), section(70.0));
}

/// All-round touches of artefact `index`, whatever its kind.
inline std::vector<TouchTarget> all_round(const Machine& machine, int index,
                                          const RotaryAngles& angles_rad) {
  switch (machine.artefacts[index].kind) {
    case ArtefactKind::ball: return ball_pattern(index, 5, 0.3, true);
    case ArtefactKind::pin:
    case ArtefactKind::bore: return two_sections(machine, index, angles_rad, 5);
    case ArtefactKind::flat: return face_pattern(machine.artefacts[index], index, 5, 40.0);
  }
  return {};
}

/// One station per set of angles, every artefact touched at each.
inline void touch_everything(Scenario& s, const std::vector<RotaryAngles>& angles_rad) {
  for (const RotaryAngles& angles : angles_rad) {
    StationTarget target;
    target.angles_rad = angles;
    for (int a = 0; a < static_cast<int>(s.machine.artefacts.size()); ++a) {
      target.touches = joined(target.touches, all_round(s.machine, a, angles));
    }
    s.stations.push_back(target);
  }
}

inline RotaryAngles degrees(double first, double second = 0.0, double third = 0.0) {
  return {rad_from_deg(first), rad_from_deg(second), rad_from_deg(third), 0.0};
}

inline std::vector<RotaryAngles> full_circle(int count) {
  std::vector<RotaryAngles> angles;
  for (int k = 0; k < count; ++k) angles.push_back(degrees(360.0 * k / count));
  return angles;
}

inline Scenario with_artefacts(const char* name, std::vector<RotaryAxis> axes,
                               std::vector<Artefact> artefacts,
                               const std::vector<RotaryAngles>& angles_rad) {
  Scenario s;
  s.machine = machine_frame(name);
  s.machine.rotary = std::move(axes);
  s.machine.artefacts = std::move(artefacts);
  s.truth = leaning_truth(s.machine, 0.0004, 0.12);
  for (std::size_t a = 0; a < s.machine.artefacts.size(); ++a) {
    // Nothing is mounted quite straight.
    ArtefactPlace& place = s.truth.state.artefacts[a];
    if (s.machine.artefacts[a].kind == ArtefactKind::ball) continue;
    const CrossPair cross = cross_pair(place.direction);
    place.direction = (place.direction + 0.002 * cross.first - 0.003 * cross.second).normalized();
  }
  touch_everything(s, angles_rad);
  s.noise = stated_noise(s.machine, 1);
  return s;
}

/// Every kind of machine and artefact the estimator is made for. All invented.
inline std::vector<NamedScenario> every_machine() {
  using Kind = ArtefactKind;
  const Eigen::Vector3d centre(-300, -200, -250);
  const Eigen::Vector3d x = Eigen::Vector3d::UnitX();
  const Eigen::Vector3d y = Eigen::Vector3d::UnitY();
  const Eigen::Vector3d z = Eigen::Vector3d::UnitZ();
  const auto along = [](const Eigen::Vector3d& at, double dx, double dy, double dz) {
    return Eigen::Vector3d(at + Eigen::Vector3d(dx, dy, dz));
  };
  const RotaryAxis a_table = rotary_axis('A', LinearAxis::X, TurnSense::left_hand, centre, 5);
  const RotaryAxis b_table = rotary_axis('B', LinearAxis::Y, TurnSense::right_hand, centre, 5);
  const RotaryAxis c_table =
      rotary_axis('C', LinearAxis::Z, TurnSense::left_hand, along(centre, 0.5, -0.3, 40), 5);
  RotaryAxis b_head = rotary_axis('B', LinearAxis::Y, TurnSense::right_hand, {0, 0, 180}, 5);
  b_head.side = AxisSide::tool;
  RotaryAxis c_head = rotary_axis('C', LinearAxis::Z, TurnSense::right_hand, {0.4, 0.3, 0}, 5);
  c_head.side = AxisSide::tool;
  const RotaryAxis nutating = tilted_axis('B', y + z, TurnSense::right_hand, centre, 5);
  RotaryAxis nutating_head = tilted_axis('B', y - z, TurnSense::right_hand, {0, 30, 150}, 5);
  nutating_head.side = AxisSide::tool;

  std::vector<NamedScenario> all;
  const auto add = [&](const char* name, std::vector<RotaryAxis> axes,
                       std::vector<Artefact> artefacts, const std::vector<RotaryAngles>& angles) {
    all.push_back({name, with_artefacts(name, std::move(axes), std::move(artefacts), angles)});
  };

  add("ball on a 4th axis", {a_table}, {ball("ball", 0, along(centre, 30, 0, 60))}, full_circle(6));
  add("pin in a chuck", {a_table}, {artefact("pin", Kind::pin, 0, along(centre, 20, 0, 0), x)},
      full_circle(6));
  add("pin out of the axis", {a_table},
      {artefact("pin", Kind::pin, 0, along(centre, 20, 30, 20), x)}, full_circle(6));
  add("bore in a table", {c_table}, {artefact("bore", Kind::bore, 0, along(centre, 40, 0, 60), z)},
      full_circle(6));
  add("ball and faceplate", {a_table},
      {ball("ball", 0, along(centre, 30, 0, 60)),
       artefact("faceplate", Kind::flat, 0, along(centre, 10, 0, 0), x)},
      full_circle(6));
  add("bore and faceplate", {c_table},
      {artefact("bore", Kind::bore, 0, along(centre, 0, 0, 60), z),
       artefact("faceplate", Kind::flat, 0, along(centre, 0, 0, 60), z)},
      full_circle(6));
  add("ball, pin, bore and flat together", {c_table},
      {ball("ball", 0, along(centre, 80, 0, 100)),
       artefact("pin", Kind::pin, 0, along(centre, -60, 30, 60), z),
       artefact("bore", Kind::bore, 0, along(centre, 0, -70, 60), z),
       artefact("flat", Kind::flat, 0, along(centre, 0, 60, 60), z)},
      full_circle(6));
  add("table on a trunnion", {a_table, c_table},
      {ball("near ball", 1, along(centre, 60, 0, 90)),
       ball("far ball", 1, along(centre, -40, 50, 130))},
      {degrees(0, 0), degrees(0, 120), degrees(0, 240), degrees(45, 0), degrees(90, 0),
       degrees(-30, 60), degrees(60, 180), degrees(90, 300)});
  add("tilted work axis", {nutating}, {ball("ball", 0, along(centre, 60, 0, 60))}, full_circle(6));
  add("table on a tilted axis", {nutating, c_table},
      {ball("near ball", 1, along(centre, 60, 0, 90)),
       ball("far ball", 1, along(centre, -40, 50, 130))},
      {degrees(0, 0), degrees(0, 120), degrees(0, 240), degrees(60, 0), degrees(120, 0),
       degrees(180, 60), degrees(240, 180), degrees(300, 300)});
  add("swivel head", {b_head}, {ball("ball", -1, along(centre, 0, 0, 50))},
      {degrees(-60), degrees(-30), degrees(0), degrees(30), degrees(60)});
  add("fork head, two axes", {c_head, b_head}, {ball("ball", -1, along(centre, 0, 0, 50))},
      {degrees(0, 0), degrees(0, 60), degrees(0, -60), degrees(90, 60), degrees(180, 60),
       degrees(270, 60), degrees(45, -45), degrees(135, 45), degrees(225, 30)});
  add("tilted head", {nutating_head}, {ball("ball", -1, along(centre, 0, 0, 50))},
      {degrees(-60), degrees(-30), degrees(0), degrees(30), degrees(60), degrees(90)});
  add("swivel head over a turning table", {c_table, b_head},
      {ball("near ball", 0, along(centre, 60, 0, 60)),
       ball("far ball", 0, along(centre, -50, 40, 120))},
      {degrees(0, 0), degrees(90, 0), degrees(180, 0), degrees(270, 0), degrees(0, 60),
       degrees(0, -60), degrees(120, 40), degrees(240, -40)});

  Scenario unknown = all[0].scenario;
  unknown.machine.artefacts[0].diameter_u_mm.reset();
  unknown.machine.artefacts[0].diameter_mm.reset();
  all.push_back({"ball of unknown diameter", unknown});

  Scenario shared = all[7].scenario;
  shared.machine.artefacts[1].diameter_as = 0;
  shared.machine.artefacts[0].diameter_u_mm.reset();
  all.push_back({"two balls of one unknown diameter", shared});

  Scenario stylus = all[6].scenario;
  stylus.machine.probe.stylus_diameter_u_mm.reset();
  all.push_back({"unknown stylus between a bore and balls", stylus});
  return all;
}

/// A table with a ball touched four times round and once from above, four quarter turns. The touch
/// from above has no neighbour at its station: at every station it has the same rivals.
inline Scenario four_quarters() {
  Scenario s = with_artefacts(
      "table", {rotary_axis('C', LinearAxis::Z, TurnSense::left_hand, {-300, -200, -250}, 5)},
      {ball("ball", 0, {-220, -200, -200})}, full_circle(4));
  for (StationTarget& station : s.stations) station.touches = ball_pattern(0, 4, 0.3, true);
  return s;
}

}  // namespace pivotrace::testing
