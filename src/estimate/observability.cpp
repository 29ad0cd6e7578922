#include "estimate/observability.h"

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <optional>
#include <set>

#include "estimate/linearisation.h"
#include "estimate/outputs.h"

namespace pivotrace {

namespace {

/// A tilt of 1 rad weighs as much as 100 mm: about the size of the orbits touched.
constexpr double natural_arm_mm = 100.0;

/// mm for one unit of an unknown: leans, reversal, squareness and scale act at the end of an arm.
double natural_size(const Unknown& unknown) {
  if (unknown.kind == UnknownKind::lean) return natural_arm_mm;
  if (unknown.kind != UnknownKind::effect) return 1.0;
  switch (effect_unit(unknown.effect.kind)) {
    case EffectUnit::rad:
    case EffectUnit::mm_per_mm: return natural_arm_mm;
    case EffectUnit::mm:
    case EffectUnit::mm_per_hour: return 1.0;
  }
  return 1.0;
}

/// Unknowns that take part in an unseen direction, strongest first.
std::vector<Unknown> taking_part(const Model& model, const Eigen::VectorXd& direction) {
  constexpr double weakest_share = 0.3;
  const std::vector<Unknown>& names = model.layout().names;
  std::vector<std::pair<double, Unknown>> parts;
  double largest = 0.0;
  for (Eigen::Index k = 0; k < direction.size(); ++k) {
    const double size = std::abs(direction[k]) * natural_size(names[k]);
    largest = std::max(largest, size);
    parts.emplace_back(size, names[k]);
  }
  std::erase_if(parts, [&](const auto& part) { return part.first <= weakest_share * largest; });
  std::stable_sort(parts.begin(), parts.end(),
                   [](const auto& a, const auto& b) { return a.first > b.first; });
  std::vector<Unknown> unknowns;
  unknowns.reserve(parts.size());
  for (auto& [size, unknown] : parts) unknowns.push_back(std::move(unknown));
  return unknowns;
}

int different_angles(const Survey& survey, int axis) {
  std::set<long long> angles;
  for (const Station& station : survey.stations) {
    angles.insert(std::llround(station.angles_rad[axis] * 1e9));
  }
  return static_cast<int>(angles.size());
}

/// The slides' axes along which hardly any touch looks: touches round the equator of a ball tell nothing
/// of its height, touches from above nothing of where it is sideways.
std::vector<LinearAxis> blind_axes(const Model& model, const Eigen::VectorXd& unknowns) {
  /// Looks that lean less than this towards a direction (0.1 rad, common practice, no source) see an
  /// error along it ten times enlarged.
  constexpr double blind_below = 0.1;
  constexpr double clearly_along = 0.95;
  const Linearisation at(model, unknowns);
  Eigen::Matrix3d looks = Eigen::Matrix3d::Zero();
  StationBlock block;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    at.evaluate(static_cast<int>(s), nullptr, block);
    looks += block.by_nuisance.leftCols<3>().transpose() * block.by_nuisance.leftCols<3>();
  }
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> eigen(looks);
  const Eigen::Vector3d& seen = eigen.eigenvalues();
  // Where two directions are blind, which of their mixtures is an eigenvector is chance: an axis counts
  // that lies in what they span.
  const Eigen::Index blind = (seen.array() <= blind_below * blind_below * seen[2]).count();
  const Eigen::Vector3d share = eigen.eigenvectors().leftCols(blind).rowwise().norm();
  std::vector<LinearAxis> axes;
  for (int k = 0; k < 3; ++k) {
    if (share[k] > clearly_along) axes.push_back(static_cast<LinearAxis>(k));
  }
  return axes;
}

bool only_flats(const Model& model) {
  for (const Touch& touch : model.survey().touches) {
    if (model.machine().artefacts[touch.artefact].kind != ArtefactKind::flat) return false;
  }
  return true;
}

/// What the unknowns taking part are of.
struct Owners {
  bool radius = false;
  int axis = -1;  ///< the first, -1 = none
  bool axis_lean = false;
  std::string artefact;  ///< the first
};

Owners owners_of(const Machine& machine, const std::vector<Unknown>& parts) {
  Owners owners;
  for (const Unknown& part : parts) {
    const bool of_axis = part.artefact.empty();
    if (part.kind == UnknownKind::effective_radius) owners.radius = true;
    if (of_axis && owners.axis < 0) owners.axis = machine.rotary_index(part.axis);
    if (of_axis && part.kind == UnknownKind::lean) owners.axis_lean = true;
    if (!of_axis && owners.artefact.empty()) owners.artefact = part.artefact;
  }
  return owners;
}

Remedy for_axis(const Model& model, const Owners& owners) {
  Remedy remedy;
  remedy.axis = model.machine().rotary[owners.axis].letter;
  if (only_flats(model)) {
    remedy.kind = Remedy::Kind::more_than_flats;
  } else if (different_angles(model.survey(), owners.axis) < 3) {
    remedy.kind = Remedy::Kind::three_angles;
  } else {
    remedy.kind = owners.axis_lean ? Remedy::Kind::second_height : Remedy::Kind::wider_and_further;
  }
  return remedy;
}

/// What to add so that the unknowns taking part can be told apart.
Remedy what_to_add(const Model& model, const Eigen::VectorXd& unknowns,
                   const std::vector<Unknown>& parts) {
  Remedy remedy;
  for (const Unknown& part : parts) {
    if (part.kind != UnknownKind::effect) continue;
    remedy.kind = Remedy::Kind::suit_effect;
    remedy.effect = part.effect.kind;
    return remedy;
  }
  const Owners owners = owners_of(model.machine(), parts);
  // No direction helps where there is nothing to touch from it.
  if (only_flats(model) && owners.axis >= 0) return for_axis(model, owners);
  const std::vector<LinearAxis> blind = blind_axes(model, unknowns);
  for (const Unknown& part : parts) {
    const auto along = std::find(blind.begin(), blind.end(), part.direction);
    if (along == blind.end()) continue;
    remedy.kind = Remedy::Kind::look_along;
    remedy.along = *along;
    return remedy;
  }
  if (!owners.radius && owners.axis >= 0) return for_axis(model, owners);
  remedy.kind = owners.radius ? Remedy::Kind::all_round_or_stated : Remedy::Kind::more_directions;
  remedy.artefact = owners.artefact;
  return remedy;
}

}  // namespace

