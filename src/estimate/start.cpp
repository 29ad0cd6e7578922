#include "estimate/start.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <optional>

#include "estimate/linearisation.h"
#include "pivotrace/geometry/axis_regression.h"
#include "pivotrace/geometry/sphere_fit.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/machine/tool_axis.h"

namespace pivotrace {

namespace {

/// A centre of one ball as the control shows it at one station.
struct SeenBall {
  int station = 0;
  int artefact = 0;
  int stylus = 0;
  Eigen::Vector3d shown_mm = Eigen::Vector3d::Zero();
};

/// A regression that leans more than this from nominal is not believed as a start.
constexpr double largest_lean_cosine = 0.7;

/// Four touches near one plane, as round an equator, give a sphere of any size.
bool radius_is_believable(const Model& model, int artefact, double radius_mm) {
  constexpr double part_off = 0.1;
  const Artefact& ball = model.machine().artefacts[artefact];
  if (!ball.diameter_mm) return true;
  const double known = 0.5 * (*ball.diameter_mm + model.machine().probe.stylus_diameter_mm);
  return std::abs(radius_mm - known) <= part_off * known;
}

std::optional<Eigen::Vector3d> ball_centre(const Model& model, const Station& stay, int artefact,
                                           int stylus) {
  std::vector<Eigen::Vector3d> touches;
  for (int t = 0; t < stay.touch_count; ++t) {
    const Touch& touch = model.survey().touches[stay.first_touch + t];
    if (touch.artefact != artefact || touch.stylus != stylus) continue;
    if (touch.kind == TouchKind::centre) return touch.shown_mm;
    touches.push_back(touch.shown_mm);
  }
  const SphereFit fit = fit_sphere_algebraic(touches);
  if (fit.status != FitStatus::done || !radius_is_believable(model, artefact, fit.radius_mm)) {
    return std::nullopt;
  }
  return fit.centre_mm;
}

int styluses_of(const Model& model) {
  return std::max(1, static_cast<int>(model.survey().styluses.size()));
}

std::vector<SeenBall> seen_balls(const Model& model) {
  std::vector<SeenBall> seen;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    for (std::size_t a = 0; a < model.machine().artefacts.size(); ++a) {
      if (model.layout().place_first[a] < 0) continue;
      if (model.machine().artefacts[a].kind != ArtefactKind::ball) continue;
      const Station& stay = model.survey().stations[s];
      for (int stylus = 0; stylus < styluses_of(model); ++stylus) {
        const auto centre = ball_centre(model, stay, static_cast<int>(a), stylus);
        if (centre) seen.push_back({static_cast<int>(s), static_cast<int>(a), stylus, *centre});
      }
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
    if (!moves || ball.stylus != 0) continue;
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
      if (ball.artefact != static_cast<int>(a) || ball.stylus != 0) continue;
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

/// The way from the first stylus ball to another: both saw one ball at the same angles, so the positions
/// shown differ by that way, turned as the head stands.
void start_styluses(const Model& model, const std::vector<SeenBall>& seen,
                    const MachineState& state, Eigen::VectorXd& x) {
  std::map<int, std::pair<Eigen::Vector3d, int>> ways;
  for (const SeenBall& other : seen) {
    if (other.stylus == 0) continue;
    const RotaryAngles& angles = model.survey().stations[other.station].angles_rad;
    const auto first = std::find_if(seen.begin(), seen.end(), [&](const SeenBall& ball) {
      return ball.stylus == 0 && ball.artefact == other.artefact &&
             model.survey().stations[ball.station].angles_rad == angles;
    });
    if (first == seen.end()) continue;
    auto& [sum, count] = ways.try_emplace(other.stylus, Eigen::Vector3d::Zero(), 0).first->second;
    sum += direction_in_tool(model.machine(), state, first->shown_mm - other.shown_mm, angles);
    ++count;
  }
  for (const auto& [stylus, way] : ways) {
    for (int k = 0; k < 3; ++k) {
      const int unknown =
          unknown_of(model.layout(), {EffectKind::other_stylus, 5 * (stylus - 1) + k});
      if (unknown >= 0) x[unknown] = way.first[k] / way.second;
    }
  }
}

/// How far along its direction the tip goes until it meets the artefact from outside, the artefact where
/// it is believed to be; absent where it would pass by.
std::optional<double> way_to_surface(const Model& model, const MachineState& state,
                                     const Touch& touch) {
  const Artefact& artefact = model.machine().artefacts[touch.artefact];
  const ArtefactPlace& place = state.artefacts[touch.artefact];
  const RotaryAngles& angles = model.survey().stations[touch.station].angles_rad;
  const auto carried = [&](const Eigen::Vector3d& shown_mm) {
    return carried_from_machine(model.machine(), state, artefact.carried_by,
                                stylus_in_machine(model.machine(), state, shown_mm, angles),
                                angles);
  };
  const Eigen::Vector3d from_place = carried(touch.shown_mm) - place.point_mm;
  const Eigen::Vector3d along =
      carried(touch.shown_mm + *touch.approach) - place.point_mm - from_place;
  if (artefact.kind == ArtefactKind::flat) {
    const double slope = place.direction.dot(along);
    if (slope > -0.1) return std::nullopt;
    return (state.stylus_radius_mm - place.direction.dot(from_place)) / slope;
  }
  const bool inside = artefact.kind == ArtefactKind::bore;
  const double reach =
      place.radius_mm + (inside ? -state.stylus_radius_mm : state.stylus_radius_mm);
  const bool ball = artefact.kind == ArtefactKind::ball;
  const auto across = [&](const Eigen::Vector3d& v) -> Eigen::Vector3d {
    return ball ? v : Eigen::Vector3d(v - place.direction * place.direction.dot(v));
  };
  const double a = across(along).squaredNorm();
  const double b = across(along).dot(across(from_place));
  const double room = b * b - a * (across(from_place).squaredNorm() - reach * reach);
  if (a < 0.1 || room < 0.0) return std::nullopt;
  return (-b + (inside ? std::sqrt(room) : -std::sqrt(room))) / a;
}

/// The zero of each setting: the mean way its tips still had to go.
void start_settings(const Model& model, const MachineState& state, Eigen::VectorXd& x) {
  std::map<int, std::pair<double, int>> ways;
  for (const Touch& touch : model.survey().touches) {
    if (touch.kind != TouchKind::indicator) continue;
    const auto way = way_to_surface(model, state, touch);
    if (!way) continue;
    ways[touch.setting].first += *way;
    ++ways[touch.setting].second;
  }
  for (const auto& [setting, way] : ways) {
    const int unknown = unknown_of(model.layout(), {EffectKind::indicator_zero, setting});
    if (unknown >= 0) x[unknown] = way.first / way.second;
  }
}

MachineState as_touched(const Model& model, const std::vector<SeenBall>& seen, MachineState state) {
  for (std::size_t axis = 0; axis < model.machine().rotary.size(); ++axis) {
    if (model.axis_turned(static_cast<int>(axis))) {
      start_axis(model, seen, static_cast<int>(axis), state);
    }
  }
  start_balls(model, seen, state);
  return state;
}

}  // namespace

Eigen::VectorXd starting_unknowns(const Model& model) {
  MachineState nominal = nominal_state(model.machine());
  nominal.turns = model.turns();
  const std::vector<SeenBall> seen = seen_balls(model);
  std::vector<Eigen::VectorXd> starts;
  for (const MachineState& state : {as_touched(model, seen, nominal), nominal}) {
    starts.push_back(model.unknowns_from(state));
    start_styluses(model, seen, state, starts.back());
    start_settings(model, state, starts.back());
  }
  // Where the machine file knows better than a few touches at hardly different angles.
  return *std::ranges::min_element(starts, {}, [&](const Eigen::VectorXd& start) {
    const double sum = sum_of_squared_gaps(model, start);
    return std::isfinite(sum) ? sum : std::numeric_limits<double>::infinity();
  });
}

}  // namespace pivotrace
