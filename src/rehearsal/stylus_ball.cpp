#include "rehearsal/stylus_ball.h"

#include <algorithm>

#include "pivotrace/machine/kinematics.h"

namespace pivotrace::rehearsal {

namespace {

/// Rounds of "gap of this trigger, place of this gap": each shrinks the error by gap / radius.
constexpr int trigger_rounds = 3;

}  // namespace

std::optional<Trigger> StylusBall::first_trigger(const Posture& from, const Posture& to,
                                                 const RotaryAngles& commanded_rad,
                                                 double spindle_rad, MachineErrors& errors) const {
  std::optional<Trigger> first;
  Way nearest;
  const double length = (checker_.ball_mm(to) - checker_.ball_mm(from)).norm();
  for (std::size_t w = 0; w < checker_.work().size(); ++w) {
    const StraightPath path = path_in_carried(checker_.work()[w].carried_by, from, to);
    const std::optional<double> s = contact_mm(static_cast<int>(w), 0.0, path);
    if (!s || (first && *s >= nearest.contact_mm)) continue;
    nearest = {path, *s};
    first = Trigger{length > 0.0 ? *s / length : 0.0, static_cast<int>(w)};
  }
  if (!first || checker_.work()[first->work].artefact < 0 || length <= 0.0) return first;
  first->part =
      trigger_way_mm(first->work, nearest, from, commanded_rad, spindle_rad, errors) / length;
  return first;
}

StraightPath StylusBall::path_in_carried(int carried_by, const Posture& from,
                                         const Posture& to) const {
  const Eigen::Isometry3d carried_from_machine =
      checker_.machine_from_carried_pose(carried_by, from).inverse(Eigen::Isometry);
  const Eigen::Vector3d start = carried_from_machine * checker_.ball_mm(from);
  const Eigen::Vector3d stop = carried_from_machine * checker_.ball_mm(to);
  StraightPath path;
  path.from_mm = start;
  path.length_mm = (stop - start).norm();
  if (path.length_mm > 0.0) path.direction = (stop - start) / path.length_mm;
  return path;
}

std::optional<double> StylusBall::contact_mm(int work, double gap, const StraightPath& path) const {
  const WorkSolid& body = checker_.work()[work];
  const double radius = checker_.state().stylus_radius_mm;
  if (body.artefact >= 0) {
    const Artefact& artefact = machine_.artefacts[body.artefact];
    const ArtefactPlace& place = checker_.state().artefacts[body.artefact];
    const std::optional<double> s = surface_contact_mm(artefact, place, radius, gap, path);
    if (s || artefact.kind == ArtefactKind::ball) return s;
  }
  return solid_contact_mm(body.solid, radius, path);
}

/// Way to the trigger of one surface contact: scatter and lobing hold it back or let it run on.
double StylusBall::trigger_way_mm(int work, const Way& way, const Posture& from,
                                  const RotaryAngles& commanded_rad, double spindle_rad,
                                  MachineErrors& errors) const {
  const double scatter_mm = errors.touch_scatter_mm();
  const WorkSolid& body = checker_.work()[work];
  const Eigen::Isometry3d pose = checker_.machine_from_carried_pose(body.carried_by, from);
  double s = way.contact_mm;
  for (int round = 0; round < trigger_rounds; ++round) {
    const Eigen::Vector3d normal =
        pose.linear() * outward_normal(machine_.artefacts[body.artefact].kind,
                                       checker_.state().artefacts[body.artefact], way.path.at(s));
    const double gap = scatter_mm + errors.lobing_mm(normal, commanded_rad, spindle_rad);
    s = contact_mm(work, gap, way.path).value_or(way.contact_mm);
  }
  return s;
}

double StylusBall::pressed_mm(int work, const Posture& posture) const {
  const std::vector<WorkSolid>& all = checker_.work();
  double deepest = -distance_mm(work, posture);
  for (std::size_t w = 0; all[work].part_of >= 0 && w < all.size(); ++w) {
    if (all[w].part_of != all[work].part_of) continue;
    deepest = std::max(deepest, -distance_mm(static_cast<int>(w), posture));
  }
  return deepest;
}

double StylusBall::distance_mm(int work, const Posture& posture) const {
  const WorkSolid& body = checker_.work()[work];
  const Eigen::Vector3d ball = checker_.ball_mm(posture);
  if (body.artefact >= 0) {
    const ArtefactPlace& place = checker_.state().artefacts[body.artefact];
    const Eigen::Vector3d local =
        checker_.machine_from_carried_pose(body.carried_by, posture).inverse(Eigen::Isometry) *
        ball;
    return gap_mm(machine_.artefacts[body.artefact].kind, place, checker_.state().stylus_radius_mm,
                  local);
  }
  return point_distance_mm(checker_.work_solid(work, posture), ball) -
         checker_.state().stylus_radius_mm;
}

}  // namespace pivotrace::rehearsal