FitRefusals refusals_before_solving(const Model& model) {
  const Survey& survey = model.survey();
  if (survey.touches.empty()) return {fit_refusal::NoTouches{}};
  FitRefusals refusals;
  bool any_turned = false;
  for (std::size_t axis = 0; axis < model.machine().rotary.size(); ++axis) {
    if (model.axis_turned(static_cast<int>(axis))) {
      any_turned = true;
      continue;
    }
    const double stood_rad = survey.stations.front().angles_rad[axis];
    if (std::abs(stood_rad) > 1e-9) {
      refusals.push_back(fit_refusal::StoodAway{model.machine().rotary[axis].letter, stood_rad});
    }
  }
  if (!any_turned) refusals.push_back(fit_refusal::NothingTurned{});
  const int known = model.total_readings() + static_cast<int>(model.radius_prior().root.rows());
  if (known < model.layout().unknowns) {
    refusals.push_back(
        fit_refusal::TooFewReadings{model.total_readings(), model.layout().unknowns});
  }
  return refusals;
}

namespace {

/// One standard deviation along the direction in the unknowns that is known worst, a lean of 1 rad
/// weighing as much as the natural arm.
Eigen::VectorXd worst_known(const Model& model, const Adjusted& adjusted) {
  const std::vector<Unknown>& names = model.layout().names;
  Eigen::VectorXd natural(model.layout().unknowns);
  for (Eigen::Index k = 0; k < natural.size(); ++k) natural[k] = natural_size(names[k]);
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(
      natural.asDiagonal() * adjusted.covariance() * natural.asDiagonal());
  const Eigen::Index last = natural.size() - 1;
  return std::sqrt(std::max(0.0, eigen.eigenvalues()[last])) *
         eigen.eigenvectors().col(last).cwiseQuotient(natural);
}

/// Change of all gaps by a small move of the unknowns, taken at `unknowns`.
Eigen::VectorXd change_of_gaps(const Model& model, const Eigen::VectorXd& unknowns,
                               const Eigen::VectorXd& move) {
  const Linearisation at(model, unknowns);
  Eigen::VectorXd change(model.total_readings());
  StationBlock block;
  Eigen::Index row = 0;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    at.evaluate(static_cast<int>(s), nullptr, block);
    change.segment(row, block.gap.size()) = block.by_unknown * move;
    row += block.gap.size();
  }
  return change;
}

}  // namespace

