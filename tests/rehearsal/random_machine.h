// Machines, truths and requests made up at random, within what a shop has. One seed, one machine, on
// every computer.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <string>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/rotation.h"
#include "pivotrace/machine/machine.h"
#include "pivotrace/survey/random_stream.h"
#include "pivotrace/survey/rehearsal_truth.h"

namespace pivotrace::test {

/// What stands on the machine.
enum class Setup {
  ball_on_axis,     ///< one work axis along X, Y or Z with a ball on a stem
  pin_in_chuck,     ///< one work axis with a pin near its line
  bore_on_table,    ///< a round table with a bored block
  ball_and_flat,    ///< a round table with a ball and a flat
  ball_under_head,  ///< a swivel head and a ball on the bed
  tilting_table,    ///< a cradle that carries a round table with a ball
};
inline constexpr Setup every_setup[] = {Setup::ball_on_axis,    Setup::pin_in_chuck,
                                        Setup::bore_on_table,   Setup::ball_and_flat,
                                        Setup::ball_under_head, Setup::tilting_table};

inline const char* word_of(Setup setup) {
  switch (setup) {
    case Setup::ball_on_axis: return "ball on axis";
    case Setup::pin_in_chuck: return "pin in chuck";
    case Setup::bore_on_table: return "bore on table";
    case Setup::ball_and_flat: return "ball and flat";
    case Setup::ball_under_head: return "ball under head";
    case Setup::tilting_table: return "tilting table";
  }
  return "";
}

class RandomMachine {
 public:
  explicit RandomMachine(std::uint64_t seed) : random_(seed) {}

  Machine machine(Setup setup) {
    machine_ = Machine();
    machine_.name = "random";
    machine_.inch = chance(0.25);
    machine_.linear.travel_mm = {Range{-700, 0}, Range{-500, 0}, Range{-520, 0}};
    machine_.linear.station_sigma_mm = between(0.0005, 0.003);
    machine_.linear.station_sigma_stated = true;
    if (chance(0.5)) {
      for (int k = 0; k < 3; ++k) {
        machine_.linear.scale_u[k] = between(1e-6, 10e-6);
        machine_.linear.squareness_u_rad[k] = between(1e-6, 12e-6);
      }
    }
    add_probe();
    add_setup(setup);
    const int obstacles = static_cast<int>(between(0.0, 3.0));
    for (int k = 0; k < obstacles; ++k) add_obstacle(k, setup);
    if (chance(0.35)) tighten_travel();
    return machine_;
  }

  /// Where everything really is: what a plan must cope with, and what all touches have in common
  /// as large as the machine file says, at random.
  RehearsalTruth truth() {
    RehearsalTruth truth = nominal_truth(machine_);
    SurveyTruth& survey = truth.survey;
    for (Line& line : survey.state.axis_lines) {
      line.point_mm += somewhere(0.15);
      line.direction = (line.direction + somewhere(5e-4)).normalized();
    }
    for (std::size_t i = 0; i < machine_.artefacts.size(); ++i) {
      ArtefactPlace& place = survey.state.artefacts[i];
      place.point_mm += somewhere(0.4);
      if (machine_.artefacts[i].kind != ArtefactKind::ball) {
        place.direction = (place.direction + somewhere(4e-4)).normalized();
      }
      if (machine_.artefacts[i].diameter_u_mm) {
        place.radius_mm += 0.5 * *machine_.artefacts[i].diameter_u_mm * normal();
      }
    }
    const Probe& probe = machine_.probe;
    survey.state.stylus_radius_mm += 0.5 * probe.stylus_diameter_u_mm.value_or(0.0) * normal();
    for (int k = 0; k < 3; ++k) {
      survey.state.stylus_offset_mm[k] = probe.offset_u_mm[k] * normal();
      survey.linear_error(k, k) = machine_.linear.scale_u[k] * normal();
    }
    survey.linear_error(0, 1) = machine_.linear.squareness_u_rad[0] * normal();
    survey.linear_error(1, 2) = machine_.linear.squareness_u_rad[1] * normal();
    survey.linear_error(0, 2) = machine_.linear.squareness_u_rad[2] * normal();
    for (const RotaryAxis& axis : machine_.rotary) {
      if (axis.side == AxisSide::work) survey.linear_origin_mm = axis.centre_mm;
    }
    return truth;
  }

  SurveyNoise noise(std::uint64_t seed) const { return stated_noise(machine_, seed); }

  double between(double low, double high) { return low + (high - low) * random_.uniform(); }
  bool chance(double probability) { return random_.uniform() < probability; }
  double normal() { return random_.normal(); }
  Eigen::Vector3d somewhere(double size) {
    return {between(-size, size), between(-size, size), between(-size, size)};
  }

