#include "estimate/start.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>

#include "pivotrace/geometry/axis_regression.h"
#include "pivotrace/geometry/sphere_fit.h"
#include "pivotrace/machine/kinematics.h"

namespace pivotrace {

namespace {

/// A centre of one ball as the control shows it at one station.
struct SeenBall {
  int station = 0;
  int artefact = 0;
  Eigen::Vector3d shown_mm = Eigen::Vector3d::Zero();
};

/// A regression that leans more than this from nominal is not believed as a start.
constexpr double largest_lean_cosine = 0.7;

std::optional<Eigen::Vector3d> ball_centre(const Model& model, const Station& stay, int artefact) {
  std::vector<Eigen::Vector3d> touches;
  for (int t = 0; t < stay.touch_count; ++t) {
    const Touch& touch = model.survey().touches[stay.first_touch + t];
    if (touch.artefact != artefact) continue;
    if (touch.kind == TouchKind::centre) return touch.shown_mm;
    touches.push_back(touch.shown_mm);
  }
  const SphereFit fit = fit_sphere_algebraic(touches);
  if (fit.status != FitStatus::done) return std::nullopt;
  return fit.centre_mm;
}

std::vector<SeenBall> seen_balls(const Model& model) {
  std::vector<SeenBall> seen;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    for (std::size_t a = 0; a < model.machine().artefacts.size(); ++a) {
      if (model.layout().place_first[a] < 0) continue;
      if (model.machine().artefacts[a].kind != ArtefactKind::ball) continue;
      const auto centre = ball_centre(model, model.survey().stations[s], static_cast<int>(a));
      if (centre) seen.push_back({static_cast<int>(s), static_cast<int>(a), *centre});
    }
  }
  return seen;
}

/// Sightings of one ball between which only `axis` turned: the largest such group.
std::vector<SeenBall> only_turned(const Model& model, const std::vector<SeenBall>& seen, int axis) {
  std::map<std::vector<long long>, std::vector<SeenBall>> groups;
  for (const SeenBall& ball : seen) {
    const bool moves = model.machine().rotary[axis].side == AxisSide::tool ||
                       model.machine().artefacts[ball.artefact].carried_by >= axis;
    if (!moves) continue;
    std::vector<long long> key = {ball.artefact};
    const RotaryAngles& angles = model.survey().stations[ball.station].angles_rad;
    for (int other = 0; other < max_rotary_axes; ++other) {
      if (other != axis) key.push_back(std::llround(angles[other] * 1e8));
    }
    groups[key].push_back(ball);
  }
  std::vector<SeenBall> largest;
  for (const auto& [key, group] : groups) {
    if (group.size() > largest.size()) largest = group;
  }
  return largest;
}

/// The regressed line where the ball runs, in the machine frame of the group's other angles.
std::optional<AxisRegression> regressed(const Model& model, const std::vector<SeenBall>& group,
                                        int axis) {
  if (group.empty()) return std::nullopt;
  AxisSums sums(group.front().shown_mm);
  for (const SeenBall& ball : group) {
    const double commanded = model.survey().stations[ball.station].angles_rad[axis];
    sums.add(turn_sign(model.turns()[axis]) * commanded, ball.shown_mm);
  }
  AxisRegression regression = sums.solve();
  if (regression.status != FitStatus::done) return std::nullopt;
  return regression;
}

/// Work side: the line itself, taken back through the axes outside it. Tool side: the ball's shown
/// centre runs round (ball - pivot) with the arm pivot - shown, so the arm at 0 is the centre.
void start_axis(const Model& model, const std::vector<SeenBall>& seen, int axis,
                MachineState& state) {
  const std::vector<SeenBall> group = only_turned(model, seen, axis);
  const auto regression = regressed(model, group, axis);
  if (!regression) return;
  const RotaryAxis& rotary = model.machine().rotary[axis];
  const Line& nominal = model.axis_chart(axis).nominal();
  Line line{regression->axis.point_mm, nominal.direction};
  if (rotary.side == AxisSide::tool) {
    line.point_mm = regression->cosine_arm_mm;
  } else {
    const RotaryAngles& angles = model.survey().stations[group.front().station].angles_rad;
    const std::vector<int> outer = model.machine().work_chain(axis - 1);
    const int carrier = outer.empty() ? -1 : outer.back();
    line.point_mm = carried_from_machine(model.machine(), state, carrier, line.point_mm, angles);
    const Eigen::Vector3d direction =
        machine_from_carried_rotation(model.machine(), state, carrier, angles).transpose() *
        regression->axis.direction;
    if (direction.dot(nominal.direction) > largest_lean_cosine) line.direction = direction;
  }
  line.point_mm = pierce_plane(line, nominal.direction, nominal.direction.dot(nominal.point_mm));
  state.axis_lines[axis] = line;
}

void start_balls(const Model& model, const std::vector<SeenBall>& seen, MachineState& state) {
  for (std::size_t a = 0; a < model.machine().artefacts.size(); ++a) {
    Eigen::Vector3d sum = Eigen::Vector3d::Zero();
    int count = 0;
    for (const SeenBall& ball : seen) {
      if (ball.artefact != static_cast<int>(a)) continue;
      const RotaryAngles& angles = model.survey().stations[ball.station].angles_rad;
      const Eigen::Vector3d stylus =
          stylus_in_machine(model.machine(), state, ball.shown_mm, angles);
      sum += carried_from_machine(model.machine(), state, model.machine().artefacts[a].carried_by,
                                  stylus, angles);
      ++count;
    }
    if (count > 0) state.artefacts[a].point_mm = sum / count;
  }
}

}  // namespace

Eigen::VectorXd starting_unknowns(const Model& model) {
  MachineState state = nominal_state(model.machine());
  state.turns = model.turns();
  const std::vector<SeenBall> seen = seen_balls(model);
  for (std::size_t axis = 0; axis < model.machine().rotary.size(); ++axis) {
    if (model.axis_turned(static_cast<int>(axis))) {
      start_axis(model, seen, static_cast<int>(axis), state);
    }
  }
  start_balls(model, seen, state);
  return model.unknowns_from(state);
}

}  // namespace pivotrace
