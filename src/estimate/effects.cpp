#include "estimate/effects.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <set>

#include "pivotrace/survey/synthetic.h"

namespace pivotrace {

namespace {

/// Row and column of the linear-error matrix that a squareness index stands for.
struct MatrixCell {
  int row;
  int column;
};
constexpr MatrixCell squareness_cells[3] = {{0, 1}, {1, 2}, {0, 2}};

Eigen::Vector3d nominal_origin(const Machine& machine) {
  // About the innermost work-side centre (else the middle of the travel): only the orbit of the
  // artefact matters, because the pivot value is used in the same, equally wrong, coordinates.
  for (auto axis = machine.rotary.rbegin(); axis != machine.rotary.rend(); ++axis) {
    if (axis->side == AxisSide::work) return axis->centre_mm;
  }
  Eigen::Vector3d middle;
  for (int k = 0; k < 3; ++k) {
    middle[k] = 0.5 * (machine.linear.travel_mm[k].low + machine.linear.travel_mm[k].high);
  }
  return middle;
}

double mean_time(const Survey& survey) {
  double sum = 0.0;
  int count = 0;
  for (const Touch& touch : survey.touches) {
    if (!touch.time_s) continue;
    sum += *touch.time_s;
    ++count;
  }
  return count > 0 ? sum / count : 0.0;
}

/// Nobody recorded how the first station was reached. Where all others were reached from one side, so
/// it is taken to have been: a side of its own would make a reversal of what is one slipped station.
void take_lone_side(std::vector<RotaryAngles>& reached_from, std::size_t axis) {
  double low = 0.0;
  double high = 0.0;
  for (const RotaryAngles& side : reached_from) {
    low = std::min(low, side[axis]);
    high = std::max(high, side[axis]);
  }
  if (low < 0.0 && high > 0.0) return;
  for (RotaryAngles& side : reached_from) side[axis] = low + high;
}

/// Where nobody wrote times, turns and touches take what they usually do: what creeps shows within a station
/// too, as between the two sections of a pin that are always touched in the same order.
std::vector<double> times_s(const Survey& survey) {
  std::vector<double> times;
  const bool written = std::ranges::all_of(
      survey.touches, [](const Touch& touch) { return touch.time_s.has_value(); });
  for (const Touch& touch : survey.touches) {
    const auto touches = static_cast<double>(times.size() + 1);
    times.push_back(written ? *touch.time_s
                            : touches * seconds_per_touch + touch.station * seconds_per_turn);
  }
  return times;
}

std::vector<double> parts_of_run(const Survey& survey) {
  std::vector<double> parts = times_s(survey);
  if (parts.empty()) return parts;
  const auto count = static_cast<double>(parts.size());
  const double mean = std::accumulate(parts.begin(), parts.end(), 0.0) / count;
  const auto [first, last] = std::minmax_element(parts.begin(), parts.end());
  const double run = *last - *first;
  for (double& part : parts) part = run > 0.0 ? (part - mean) / run : 0.0;
  return parts;
}

/// What of the way between two styluses stays where it is when the spindle turns is entered turned back.
Eigen::Vector3d arm_of_stylus(int part, bool flip) {
  if (part >= 3) return Eigen::Vector3d::Unit(part - 3);
  const double turned_back = flip && part < 2 ? -1.0 : 1.0;
  return turned_back * Eigen::Vector3d::Unit(part);
}

double sign_of(double value) { return value > 0.0 ? 1.0 : (value < 0.0 ? -1.0 : 0.0); }

}  // namespace

namespace {

bool used_on_both_sides(const Survey& survey, int stylus) {
  const auto used = [&](bool flip) {
    return std::any_of(survey.touches.begin(), survey.touches.end(), [&](const Touch& touch) {
      return touch.kind != TouchKind::indicator && touch.stylus == stylus && touch.flip == flip;
    });
  };
  return used(false) && used(true);
}

}  // namespace

std::vector<Effect> effects_of_survey(const Survey& survey) {
  std::set<int> settings;
  std::set<int> styluses;
  for (const Touch& touch : survey.touches) {
    if (touch.kind == TouchKind::indicator) {
      settings.insert(touch.setting);
    } else {
      styluses.insert(touch.stylus);
    }
  }
  std::vector<Effect> effects;
  for (const int setting : settings) effects.push_back({EffectKind::indicator_zero, setting});
  for (const int stylus : styluses) {
    if (stylus == 0) continue;
    for (int k = 0; k < 3; ++k) effects.push_back({EffectKind::other_stylus, 5 * (stylus - 1) + k});
    if (!used_on_both_sides(survey, stylus)) continue;
    for (int k = 3; k < 5; ++k) effects.push_back({EffectKind::other_stylus, 5 * (stylus - 1) + k});
  }
  if (styluses.size() > 1 && used_on_both_sides(survey, 0)) {
    for (int k = 0; k < 2; ++k) effects.push_back({EffectKind::stylus_offset, k});
  }
  return effects;
}

void add_once(std::vector<Effect>& effects, const Effect& effect) {
  const bool known = std::find(effects.begin(), effects.end(), effect) != effects.end();
  if (!known) effects.push_back(effect);
}

EffectContext effect_context(const Machine& machine, const Survey& survey) {
  EffectContext context;
  context.origin_mm = nominal_origin(machine);
  context.mean_time_s = mean_time(survey);
  context.in_turn = survey.touches;
  context.part_of_run = parts_of_run(survey);
  RotaryAngles before{};
  RotaryAngles side{};
  if (!survey.touches.empty()) {
    Eigen::Vector3d low = survey.touches.front().shown_mm;
    Eigen::Vector3d high = low;
    for (const Touch& touch : survey.touches) {
      low = low.cwiseMin(touch.shown_mm);
      high = high.cwiseMax(touch.shown_mm);
    }
    context.middle_mm = 0.5 * (low + high);
    context.first_time_s = survey.touches.front().time_s.value_or(0.0);
    context.last_time_s = survey.touches.back().time_s.value_or(0.0);
  }
  for (const Station& station : survey.stations) {
    context.angles_rad.push_back(station.angles_rad);
    for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
      const double step = station.angles_rad[axis] - before[axis];
      // An axis that did not move keeps the side it was last reached from.
      if (step != 0.0) side[axis] = sign_of(step);
    }
    context.reached_from.push_back(side);
    before = station.angles_rad;
  }
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    take_lone_side(context.reached_from, axis);
  }
  return context;
}

