#include "estimate/findings.h"

#include <fmt/format.h>

#include <cmath>
#include <complex>

#include "estimate/touch_tests.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/kinematics.h"

namespace pivotrace {

namespace {

/// Two-sided 0.1 % point of the standard normal: the usual limit for a single suspect.
constexpr double suspect_w = 3.29;

/// 1 - |mean of exp(j t)|^2 below this: the angles cover less than roughly a quarter turn.
constexpr double short_arc_spread = 0.2;

/// A ball nearer to the axis than this tells little about lean and nothing about index errors.
constexpr double near_axis_mm = 10.0;

void find_turn_sense(const FindingInputs& in, std::vector<Finding>& findings) {
  if (in.sense.wrong()) {
    const Problem problem = in.sense.as_problem(in.model);
    findings.push_back({"turn-sense-wrong", Severity::error, problem.what, problem.advice});
  }
  for (std::size_t axis = 0; axis < in.sense.answers.size(); ++axis) {
    if (in.sense.answers[axis] != SenseVerdict::Answer::cannot_tell) continue;
    const char letter = in.model.machine().rotary[axis].letter;
    findings.push_back(
        {"turn-sense-unproven", Severity::warning,
         fmt::format(
             "these angles fit both turn senses of axis {} equally well, so the touches do not "
             "prove `positive_turn`",
             letter),
         fmt::format("touch at one more angle of {} that is not 180 deg from the others (90 deg is "
                     "best)",
                     letter)});
  }
}

void find_scatter(const FindingInputs& in, std::vector<Finding>& findings) {
  if (in.scatter_too_large) {
    findings.push_back(
        {"scatter-larger-than-stated", Severity::warning,
         fmt::format(
             "the touches scatter {:.1f} times more than the machine file allows; every U95 "
             "has been enlarged to match",
             in.result.fit.sigma0),
         "look for a loose artefact, chips, a dirty stylus, an axis that was not clamped or a "
         "touch "
         "booked to the wrong angle; see the list of touches"});
  }
  const double stated_touch = in.model.machine().probe.touch_sigma_mm;
  const double stated_station = in.model.machine().linear.station_sigma_mm;
  const auto compare = [&](bool estimated, double found, double stated, const char* what,
                           const char* key) {
    if (!estimated || stated <= 0.0 || found < 3.0 * stated) return;
    findings.push_back(
        {"scatter-larger-than-stated", Severity::warning,
         fmt::format(
             "{} came out at {:.4f} mm, the machine file says {:.4f} mm; the larger value was "
             "used for every U95",
             what, found, stated),
         fmt::format("look for the cause, or state the larger value as `{}` in the machine file",
                     key)});
  };
  compare(in.chosen.touch_estimated, in.chosen.random.touch_sigma_mm, stated_touch,
          "the scatter of single touches", "touch_sigma");
  compare(in.chosen.station_estimated, in.chosen.random.station_sigma_mm, stated_station,
          "the scatter from station to station", "station_sigma");
}

void find_assumed_sigmas(const FindingInputs& in, std::vector<Finding>& findings) {
  if (in.chosen.source.find("defaults") == std::string::npos) return;
  findings.push_back(
      {"sigmas-assumed", Severity::note,
       fmt::format(
           "the machine file does not state all of `touch_sigma`, `station_sigma` and "
           "`index_sigma_arcsec`; {:.4f} mm, {:.4f} mm and {:.0f} arcsec stand in for what is "
           "missing, and every U95 rests on them",
           default_touch_sigma_mm, default_station_sigma_mm, default_index_sigma_arcsec),
       "state what your probe and machine do, or take about a dozen stations so that the survey "
       "can "
       "find it itself"});
}

void find_diameter(const FindingInputs& in, std::vector<Finding>& findings) {
  const Layout& layout = in.model.layout();
  for (std::size_t g = 0; g < layout.radius_groups.size(); ++g) {
    const auto k = static_cast<Eigen::Index>(g);
    const double precision = in.model.radius_prior().precision(k, k);
    if (precision <= 0.0) continue;
    const int unknown = layout.radius_groups[g].unknown;
    const double off = in.adjusted.unknowns[unknown] - in.model.radius_prior().mean_mm[k];
    // The stated radius is one more observation; this is its studentised residual.
    const double variance = 1.0 / precision - in.adjusted.covariance()(unknown, unknown);
    if (variance <= 1e-3 / precision) continue;
    // What the touches alone say: undo the pull of the stated value.
    const double touches_alone = 2.0 * off / (variance * precision);
    if (std::abs(off) / std::sqrt(variance) < suspect_w) continue;
    const std::string name = in.model.machine().artefacts[layout.radius_groups[g].owner].name;
    findings.push_back(
        {"diameter-disagrees", Severity::warning,
         fmt::format(
             "{} and stylus together measure {:+.4f} mm from what the machine file states, at "
             "every station alike",
             name, touches_alone),
         "check the stylus diameter and its calibration first, then the diameter of the artefact; "
         "remove `stylus_diameter_u` from the machine file to have the size found from the "
         "touches"});
  }
}

void find_unchecked_touches(const FindingInputs& in, std::vector<Finding>& findings) {
  int unchecked = 0;
  std::string first;
  for (const TouchResult& touch : in.result.touches) {
    if (touch.excluded || touch.w) continue;
    if (unchecked == 0) first = touch.label;
    ++unchecked;
  }
  if (unchecked == 0) return;
  findings.push_back(
      {"unchecked-touches", Severity::warning,
       fmt::format(
           "{} of {} touches are checked by no other (the first is touch {}): an error in one "
           "of them would move the result without showing",
           unchecked, in.result.touches.size(), first),
       "add a station or a touch there; five or six touches a station and six or more angles check "
       "everything"});
}

double angle_spread(const Survey& survey, std::size_t axis) {
  std::complex<double> sum = 0.0;
  for (const Station& station : survey.stations) {
    sum += std::polar(1.0, station.angles_rad[axis]);
  }
  const double mean = std::abs(sum) / static_cast<double>(survey.stations.size());
  return 1.0 - mean * mean;
}

void find_poor_geometry(const FindingInputs& in, std::vector<Finding>& findings) {
  const Machine& machine = in.model.machine();
  const MachineState state = in.model.state(in.adjusted.unknowns);
  for (std::size_t axis = 0; axis < machine.rotary.size(); ++axis) {
    if (in.model.layout().axis_first[axis] < 0) continue;
    const char letter = machine.rotary[axis].letter;
    if (angle_spread(in.model.survey(), axis) < short_arc_spread) {
      findings.push_back(
          {"arc-too-short", Severity::warning,
           fmt::format(
               "the angles of {} cover only a short arc: scale and squareness of the linear "
               "axes then enter its centre and lean almost in full, and no number here shows "
               "it",
               letter),
           fmt::format("spread the angles of {} as far as its travel allows, or state "
                       "`scale_u_um_per_m` and `squareness_u_um_per_m` in the machine file",
                       letter)});
    }
    if (machine.rotary[axis].side == AxisSide::tool) continue;
    double farthest = 0.0;
    bool any = false;
    for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
      if (in.model.layout().place_first[a] < 0 || machine.artefacts[a].kind != ArtefactKind::ball)
        continue;
      if (machine.artefacts[a].carried_by < static_cast<int>(axis)) continue;
      any = true;
      farthest = std::max(
          farthest,
          perpendicular_from_line(state.axis_lines[axis], state.artefacts[a].point_mm).norm());
    }
    if (any && farthest < near_axis_mm) {
      findings.push_back(
          {"ball-near-axis", Severity::warning,
           fmt::format("the ball runs only {:.1f} mm from axis {}: its lean is poorly known",
                       farthest, letter),
           "mount the ball further out, 50 to 150 mm from the axis"});
    }
  }
}

}  // namespace

std::vector<Finding> find(const FindingInputs& in) {
  std::vector<Finding> findings;
  find_turn_sense(in, findings);
  find_scatter(in, findings);
  find_diameter(in, findings);
  find_unchecked_touches(in, findings);
  find_poor_geometry(in, findings);
  find_assumed_sigmas(in, findings);
  return findings;
}

}  // namespace pivotrace
