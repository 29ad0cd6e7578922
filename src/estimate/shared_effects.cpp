#include "estimate/shared_effects.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>

#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

const double one_position_rad = rad_from_deg(1.0);

/// One index position or one arrival with the stations that stand there.
using Place = IndexPosition;

/// Places of one axis in the order met, and per station the one it stands at (-1: not felt).
struct Places {
  std::vector<Place> all;
  std::vector<int> of_station;
};

bool station_feels(const Machine& machine, const Survey& survey, const Station& stay, int axis) {
  for (int t = 0; t < stay.touch_count; ++t) {
    if (feels(machine, survey.touches[stay.first_touch + t], axis)) return true;
  }
  return false;
}

bool all_touches_feel(const Machine& machine, const Survey& survey, const Station& stay, int axis) {
  for (int t = 0; t < stay.touch_count; ++t) {
    if (!feels(machine, survey.touches[stay.first_touch + t], axis)) return false;
  }
  return true;
}

/// A station with its angle turned back to 0..1 turn and its side.
struct Stay {
  double angle_rad;
  double side;
  int station;
};

std::vector<Stay> stays_of(const Machine& machine, const Survey& survey, int axis,
                           const std::vector<RotaryAngles>& reached_from) {
  constexpr double turn = 2.0 * std::numbers::pi;
  std::vector<Stay> stays;
  for (std::size_t s = 0; s < survey.stations.size(); ++s) {
    if (!station_feels(machine, survey, survey.stations[s], axis)) continue;
    double angle = std::remainder(survey.stations[s].angles_rad[axis], turn);
    if (angle < 0.0) angle += turn;
    const double side = survey.turns_told_apart ? reached_from[s][axis] : 0.0;
    stays.push_back({angle, side, static_cast<int>(s)});
  }
  std::stable_sort(stays.begin(), stays.end(), [](const Stay& a, const Stay& b) {
    return a.side != b.side ? a.side < b.side : a.angle_rad < b.angle_rad;
  });
  return stays;
}

/// Joins the last place of one side to its first where they meet across 0: the commonest angle must not
/// be torn apart by round-off.
void join_across_zero(std::vector<Place>& places, std::size_t first_of_side) {
  constexpr double turn = 2.0 * std::numbers::pi;
  if (places.size() < first_of_side + 2) return;
  Place& first = places[first_of_side];
  Place& last = places.back();
  if (first.angle_rad + turn - last.angle_rad > one_position_rad) return;
  first.stations.insert(first.stations.end(), last.stations.begin(), last.stations.end());
  places.pop_back();
}

/// Sorted and cut where a station stands more than a position beyond the first of its place (stations close
/// together all the way round would otherwise share one error): n log n for a long survey, and the same
/// however the axis counts.
Places positions_of(const Machine& machine, const Survey& survey, int axis,
                    const std::vector<RotaryAngles>& reached_from) {
  Places places;
  std::size_t first_of_side = 0;
  for (const Stay& stay : stays_of(machine, survey, axis, reached_from)) {
    const bool new_side = places.all.empty() || places.all.back().side != stay.side;
    if (new_side) {
      join_across_zero(places.all, first_of_side);
      first_of_side = places.all.size();
    }
    if (new_side || stay.angle_rad - places.all.back().angle_rad > one_position_rad) {
      places.all.push_back({axis, stay.angle_rad, stay.side, {}});
    }
    places.all.back().stations.push_back(stay.station);
  }
  join_across_zero(places.all, first_of_side);
  places.of_station.assign(survey.stations.size(), -1);
  for (std::size_t k = 0; k < places.all.size(); ++k) {
    std::sort(places.all[k].stations.begin(), places.all[k].stations.end());
    for (const int station : places.all[k].stations) {
      places.of_station[station] = static_cast<int>(k);
    }
  }
  return places;
}

/// An axis that is not commanded rests: stations in a row at the same angle are one arrival.
Places arrivals_of(const Machine& machine, const Survey& survey, int axis) {
  Places places;
  places.of_station.assign(survey.stations.size(), -1);
  constexpr double same_angle_rad = 1e-9;
  double last = std::numeric_limits<double>::quiet_NaN();
  for (std::size_t s = 0; s < survey.stations.size(); ++s) {
    const double angle = survey.stations[s].angles_rad[axis];
    const bool rests = std::abs(angle - last) <= same_angle_rad;
    last = angle;
    if (!rests) places.all.push_back({axis, angle, 0.0, {}});
    if (!station_feels(machine, survey, survey.stations[s], axis)) continue;
    places.all.back().stations.push_back(static_cast<int>(s));
    places.of_station[s] = static_cast<int>(places.all.size()) - 1;
  }
  return places;
}

