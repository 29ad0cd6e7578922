// Random machines and surveys for the laws: one seed gives one scenario on every computer.
#pragma once

#include <Eigen/Geometry>

#include "machines.h"
#include "pivotrace/survey/random_stream.h"

namespace pivotrace::testing {

inline Eigen::Vector3d random_direction(RandomStream& random) {
  Eigen::Vector3d v(random.normal(), random.normal(), random.normal());
  return v.normalized();
}

inline double between(RandomStream& random, double low, double high) {
  return low + (high - low) * random.uniform();
}

inline TurnSense random_sense(RandomStream& random) {
  return random.uniform() < 0.5 ? TurnSense::left_hand : TurnSense::right_hand;
}

/// A work-side axis along X, Y or Z, or anywhere when `tilted`.
inline RotaryAxis random_axis(RandomStream& random, char letter, bool tilted) {
  const Eigen::Vector3d centre =
      Eigen::Vector3d(-300, -200, -250) + 20.0 * random_direction(random);
  const TurnSense sense = random_sense(random);
  if (tilted) return tilted_axis(letter, random_direction(random), sense, centre, 5);
  return rotary_axis(letter, static_cast<LinearAxis>(letter - 'A'), sense, centre, 5);
}

/// A ball 40 to 120 mm from `axis`.
inline Artefact ball_round(RandomStream& random, const RotaryAxis& axis, const char* name,
                           int carried_by) {
  const CrossPair cross = cross_pair(axis.direction);
  const double phi = between(random, 0.0, 2.0 * std::numbers::pi);
  const Eigen::Vector3d out = std::cos(phi) * cross.first + std::sin(phi) * cross.second;
  return ball(
      name, carried_by,
      axis.centre_mm + between(random, 40, 120) * out + between(random, -50, 50) * axis.direction);
}

/// Five to eight stations over at least half a turn, five or six touches a ball.
inline void random_stations(RandomStream& random, Scenario& s, int axes) {
  const int count = 5 + static_cast<int>(3.999 * random.uniform());
  const double arc = between(random, 180.0, 320.0);
  const int equator = random.uniform() < 0.5 ? 4 : 5;
  for (int k = 0; k < count + (axes > 1 ? 4 : 0); ++k) {
    StationTarget target;
    target.angles_rad[0] = rad_from_deg(arc * k / (count - 1) - 90.0);
    if (axes > 1) target.angles_rad[1] = rad_from_deg(97.0 * k);
    for (int a = 0; a < static_cast<int>(s.machine.artefacts.size()); ++a) {
      target.touches =
          joined(target.touches, ball_pattern(a, equator, between(random, 0.0, 1.0), true));
    }
    s.stations.push_back(target);
  }
}

/// One work-side axis and one or two balls.
inline Scenario one_axis(std::uint64_t seed, bool tilted) {
  RandomStream random(seed);
  Scenario s;
  s.machine = machine_frame("random, one axis");
  const char letter = static_cast<char>('A' + static_cast<int>(2.999 * random.uniform()));
  s.machine.rotary = {random_axis(random, letter, tilted)};
  s.machine.artefacts = {ball_round(random, s.machine.rotary[0], "ball", 0)};
  if (random.uniform() < 0.5)
    s.machine.artefacts.push_back(ball_round(random, s.machine.rotary[0], "second ball", 0));
  s.truth = leaning_truth(s.machine, between(random, 0.0, 0.001), between(random, 0.0, 0.3));
  random_stations(random, s, 1);
  s.noise = stated_noise(s.machine, seed);
  return s;
}

/// Two work-side axes across one another, two balls on the inner one.
inline Scenario two_axes(std::uint64_t seed, bool tilted) {
  RandomStream random(seed);
  Scenario s;
  s.machine = machine_frame("random, two axes");
  const char outer = static_cast<char>('A' + static_cast<int>(2.999 * random.uniform()));
  const char inner = static_cast<char>('A' + (outer - 'A' + 1) % 3);
  s.machine.rotary = {random_axis(random, outer, false), random_axis(random, inner, false)};
  if (tilted) {
    for (RotaryAxis& axis : s.machine.rotary) {
      axis = tilted_axis(axis.letter, axis.direction + 0.4 * random_direction(random),
                         axis.positive_turn, axis.centre_mm, 5);
    }
  }
  s.machine.artefacts = {ball_round(random, s.machine.rotary[1], "ball", 1),
                         ball_round(random, s.machine.rotary[1], "second ball", 1)};
  s.truth = leaning_truth(s.machine, between(random, 0.0, 0.001), between(random, 0.0, 0.3));
  random_stations(random, s, 2);
  s.noise = stated_noise(s.machine, seed);
  return s;
}

inline Scenario random_scenario(std::uint64_t seed, bool tilted) {
  return seed % 3 == 0 ? two_axes(seed, tilted) : one_axis(seed, tilted);
}

}  // namespace pivotrace::testing