// The relative curvature of Bates & Watts (1980, from memory) along the worst-known direction: how
// much the derivatives change over plus and minus one standard deviation. Where they change as much
// as they are, the uncertainty that rests on them is a number without meaning.
FitRefusals seen_by_curvature_only(const Model& model, const Adjusted& adjusted) {
  constexpr double largest_share = 0.3;
  const Eigen::VectorXd move = worst_known(model, adjusted);
  const Eigen::VectorXd here = change_of_gaps(model, adjusted.unknowns, move);
  const Eigen::VectorXd bent = change_of_gaps(model, adjusted.unknowns + move, move) -
                               change_of_gaps(model, adjusted.unknowns - move, move);
  if (0.5 * bent.norm() <= largest_share * here.norm()) return {};
  const std::vector<Unknown> parts = taking_part(model, move);
  return {fit_refusal::CurvatureOnly{parts, what_to_add(model, adjusted.unknowns, parts)}};
}

FitRefusals unseen_directions(const Model& model, const Adjusted& adjusted) {
  const InformationSolution& information = adjusted.information;
  FitRefusals refusals;
  for (Eigen::Index k = 0; k < information.null_directions.cols(); ++k) {
    const std::vector<Unknown> parts = taking_part(model, information.null_directions.col(k));
    refusals.push_back(fit_refusal::Unseen{parts, what_to_add(model, adjusted.unknowns, parts)});
  }
  return refusals;
}

namespace {

/// Where the far end of an axis goes when it leans about a machine axis: Z for a lean of A about Y.
/// Absent for a tilted axis.
std::optional<LinearAxis> leaning_towards(const RotaryAxis& axis, LinearAxis about) {
  if (!axis.along) return std::nullopt;
  return static_cast<LinearAxis>(3 - static_cast<int>(*axis.along) - static_cast<int>(about));
}

/// The unknown that a stated value rests on.
Unknown unknown_behind(const Machine& machine, const ValueName& output) {
  Unknown unknown;
  unknown.axis = output.axis;
  unknown.kind = is_angle(output) ? UnknownKind::lean : UnknownKind::centre;
  unknown.direction = output.direction;
  if (is_angle(output)) {
    const RotaryAxis& axis = machine.rotary[machine.rotary_index(output.axis)];
    unknown.direction = leaning_towards(axis, output.direction.value());
  }
  return unknown;
}

}  // namespace

FitRefusals weak_outputs(const Model& model, const Adjusted& adjusted,
                         const Uncertainty& uncertainty, const UsefulLimits& limits) {
  FitRefusals refusals;
  for (const Output& output : axis_outputs(model, adjusted.unknowns)) {
    const double u95 = uncertainty.estimate(output.value, output.by_unknown).U95_absolute;
    const double limit = is_angle(output.name) ? limits.orientation_rad : limits.location_mm;
    if (u95 <= limit) continue;
    Remedy remedy =
        what_to_add(model, adjusted.unknowns, {unknown_behind(model.machine(), output.name)});
    // Effects that are solved for as well take their share of what the touches can tell.
    remedy.or_solve_less = !model.layout().effects.empty();
    refusals.push_back(fit_refusal::TooWeak{output.name, u95, remedy});
  }
  return refusals;
}

}  // namespace pivotrace