namespace {

/// Of a touch, the way to the trigger by its bearing. A control finds a centre from touches along the X and Y of the
/// spindle: three lobes move opposite ones alike, the centre by (cosine part, -sine part). An indicator has no trigger.
void lobing_on_touch(int part, TouchKind kind, const Eigen::Vector3d& outward_in_spindle,
                     EffectOnTouch& on_touch) {
  if (kind == TouchKind::indicator) return;
  if (kind == TouchKind::centre) {
    on_touch.arm[part] = part == 0 ? -1.0 : 1.0;
    return;
  }
  const double phi = std::atan2(outward_in_spindle.y(), outward_in_spindle.x());
  const double tilt_factor = outward_in_spindle.head<2>().norm();
  on_touch.gap = -tilt_factor * (part == 0 ? std::cos(3.0 * phi) : std::sin(3.0 * phi));
}

}  // namespace

EffectOnTouch effect_on_touch(const Effect& effect, const Touch& touch,
                              const Eigen::Vector3d& outward_in_spindle,
                              const EffectContext& context) {
  EffectOnTouch on_touch;
  const Eigen::Vector3d from_origin = touch.shown_mm - context.origin_mm;
  switch (effect.kind) {
    case EffectKind::stylus_offset:
      // An indicator has no stylus on the spindle axis: where its tip is, its zero tells.
      if (touch.kind != TouchKind::indicator) on_touch.arm[effect.index] = 1.0;
      break;
    case EffectKind::scale: on_touch.shown[effect.index] = from_origin[effect.index]; break;
    case EffectKind::squareness: {
      const MatrixCell cell = squareness_cells[effect.index];
      on_touch.shown[cell.row] = from_origin[cell.column];
      break;
    }
    case EffectKind::drift:
      if (touch.time_s)
        on_touch.shown[effect.index] = (*touch.time_s - context.mean_time_s) / 3600.0;
      break;
    case EffectKind::lobing:
      lobing_on_touch(effect.index, touch.kind, outward_in_spindle, on_touch);
      break;
    case EffectKind::reversal:
      on_touch.angles[effect.index] = context.reached_from[touch.station][effect.index];
      break;
    case EffectKind::creep:
      on_touch.shown[effect.index] =
          context.part_of_run[static_cast<std::size_t>(&touch - context.in_turn.data())];
      break;
    case EffectKind::bow: {
      const double way = touch.shown_mm[effect.index / 3] - context.middle_mm[effect.index / 3];
      on_touch.shown[effect.index % 3] = std::pow(way / bow_reach_mm, 2);
      break;
    }
    case EffectKind::index_wave: {
      const int axis = effect.index / 4;
      const double turns = effect.index % 4 < 2 ? 1.0 : 2.0;
      const double angle = turns * context.angles_rad[touch.station][axis];
      on_touch.angles[axis] = effect.index % 2 == 0 ? std::cos(angle) : std::sin(angle);
      break;
    }
    case EffectKind::indicator_zero:
      if (touch.kind == TouchKind::indicator && touch.setting == effect.index) {
        on_touch.shown = touch.approach.value_or(Eigen::Vector3d::Zero());
      }
      break;
    case EffectKind::other_stylus:
      if (touch.stylus == effect.index / 5 + 1)
        on_touch.arm = arm_of_stylus(effect.index % 5, touch.flip);
      break;
  }
  return on_touch;
}

}  // namespace pivotrace
