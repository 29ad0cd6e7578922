#include "pivotrace/survey/synthetic.h"

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>

#include "pivotrace/contact/eigen.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/machine/tool_axis.h"
#include "pivotrace/survey/machine_errors.h"
#include "pivotrace/survey/random_stream.h"

namespace pivotrace {

namespace {

class Synthesis {
 public:
  Synthesis(const Machine& machine, const SurveyTruth& truth, const MachineState& aim,
            const SurveyNoise& noise, Arrivals arrivals)
      : machine_(machine),
        truth_(truth),
        aim_(aim),
        arrivals_(arrivals),
        errors_(machine, truth, noise) {}

  Survey run(const std::vector<StationTarget>& stations) {
    survey_.machine_name = machine_.name;
    for (const StationTarget& target : stations) add_station(target);
    return std::move(survey_);
  }

 private:
  void add_station(const StationTarget& target) {
    Station station;
    station.label = std::to_string(survey_.stations.size() + 1);
    station.angles_rad = target.angles_rad;
    station.first_touch = static_cast<int>(survey_.touches.size());
    come_to_rest(target.angles_rad);
    time_s_ += seconds_per_turn;
    for (const TouchTarget& touch : target.touches) add_touch(target, touch);
    station.touch_count = static_cast<int>(survey_.touches.size()) - station.first_touch;
    survey_.stations.push_back(station);
    last_angles_rad_ = target.angles_rad;
  }

  void come_to_rest(const RotaryAngles& angles_rad) {
    errors_.begin_station();
    for (std::size_t axis = 0; axis < machine_.rotary.size(); ++axis) {
      const double step = angles_rad[axis] - last_angles_rad_[axis];
      if (step == 0.0 && !survey_.stations.empty()) continue;  // it rests and keeps its error
      int side = step > 0.0 ? 1 : (step < 0.0 ? -1 : 0);
      if (arrivals_ == Arrivals::one_side) side = 1;
      errors_.arrive(static_cast<int>(axis), angles_rad[axis], side);
    }
  }

  /// Outward normal the touch is aimed along, machine frame.
  Eigen::Vector3d aimed_normal(const TouchTarget& target, const RotaryAngles& angles_rad) const {
    const Artefact& artefact = machine_.artefacts[target.artefact];
    if (artefact.kind == ArtefactKind::ball) return target.outward.normalized();
    Eigen::Vector3d direction =
        machine_from_carried_rotation(machine_, aim_, artefact.carried_by, angles_rad) *
        aim_.artefacts[target.artefact].direction;
    if (artefact.kind == ArtefactKind::flat) return direction;
    return (target.outward - direction * direction.dot(target.outward)).normalized();
  }

  /// The point of the artefact, machine frame, that the stylus centre is driven at: the ball's
  /// centre, a point on the pin's or bore's axis, a point on the face.
  Eigen::Vector3d aimed_point(const TouchTarget& target, const RotaryAngles& angles_rad) const {
    const Artefact& artefact = machine_.artefacts[target.artefact];
    const ArtefactPlace& place = aim_.artefacts[target.artefact];
    Eigen::Vector3d in_carried = place.point_mm;
    if (artefact.kind == ArtefactKind::pin) in_carried += target.along_mm * place.direction;
    if (artefact.kind == ArtefactKind::bore) in_carried -= target.along_mm * place.direction;
    if (artefact.kind == ArtefactKind::flat) {
      in_carried += target.on_face_mm - place.direction * place.direction.dot(target.on_face_mm);
    }
    return machine_from_carried(machine_, aim_, artefact.carried_by, in_carried, angles_rad);
  }

  /// Distance from the aimed point at which the stylus centre is expected to trigger.
  double expected_reach(const TouchTarget& target) const {
    const ArtefactPlace& place = aim_.artefacts[target.artefact];
    switch (machine_.artefacts[target.artefact].kind) {
      case ArtefactKind::ball:
      case ArtefactKind::pin: return place.radius_mm + aim_.stylus_radius_mm;
      case ArtefactKind::bore: return -(place.radius_mm - aim_.stylus_radius_mm);
      case ArtefactKind::flat: return aim_.stylus_radius_mm;
    }
    return 0.0;
  }