 private:
  void add_probe() {
    Probe& probe = machine_.probe;
    probe.stylus_diameter_mm = between(3.0, 8.0);
    probe.stylus_diameter_u_mm = 0.0005;
    probe.stylus_length_mm = between(40.0, 90.0);
    probe.gauge_length_mm = *probe.stylus_length_mm + 70.0;
    probe.shank_diameter_mm = between(0.4, 0.75) * probe.stylus_diameter_mm;
    probe.holder_diameter_mm = between(30.0, 50.0);
    probe.holder_length_mm = between(40.0, 80.0);
    probe.length_datum = chance(0.3) ? LengthDatum::tip : LengthDatum::centre;
    probe.touch_sigma_mm = between(0.0003, 0.001);
    probe.touch_sigma_stated = true;
    probe.offset_u_mm = {between(0.0, 0.002), between(0.0, 0.002), between(0.0, 0.004)};
  }

  RotaryAxis axis_along(int along, AxisSide side) {
    RotaryAxis axis;
    axis.letter = "ABC"[along];
    axis.side = side;
    axis.along = static_cast<LinearAxis>(along);
    axis.direction = Eigen::Vector3d::Unit(along);
    axis.positive_turn = chance(0.5) ? TurnSense::right_hand : TurnSense::left_hand;
    axis.centre_mm = {between(-450, -250), between(-320, -180), between(-380, -280)};
    axis.quote_at_mm = axis.direction.dot(axis.centre_mm);
    axis.index_sigma_rad = rad_from_arcsec(between(1.0, 6.0));
    axis.index_sigma_stated = true;
    if (chance(0.4)) {
      axis.clamp = fmt::format("M{}", 10 + 2 * along);
      axis.unclamp = fmt::format("M{}", 11 + 2 * along);
    }
    // Whole degrees, as machine files state them: a limit with more decimals than the log would be
    // left by the log's own rounding.
    const double half = chance(0.7) ? 360.0 : std::floor(between(60.0, 120.0));
    axis.travel_rad = {rad_from_deg(-half), rad_from_deg(half)};
    return axis;
  }

  void add_setup(Setup setup) {
    switch (setup) {
      case Setup::ball_on_axis:
        machine_.rotary.push_back(axis_along(static_cast<int>(between(0.0, 3.0)), AxisSide::work));
        add_ball(0, between(30.0, 90.0));
        break;
      case Setup::pin_in_chuck: add_pin(); break;
      case Setup::bore_on_table: add_bore(); break;
      case Setup::ball_and_flat:
        machine_.rotary.push_back(axis_along(2, AxisSide::work));
        add_ball(0, between(40.0, 90.0));
        add_flat();
        break;
      case Setup::ball_under_head: add_head(); break;
      case Setup::tilting_table: add_tilting_table(); break;
    }
  }

  void add_ball(int carried_by, double radius_mm) {
    const RotaryAxis& axis = machine_.rotary[carried_by];
    Artefact ball;
    ball.name = "ball";
    ball.carried_by = carried_by;
    // Upwards at 0 where the axis lies level, beside an upright one.
    const Eigen::Vector3d out =
        axis.letter == 'C' ? cross_pair(axis.direction).first : Eigen::Vector3d::UnitZ();
    const double along = axis.letter == 'C' ? between(30.0, 70.0) : between(-30.0, 60.0);
    ball.at_mm = axis.centre_mm + radius_mm * out + along * axis.direction;
    ball.diameter_mm = between(12.0, 30.0);
    ball.diameter_u_mm = 0.0005;
    Stem stem;
    const bool along_axis = axis.letter != 'C' && chance(0.6);
    stem.direction =
        along_axis ? Eigen::Vector3d(-axis.direction) : Eigen::Vector3d(-Eigen::Vector3d::UnitZ());
    stem.diameter_mm = between(0.25, 0.5) * *ball.diameter_mm;
    stem.length_mm = axis.letter == 'C' ? between(20.0, along) : between(25.0, 50.0);
    ball.stem = stem;
    machine_.artefacts.push_back(ball);
  }

  void add_pin() {
    machine_.rotary.push_back(axis_along(static_cast<int>(between(0.0, 3.0)), AxisSide::work));
    const RotaryAxis& axis = machine_.rotary.front();
    Artefact pin;
    pin.name = "pin";
    pin.kind = ArtefactKind::pin;
    pin.carried_by = 0;
    const double side = axis.letter == 'C' || chance(0.5) ? 1.0 : -1.0;
    pin.direction = side * axis.direction;
    pin.at_mm = axis.centre_mm + between(0.0, 40.0) * pin.direction;
    if (chance(0.3)) pin.at_mm += between(5.0, 30.0) * cross_pair(axis.direction).first;
    pin.length_mm = between(40.0, 100.0);
    pin.diameter_mm = between(8.0, 30.0);
    pin.diameter_u_mm = 0.001;
    machine_.artefacts.push_back(pin);
    Obstacle chuck;
    chuck.name = "chuck";
    chuck.carried_by = 0;
    chuck.shape = ObstacleShape::cylinder;
    chuck.from_mm = axis.centre_mm - 60.0 * pin.direction;
    chuck.to_mm = axis.centre_mm - 5.0 * pin.direction;
    chuck.diameter_mm = between(60.0, 120.0);
    machine_.obstacles.push_back(chuck);
  }