class Sorter {
 public:
  Sorter(const Machine& machine, const Survey& survey, const std::vector<bool>& turned,
         const std::vector<RotaryAngles>& reached_from)
      : machine_(machine), survey_(survey) {
    const std::size_t stations = survey.stations.size();
    result_.of_station.resize(stations);
    result_.cluster_of_station.assign(stations, -1);
    result_.own.resize(stations);
    for (OwnGroups& own : result_.own) {
      for (int k = 0; k < 3; ++k) own[k].push_back(station_group);
    }
    for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
      const int a = static_cast<int>(axis);
      positions_.push_back(turned[axis] ? positions_of(machine, survey, a, reached_from)
                                        : Places{});
      arrivals_.push_back(turned[axis] && machine.rotary[axis].index_repeat_sigma_rad > 0.0
                              ? arrivals_of(machine, survey, a)
                              : Places{});
    }
  }

  SharedEffects run() {
    std::vector<int> axes;
    for (std::size_t axis = 0; axis < positions_.size(); ++axis) {
      axes.push_back(static_cast<int>(axis));
    }
    std::stable_sort(axes.begin(), axes.end(),
                     [&](int a, int b) { return shared_places(a) > shared_places(b); });
    for (std::size_t k = 0; k < axes.size(); ++k) {
      add_axis(axes[k], k == 0);
      if (k == 0) result_.clustered = result_.count();
    }
    // Arrivals cut across positions of other axes and of their own: they go to the border.
    for (const int axis : axes) add_arrivals(axis);
    return std::move(result_);
  }

 private:
  std::ptrdiff_t shared_places(int axis) const {
    return std::count_if(positions_[axis].all.begin(), positions_[axis].all.end(),
                         [](const Place& place) { return place.stations.size() > 1; });
  }

  void add_axis(int axis, bool in_clusters) {
    for (const Place& place : positions_[axis].all) {
      result_.positions.push_back(place);
      const int first = result_.count();
      add_index(axis, place);
      add_motion(axis, place);
      const int added = result_.count() - first;
      if (!in_clusters || added == 0) continue;
      for (const int station : place.stations) {
        result_.cluster_of_station[station] = static_cast<int>(result_.clusters.size());
      }
      result_.clusters.emplace_back(first, added);
    }
  }

  void share(const Place& place, int group, int component) {
    for (const int station : place.stations) result_.of_station[station].push_back(result_.count());
    result_.all.push_back({group, place.axis, component});
  }

  void add_index(int axis, const Place& place) {
    if (!(machine_.rotary[axis].index_sigma_rad > 0.0)) return;
    if (place.stations.size() > 1) {
      share(place, index_group(axis), -1);
    } else {
      result_.own[place.stations.front()][3 + axis].push_back(index_group(axis));
    }
  }

  /// Seen by one station alone and by all its touches, a motion cannot be told from a station error
  /// and adds to it.
  void add_motion(int axis, const Place& place) {
    if (!(machine_.rotary[axis].axis_motion_sigma_mm > 0.0)) return;
    const Station& first = survey_.stations[place.stations.front()];
    if (place.stations.size() > 1 || !all_touches_feel(machine_, survey_, first, axis)) {
      for (int k = 0; k < 3; ++k) share(place, motion_group(axis), k);
      return;
    }
    for (int k = 0; k < 3; ++k) {
      result_.own[place.stations.front()][k].push_back(motion_group(axis));
    }
  }

  void add_arrivals(int axis) {
    for (const Place& place : arrivals_[axis].all) {
      if (place.stations.empty()) continue;
      if (place.stations.size() > 1) {
        share(place, repeat_group(axis), -1);
      } else {
        result_.own[place.stations.front()][3 + axis].push_back(repeat_group(axis));
      }
    }
  }

  const Machine& machine_;
  const Survey& survey_;
  std::vector<Places> positions_;
  std::vector<Places> arrivals_;
  SharedEffects result_;
};

}  // namespace

bool feels(const Machine& machine, const Touch& touch, int axis) {
  return machine.rotary[axis].side == AxisSide::tool ||
         axis <= machine.artefacts[touch.artefact].carried_by;
}

SharedEffects shared_effects(const Machine& machine, const Survey& survey,
                             const std::vector<bool>& turned,
                             const std::vector<RotaryAngles>& reached_from) {
  return Sorter(machine, survey, turned, reached_from).run();
}

}  // namespace pivotrace