  /// The reading that would be without errors where the slides really stand.
  contact::Reading<double> real_reading(const Eigen::Vector3d& shown_mm,
                                        const Eigen::Vector3d& tool_moved_mm,
                                        const Eigen::Vector3d& work_moved_mm, bool flip) const {
    const Eigen::Vector3d real_shown =
        errors_.slides_at_mm(shown_mm, time_s_, tool_moved_mm, work_moved_mm);
    return {contact::from_eigen(real_shown), contact::from_eigen(truth_.state.stylus_offset_mm),
            flip};
  }

  RotaryAngles real_angles(const RotaryAngles& commanded_rad) const {
    RotaryAngles real_rad{};
    for (int i = 0; i < max_rotary_axes; ++i) {
      real_rad[i] = errors_.stands_at_rad(i, commanded_rad[i], commanded_rad[i]);
    }
    return real_rad;
  }

  /// Shown position where the true gap equals the trigger error; empty when it passes by.
  std::optional<Eigen::Vector3d> trigger(const StationTarget& station, const TouchTarget& target) {
    const Artefact& artefact = machine_.artefacts[target.artefact];
    const contact::Place<double> place = contact_place(truth_.state.artefacts[target.artefact]);
    const Eigen::Vector3d normal = aimed_normal(target, station.angles_rad);
    const RotaryAngles real_rad = real_angles(station.angles_rad);
    const double spindle_rad = station.flip ? std::numbers::pi : 0.0;
    const double scatter_mm = errors_.touch_scatter_mm();
    const double wanted_gap =
        scatter_mm + errors_.lobing_mm(normal, station.angles_rad, spindle_rad);
    const Eigen::Vector3d stylus_aim =
        aimed_point(target, station.angles_rad) + normal * expected_reach(target);
    Eigen::Vector3d shown =
        shown_from_stylus(machine_, aim_, stylus_aim, station.angles_rad, station.flip);
    const contact::Chain<double> chain = chain_at(machine_, truth_.state, real_rad);
    const contact::Mat3<double> to_machine =
        contact::machine_from_carried_rotation(chain, artefact.carried_by);
    const Eigen::Vector3d tool_moved_mm =
        tool_displacement_mm(machine_, truth_.state, real_rad, errors_.motions_mm());
    const Eigen::Vector3d work_moved_mm = work_displacement_mm(
        machine_, truth_.state, artefact.carried_by, real_rad, errors_.motions_mm());
    for (int iteration = 0; iteration < 30; ++iteration) {
      const contact::Vec3<double> in_carried = contact::stylus_in_carried(
          chain, artefact.carried_by,
          real_reading(shown, tool_moved_mm, work_moved_mm, station.flip));
      const contact::Surface<double> surface =
          contact::surface(artefact.kind, place, truth_.state.stylus_radius_mm, in_carried);
      const double slope = contact::dot(contact::from_eigen(normal), to_machine * surface.outward);
      if (slope < 0.1) return std::nullopt;
      const double step = (surface.gap - wanted_gap) / slope;
      shown -= normal * step;
      if (std::abs(step) < 1e-13) return shown;
    }
    return shown;
  }

  void add_touch(const StationTarget& station, const TouchTarget& target) {
    time_s_ += seconds_per_touch;
    const std::optional<Eigen::Vector3d> shown = trigger(station, target);
    if (!shown) return;
    Touch touch;
    touch.label = std::to_string(survey_.touches.size() + 1);
    touch.station = static_cast<int>(survey_.stations.size());
    touch.artefact = target.artefact;
    touch.shown_mm = *shown;
    touch.approach = -aimed_normal(target, station.angles_rad);
    touch.time_s = time_s_;
    touch.flip = station.flip;
    survey_.touches.push_back(touch);
  }

  const Machine& machine_;
  const SurveyTruth& truth_;
  const MachineState& aim_;
  Arrivals arrivals_;
  MachineErrors errors_;
  Survey survey_;
  double time_s_ = 0.0;
  RotaryAngles last_angles_rad_{};
};

}  // namespace

SurveyNoise stated_noise(const Machine& machine, std::uint64_t seed) {
  SurveyNoise noise;
  noise.touch_sigma_mm = machine.probe.touch_sigma_mm;
  noise.station_sigma_mm = machine.linear.station_sigma_mm;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    noise.index_sigma_rad[i] = machine.rotary[i].index_sigma_rad;
    noise.index_repeat_sigma_rad[i] = machine.rotary[i].index_repeat_sigma_rad;
    noise.axis_motion_sigma_mm[i] = machine.rotary[i].axis_motion_sigma_mm;
  }
  noise.seed = seed;
  return noise;
}