  void add_bore() {
    machine_.rotary.push_back(axis_along(2, AxisSide::work));
    const RotaryAxis& axis = machine_.rotary.front();
    Artefact bore;
    bore.name = "bore";
    bore.kind = ArtefactKind::bore;
    bore.carried_by = 0;
    bore.direction = Eigen::Vector3d::UnitZ();
    bore.at_mm = axis.centre_mm + Eigen::Vector3d(between(0.0, 90.0), 0.0, between(20.0, 60.0));
    bore.length_mm = between(12.0, 30.0);
    bore.diameter_mm = machine_.probe.stylus_diameter_mm + between(14.0, 40.0);
    bore.diameter_u_mm = 0.001;
    machine_.artefacts.push_back(bore);
  }

  void add_flat() {
    const RotaryAxis& axis = machine_.rotary.front();
    Artefact flat;
    flat.name = "face";
    flat.kind = ArtefactKind::flat;
    flat.carried_by = 0;
    flat.direction = Eigen::Vector3d::UnitZ();
    flat.size_mm = between(30.0, 60.0);
    flat.at_mm = axis.centre_mm + Eigen::Vector3d(between(-80.0, -50.0), 0.0, between(5.0, 20.0));
    machine_.artefacts.push_back(flat);
  }

  void add_head() {
    RotaryAxis head = axis_along(static_cast<int>(between(0.0, 2.0)), AxisSide::tool);
    head.centre_mm = {between(-2.0, 2.0), between(-2.0, 2.0), between(120.0, 220.0)};
    head.quote_at_mm = head.direction.dot(head.centre_mm);
    const double half = std::floor(between(30.0, 95.0));
    head.travel_rad = {rad_from_deg(-half), rad_from_deg(half)};
    machine_.rotary.push_back(head);
    Artefact ball;
    ball.name = "ball";
    ball.carried_by = -1;
    ball.at_mm = {between(-400, -300), between(-300, -200), between(-320, -240)};
    ball.diameter_mm = between(15.0, 30.0);
    ball.diameter_u_mm = 0.0005;
    ball.stem = Stem{-Eigen::Vector3d::UnitZ(), between(6.0, 10.0), between(50.0, 100.0)};
    machine_.artefacts.push_back(ball);
  }

  void add_tilting_table() {
    RotaryAxis cradle = axis_along(static_cast<int>(between(0.0, 2.0)), AxisSide::work);
    cradle.travel_rad = {rad_from_deg(-std::floor(between(20.0, 100.0))),
                         rad_from_deg(std::floor(between(20.0, 100.0)))};
    RotaryAxis table = axis_along(2, AxisSide::work);
    table.centre_mm = cradle.centre_mm + Eigen::Vector3d(0, 0, between(-30.0, 0.0));
    if (chance(0.5)) table.centre_mm += Eigen::Vector3d(between(-20, 20), between(-20, 20), 0);
    table.quote_at_mm = table.centre_mm.z();
    machine_.rotary = {cradle, table};
    add_ball(1, between(40.0, 90.0));
    Obstacle plate;
    plate.name = "table";
    plate.carried_by = 1;
    plate.shape = ObstacleShape::cylinder;
    plate.from_mm = table.centre_mm - Eigen::Vector3d(0, 0, 30.0);
    plate.to_mm = table.centre_mm;
    plate.diameter_mm = between(150.0, 240.0);
    machine_.obstacles.push_back(plate);
  }

  void add_obstacle(int k, Setup setup) {
    const bool head = setup == Setup::ball_under_head;
    const Eigen::Vector3d about =
        head ? machine_.artefacts.front().at_mm : machine_.rotary.front().centre_mm;
    Obstacle obstacle;
    obstacle.name = "thing " + std::to_string(k + 1);
    obstacle.carried_by = head || chance(0.5) ? -1 : 0;
    const Eigen::Vector3d middle =
        about + Eigen::Vector3d(between(-150, 150), between(-150, 150), between(-150, 20));
    if (chance(0.5)) {
      const Eigen::Vector3d half(between(10, 50), between(10, 50), between(10, 40));
      obstacle.from_mm = middle - half;
      obstacle.to_mm = middle + half;
    } else {
      obstacle.shape = ObstacleShape::cylinder;
      obstacle.from_mm = middle;
      obstacle.to_mm = middle + between(20.0, 60.0) * somewhere(1.0).normalized();
      obstacle.diameter_mm = between(20.0, 120.0);
    }
    machine_.obstacles.push_back(obstacle);
  }

  /// Moves one end of one slide's travel near to what has to be touched.
  void tighten_travel() {
    const auto axis = static_cast<std::size_t>(between(0.0, 3.0));
    const double near = machine_.artefacts.front().at_mm[static_cast<Eigen::Index>(axis)];
    Range& travel = machine_.linear.travel_mm[axis];
    const double room = std::floor(between(10.0, 120.0));
    if (chance(0.5)) {
      travel.low = std::max(travel.low, std::floor(near - room));
    } else {
      travel.high = std::min(travel.high, std::ceil(near + room));
    }
  }

  RandomStream random_;
  Machine machine_;
};

}  // namespace pivotrace::test
