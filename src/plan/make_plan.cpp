#include "pivotrace/plan/make_plan.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "pivotrace/estimate/predict.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/rotation.h"
#include "pivotrace/machine/tool_axis.h"
#include "pivotrace/plan/check_plan.h"
#include "pivotrace/survey/synthetic.h"
#include "plan/axis_range.h"
#include "plan/choose_touches.h"
#include "plan/outcome.h"

namespace pivotrace {

namespace {

/// An axis that may turn this far has a full circle of different stations.
constexpr double full_circle_deg = 360.0;
/// Fewer stations of an axis than this determine no centre with anything to spare, and more than the
/// other bring little for their time (common practice, no source).
constexpr int least_stations = 3;
constexpr int most_stations = 24;
/// What a purpose means, unless the request says otherwise. Common practice, no source:
/// a defensible answer in about 3 minutes, a full check with drift control in about 8.
struct PurposeRules {
  int stations;
  StationOrder order;
  double rough_mm;
};

PurposeRules rules_of(Purpose purpose) {
  switch (purpose) {
    case Purpose::commissioning: return {8, StationOrder::there_and_back, 3.0};
    case Purpose::periodic_check: return {6, StationOrder::pairs, 1.0};
    case Purpose::after_crash: return {6, StationOrder::there_and_back, 3.0};
    case Purpose::minutes: return {6, StationOrder::pairs, 1.0};
  }
  return {6, StationOrder::pairs, 1.0};
}

double wrapped_into(double angle_deg, double low_deg, double high_deg) {
  while (angle_deg > high_deg + 1e-9) angle_deg -= 360.0;
  while (angle_deg < low_deg - 1e-9) angle_deg += 360.0;
  return angle_deg;
}

/// Far-apart first: 0, half, quarter, three quarters, ... (bit-reversed order of the positions).
std::vector<int> far_apart_order(int count) {
  int bits = 1;
  while ((1 << bits) < count) ++bits;
  std::vector<int> order;
  for (int i = 0; i < (1 << bits); ++i) {
    int reversed = 0;
    for (int b = 0; b < bits; ++b) reversed |= ((i >> b) & 1) << (bits - 1 - b);
    if (reversed < count) order.push_back(reversed);
  }
  return order;
}

/// Stations per axis when the request names no number. Two axes share one run: a little fewer
/// stations of each keep it bearable.
int default_stations(const Machine& machine, const PlanRequest& request) {
  const int stations = rules_of(request.purpose).stations;
  int axes = static_cast<int>(request.axes.size());
  for (std::size_t i = 0; request.axes.empty() && i < machine.rotary.size(); ++i) {
    axes += measurable(machine, static_cast<int>(i)) ? 1 : 0;
  }
  return axes > 1 ? std::max(least_stations + 1, stations - 2) : stations;
}

class Planner {
 public:
  Planner(const Machine& machine, const PlanRequest& request, int stations)
      : machine_(machine),
        request_(request),
        stations_wanted_(stations),
        rules_(rules_of(request.purpose)),
        state_(nominal_state(machine)) {}

  Expected<Plan> plan();
  const std::vector<LeftOut>& left_out() const { return left_out_; }

 private:
  void set_distances();
  std::vector<int> axes_to_measure();
  std::vector<double> wanted_angles_deg(int axis) const;
  void start_upright();
  void add_turn(int axis, const RotaryAngles& base, bool flip);
  std::optional<PlannedStation> station_at(const RotaryAngles& angles, bool flip,
                                           const std::string& name);
  std::vector<PlannedStation> in_order(std::vector<PlannedStation> stations) const;
  void number_stations();
  Problems complaints() const;