Survey synthesise_survey(const Machine& machine, const SurveyTruth& truth, const MachineState& aim,
                         const std::vector<StationTarget>& stations, const SurveyNoise& noise,
                         Arrivals arrivals) {
  return Synthesis(machine, truth, aim, noise, arrivals).run(stations);
}

Eigen::Vector3d slide_error_mm(const SurveyTruth& truth, const Eigen::Vector3d& shown_mm) {
  const Eigen::Vector3d from_middle = (shown_mm - truth.bow_middle_mm) / bow_reach_mm;
  return truth.linear_error * (shown_mm - truth.linear_origin_mm) +
         truth.bow_mm * from_middle.cwiseAbs2();
}

double index_wave_rad(const SurveyTruth& truth, int axis, double angle_rad) {
  const IndexWave& wave = truth.index_waves[axis];
  return wave.cos_once * std::cos(angle_rad) + wave.sin_once * std::sin(angle_rad) +
         wave.cos_twice * std::cos(2.0 * angle_rad) + wave.sin_twice * std::sin(2.0 * angle_rad);
}

SurveyNoise drawn_about(const SurveyNoise& stated, double dof) {
  RandomStream random(stated.seed, 88);
  // A whole number of squared normals; a file says 8, and a fraction of one would change nothing.
  const int count = std::max(1, static_cast<int>(std::lround(dof)));
  const auto factor = [&] {
    double chi2 = 0.0;
    for (int k = 0; k < count; ++k) chi2 += std::pow(random.normal(), 2);
    return std::sqrt(count / chi2);
  };
  SurveyNoise drawn = stated;
  drawn.touch_sigma_mm *= factor();
  drawn.station_sigma_mm *= factor();
  for (int axis = 0; axis < max_rotary_axes; ++axis) {
    drawn.index_sigma_rad[axis] *= factor();
    drawn.index_repeat_sigma_rad[axis] *= factor();
    drawn.axis_motion_sigma_mm[axis] *= factor();
  }
  return drawn;
}

std::vector<TouchTarget> ball_pattern(int artefact, int count, double first_rad, bool pole) {
  std::vector<TouchTarget> targets;
  for (int k = 0; k < count; ++k) {
    const double phi = first_rad + 2.0 * std::numbers::pi * k / count;
    targets.push_back(
        {artefact, {std::cos(phi), std::sin(phi), 0.0}, 0.0, Eigen::Vector3d::Zero()});
  }
  if (pole) targets.push_back({artefact, Eigen::Vector3d::UnitZ(), 0.0, Eigen::Vector3d::Zero()});
  return targets;
}

std::vector<TouchTarget> round_pattern(const Machine& machine, int artefact,
                                       const RotaryAngles& angles_rad, int count, double along_mm,
                                       const Eigen::Vector3d& facing, double half_angle_rad) {
  const MachineState nominal = nominal_state(machine);
  const Artefact& what = machine.artefacts[artefact];
  const Eigen::Vector3d axis =
      machine_from_carried_rotation(machine, nominal, what.carried_by, angles_rad) *
      nominal.artefacts[artefact].direction;
  const Eigen::Vector3d middle = (facing - axis * axis.dot(facing)).normalized();
  const Eigen::Vector3d side = axis.cross(middle);
  const bool all_round = half_angle_rad >= std::numbers::pi - 1e-9;
  const double step = all_round ? 2.0 * std::numbers::pi / count
                                : (count > 1 ? 2.0 * half_angle_rad / (count - 1) : 0.0);
  const double first = all_round || count == 1 ? 0.0 : -half_angle_rad;
  std::vector<TouchTarget> targets;
  for (int k = 0; k < count; ++k) {
    const double phi = first + k * step;
    targets.push_back({artefact, middle * std::cos(phi) + side * std::sin(phi), along_mm,
                       Eigen::Vector3d::Zero()});
  }
  return targets;
}

}  // namespace pivotrace