  const Machine& machine_;
  const PlanRequest& request_;
  int stations_wanted_;
  PurposeRules rules_;
  MachineState state_;
  Plan plan_;
  std::vector<LeftOut> left_out_;
  std::vector<std::string> unplanned_;
};

std::vector<int> Planner::axes_to_measure() {
  std::vector<int> axes;
  // Inner axes first: they turn while the outer ones stand at 0, where the file gives positions.
  for (int axis = static_cast<int>(machine_.rotary.size()) - 1; axis >= 0; --axis) {
    const char letter = machine_.rotary[axis].letter;
    const bool asked =
        request_.axes.empty() || std::count(request_.axes.begin(), request_.axes.end(), letter) > 0;
    if (!asked) continue;
    if (measurable(machine_, axis)) {
      axes.push_back(axis);
    } else {
      unplanned_.push_back(fmt::format("{}: no artefact rides on this axis", letter));
    }
  }
  return axes;
}

void Planner::set_distances() {
  plan_.feeds = request_.feeds;
  plan_.distances.rough = request_.rough_mm.value_or(rules_.rough_mm);
  plan_.distances.clearance = request_.clearance_mm.value_or(plan_.distances.clearance);
}

std::vector<double> Planner::wanted_angles_deg(int axis) const {
  const Range& travel = machine_.rotary[axis].travel_rad;
  const auto [low, high] = usable_deg(machine_, state_, plan_.distances, axis);
  const int n = stations_wanted_;
  std::vector<double> angles;
  if (deg_from_rad(travel.high - travel.low) >= full_circle_deg - 1e-6) {
    for (int i = 0; i < n; ++i) angles.push_back(wrapped_into(full_circle_deg * i / n, low, high));
    return angles;
  }
  for (int i = 0; i < n; ++i) {
    const double exact = low + (high - low) * i / (n - 1);
    // Whole degrees where they fit: easier to read and to set by hand.
    const double whole = std::round(exact);
    angles.push_back(whole >= low && whole <= high ? whole : exact);
  }
  return angles;
}

std::optional<PlannedStation> Planner::station_at(const RotaryAngles& angles, bool flip,
                                                  const std::string& name) {
  PlannedStation station;
  station.angles_rad = angles;
  station.flip = flip;
  std::string reason;
  for (std::size_t i = 0; i < machine_.artefacts.size(); ++i) {
    const TouchChoice choice =
        choose_touches(machine_, state_, plan_.distances, angles, flip, static_cast<int>(i),
                       request_.equator_touches.value_or(5));
    if (choice.touches.empty()) {
      reason += (reason.empty() ? "" : "; ") + machine_.artefacts[i].name + ": " + choice.objection;
      continue;
    }
    station.touches.insert(station.touches.end(), choice.touches.begin(), choice.touches.end());
  }
  if (!station.touches.empty()) {
    if (const auto objection = objection_to_station(machine_, state_, plan_.distances, station)) {
      reason = *objection;
      station.touches.clear();
    }
  }
  if (!reason.empty()) left_out_.push_back({name, reason});
  if (station.touches.empty()) return std::nullopt;
  return station;
}

std::vector<PlannedStation> Planner::in_order(std::vector<PlannedStation> stations) const {
  const StationOrder order = request_.order.value_or(rules_.order);
  std::vector<PlannedStation> ordered;
  if (order == StationOrder::there_and_back) {
    ordered = stations;
    for (std::size_t i = stations.size() - 1; i-- > 0;) ordered.push_back(stations[i]);
    return ordered;
  }
  for (const int i : far_apart_order(static_cast<int>(stations.size()))) {
    ordered.push_back(stations[i]);
  }
  ordered.push_back(stations.front());
  return ordered;
}

void Planner::add_turn(int axis, const RotaryAngles& base, bool flip) {
  const char letter = machine_.rotary[axis].letter;
  std::vector<PlannedStation> stations;
  for (const double angle : wanted_angles_deg(axis)) {
    RotaryAngles angles = base;
    angles[axis] = rad_from_deg(angle);
    const std::string name = fmt::format("{} {:g}", letter, angle);
    if (auto station = station_at(angles, flip, name)) stations.push_back(std::move(*station));
  }
  if (static_cast<int>(stations.size()) < least_stations) {
    unplanned_.push_back(fmt::format("{}: only {} of {} stations can be reached", letter,
                                     stations.size(), stations_wanted_));
    return;
  }
  for (PlannedStation& station : in_order(std::move(stations))) {
    plan_.stations.push_back(std::move(station));
  }
}

/// A program finds its first artefact from above: a run that would begin with the spindle leaning
/// begins, and ends, with all axes at 0 instead.
void Planner::start_upright() {
  const auto upright = [&](const RotaryAngles& angles) {
    return tool_axis_in_machine(machine_, state_, angles).z() > 1.0 - 1e-9;
  };
  if (plan_.stations.empty() || upright(plan_.stations.front().angles_rad)) return;
  auto station = station_at(RotaryAngles{}, false, "all axes 0");
  if (!station) return;
  plan_.stations.insert(plan_.stations.begin(), *station);
  plan_.stations.push_back(std::move(*station));
}

void Planner::number_stations() {
  for (std::size_t i = 0; i < plan_.stations.size(); ++i) {
    plan_.stations[i].label = std::to_string(i + 1);
  }
}

Problems Planner::complaints() const {
  std::string reasons;
  for (const std::string& text : unplanned_) reasons += (reasons.empty() ? "" : ". ") + text;
  for (const LeftOut& left : left_out_)
    reasons += fmt::format(". {}: {}", left.station, left.reason);
  return {{ProblemNumber::cannot_plan,
           "too few stations can be reached. " + reasons,
           {},
           "move the artefact or the obstacles, use a longer stylus, or leave that axis out with "
           "--axis"}};
}

Expected<Plan> Planner::plan() {
  plan_.machine_name = machine_.name;
  plan_.purpose = request_.purpose;
  set_distances();
  const std::vector<int> axes = axes_to_measure();
  std::vector<RotaryAngles> reached = {RotaryAngles{}};
  for (const int axis : axes) {
    for (const double angle : wanted_angles_deg(axis)) {
      RotaryAngles angles{};
      angles[axis] = rad_from_deg(angle);
      reached.push_back(angles);
    }
  }
  plan_.distances.safe_height = safe_height_mm(machine_, state_, plan_.distances, reached);
  for (const bool flip : {false, true}) {
    if (flip && !request_.flip) continue;
    for (const int axis : axes) add_turn(axis, RotaryAngles{}, flip);
  }
  if (plan_.stations.empty() || !unplanned_.empty()) return tl::make_unexpected(complaints());
  if (axes.size() > 1) plan_.stations.push_back(plan_.stations.front());
  start_upright();
  number_stations();
  plan_.self_find = request_.self_find && !objection_to_self_find(machine_, state_, plan_);
  plan_.minutes = minutes_of(machine_, plan_);
  Problems problems = check_plan(machine_, plan_);
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  return std::move(plan_);
}

// ------------------------------------------------------------------------------------ outcome

StationTarget target_of(const Machine& machine, const MachineState& state, const Plan& plan,
                        const PlannedStation& station) {
  StationTarget target{station.angles_rad, station.flip, {}};
  for (const PlannedTouch& touch : station.touches) {
    const PlacedTouch placed =
        place_touch(machine, state, plan.distances, station.angles_rad, touch);
    TouchTarget made;
    made.artefact = touch.artefact;
    made.outward = placed.outward;
    made.along_mm = touch.along_mm;
    const CrossPair pair = cross_pair(state.artefacts[touch.artefact].direction);
    made.on_face_mm = touch.out_mm * (std::cos(touch.around_rad) * pair.first +
                                      std::sin(touch.around_rad) * pair.second);
    target.touches.push_back(made);
  }
  return target;
}

std::optional<Gain> gain_of_station(const Machine& machine, const PlanRequest& request,
                                    int stations, const Plan& now) {
  if (stations >= most_stations) return std::nullopt;
  const Expected<Plan> more = Planner(machine, request, stations + 1).plan();
  if (!more) return std::nullopt;
  const Expected<FitResult> prediction = predict_plan(machine, *more);
  if (!prediction) return std::nullopt;
  return Gain{fmt::format("one more station per axis ({} instead of {})", stations + 1, stations),
              more->minutes - now.minutes, predicted_outputs(*prediction)};
}

/// The plan of as many stations as fit into the minutes asked for.
Expected<Plan> plan_for_minutes(const Machine& machine, const PlanRequest& request, int& stations,
                                std::vector<LeftOut>& left_out) {
  Expected<Plan> best = failure({});
  for (stations = least_stations; stations <= most_stations; ++stations) {
    Planner planner(machine, request, stations);
    Expected<Plan> plan = planner.plan();
    if (!plan) {
      if (stations == least_stations) return plan;
      break;
    }
    if (plan->minutes > request.minutes) {
      if (stations > least_stations) break;
      return failure({ProblemNumber::cannot_plan,
                      fmt::format("the shortest plan takes {:.1f} minutes, {:.1f} are allowed",
                                  plan->minutes, request.minutes),
                      {},
                      "allow more minutes, or name one axis with --axis"});
    }
    best = std::move(plan);
    left_out = planner.left_out();
  }
  --stations;
  return best;
}

}  // namespace

Problems PlanRequest::validate() const {
  Problems problems;
  const auto when = [&](bool wrong, const std::string& what, const std::string& advice) {
    if (wrong) problems.push_back({ProblemNumber::bad_argument, what, {}, advice});
  };
  when(stations && (*stations < least_stations || *stations > most_stations),
       fmt::format("{} stations per axis cannot be planned", stations.value_or(0)),
       fmt::format("ask for {} to {}", least_stations, most_stations));
  when(equator_touches && (*equator_touches < 3 || *equator_touches > 12),
       fmt::format("{} equator touches cannot be planned", equator_touches.value_or(0)),
       "5 or 6 are best: 4 let a three-lobed probe move the centre");
  when(purpose == Purpose::minutes && !(minutes > 0.0), "the time allowed must be above 0 minutes",
       "give minutes, for example 3");
  when(clearance_mm && !(*clearance_mm > 0.0), "the clearance must be above 0", "common: 4 mm");
  when(rough_mm && !(*rough_mm >= 0.0), "the rough distance must not be negative", "common: 3 mm");
  return problems;
}

Survey nominal_survey(const Machine& machine, const Plan& plan) {
  const MachineState state = nominal_state(machine);
  std::vector<StationTarget> targets;
  for (const PlannedStation& station : plan.stations) {
    targets.push_back(target_of(machine, state, plan, station));
  }
  SurveyTruth truth;
  truth.state = state;
  return synthesise_survey(machine, truth, state, targets, {});
}

Expected<FitResult> predict_plan(const Machine& machine, const Plan& plan) {
  return predict_fit(machine, nominal_survey(machine, plan));
}

std::vector<PredictedOutput> predicted_outputs(const FitResult& prediction) {
  std::vector<PredictedOutput> outputs;
  for (const AxisResult& axis : prediction.axes) {
    if (!axis.estimated) continue;
    for (const std::vector<NamedEstimate>* estimates : {&axis.centre, &axis.orientation}) {
      for (const NamedEstimate& named : *estimates) {
        outputs.push_back({named.name, named.estimate.U95, named.estimate.U95_absolute});
      }
    }
    if (axis.pivot_to_stylus) {
      outputs.push_back({axis_value(axis.letter, ValueKind::pivot_to_stylus),
                         axis.pivot_to_stylus->U95, axis.pivot_to_stylus->U95_absolute});
    }
  }
  return outputs;
}

Expected<PlanOutcome> make_plan(const Machine& machine, const PlanRequest& request) {
  Problems problems = request.validate();
  for (const char letter : request.axes) {
    if (machine.rotary_index(letter) < 0) {
      problems.push_back({ProblemNumber::unknown_name,
                          fmt::format("the machine has no axis {}", letter),
                          {},
                          "name one of the [[rotary]] axes of the machine file"});
    }
  }
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  PlanOutcome outcome;
  int stations = request.stations.value_or(default_stations(machine, request));
  Expected<Plan> plan = failure({});
  if (request.purpose == Purpose::minutes && !request.stations) {
    plan = plan_for_minutes(machine, request, stations, outcome.left_out);
  } else {
    Planner planner(machine, request, stations);
    plan = planner.plan();
    outcome.left_out = planner.left_out();
  }
  if (!plan) return tl::make_unexpected(plan.error());
  Expected<FitResult> prediction = predict_plan(machine, *plan);
  if (!prediction) return tl::make_unexpected(prediction.error());
  plan->predicted = predicted_outputs(*prediction);
  outcome.limited_by = limits_of(*prediction);
  if (auto gain = gain_of_station(machine, request, stations, *plan)) {
    outcome.gains.push_back(std::move(*gain));
  }
  if (auto gain = gain_of_second_ball(machine, *plan)) outcome.gains.push_back(std::move(*gain));
  outcome.plan = std::move(*plan);
  outcome.prediction = std::move(*prediction);
  return outcome;
}

}  // namespace pivotrace
