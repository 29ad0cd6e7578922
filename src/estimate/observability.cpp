#include "estimate/observability.h"

#include <fmt/format.h>

#include <Eigen/Eigenvalues>
#include <algorithm>
#include <cmath>
#include <set>

#include "estimate/linearisation.h"
#include "estimate/outputs.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace {

/// A tilt of 1 rad weighs as much as 100 mm: about the size of the orbits touched.
constexpr double natural_arm_mm = 100.0;

bool is_lean(const std::string& name) { return name.find(".lean.") != std::string::npos; }

/// mm for one unit of an unknown: leans, reversal, squareness and scale act at the end of an arm.
double natural_size(const std::string& name) {
  const auto starts = [&](const char* word) { return name.rfind(word, 0) == 0; };
  const bool at_arm =
      is_lean(name) || starts("reversal.") || starts("squareness.") || starts("scale.");
  return at_arm ? natural_arm_mm : 1.0;
}

/// An optional unknown by the name it has among the unknowns, and what the touches need for it.
struct EffectWords {
  const char* start;
  const char* what;
  const char* needs;
};
constexpr EffectWords effect_words[] = {
    {"stylus offset.", "the stylus offset in ",
     "make a second pass with the spindle turned by 180 deg (column `flip`), or leave --with "
     "stylus-offset out"},
    {"drift.", "the drift along ",
     "record the times and repeat the first station at the end, or leave --with drift out"},
    {"lobing.", "the three-lobed trigger, part ",
     "touch from five or more bearings, or leave --with lobing out"},
    {"reversal.", "the reversal of axis ",
     "reach some angles from below and some from above, or leave --with reversal out"},
    {"squareness.", "the squareness ",
     "spread the angles over most of a turn, or leave --with squareness out"},
    {"scale.", "the scale of ", "spread the angles over most of a turn, or leave --with scale out"},
};

const EffectWords* effect_of(const std::string& name) {
  for (const EffectWords& words : effect_words) {
    if (name.rfind(words.start, 0) == 0) return &words;
  }
  return nullptr;
}

/// "A.lean.Y" -> "the lean of axis A towards Y".
std::string plain_words(const Model& model, const std::string& name) {
  const auto first_dot = name.find('.');
  if (const EffectWords* effect = effect_of(name)) return effect->what + name.substr(first_dot + 1);
  const std::string owner = name.substr(0, first_dot);
  const std::string rest = first_dot == std::string::npos ? "" : name.substr(first_dot + 1);
  const bool of_axis = owner.size() == 1 && model.machine().rotary_index(owner[0]) >= 0;
  const std::string whose = of_axis ? "axis " + owner : "artefact " + owner;
  if (rest.rfind("lean.", 0) == 0) return "the lean of " + whose + " towards " + rest.substr(5);
  if (rest.rfind("shift.", 0) == 0)
    return "the " + rest.substr(6) + " coordinate of the centre of " + whose;
  if (rest == "effective radius") return "the diameter of " + whose + " with the stylus";
  if (rest == "height") return "the height of " + whose;
  if (rest == "X" || rest == "Y" || rest == "Z") return "the " + rest + " coordinate of " + whose;
  return "the unknown '" + name + "'";
}

std::vector<std::string> plain_words(const Model& model, const std::vector<std::string>& names) {
  std::vector<std::string> words;
  words.reserve(names.size());
  for (const std::string& name : names) words.push_back(plain_words(model, name));
  return words;
}

/// Unknowns that take part in an unseen direction, strongest first, told apart by letter or name.
std::vector<std::string> taking_part(const Model& model, Eigen::VectorXd direction) {
  const auto& names = model.layout().names;
  for (Eigen::Index k = 0; k < direction.size(); ++k) direction[k] *= natural_size(names[k]);
  const double largest = direction.cwiseAbs().maxCoeff();
  std::vector<std::pair<double, std::string>> strong;
  for (Eigen::Index k = 0; k < direction.size(); ++k) {
    const double size = std::abs(direction[k]);
    if (size > 0.3 * largest) strong.emplace_back(-size, names[k]);
  }
  std::sort(strong.begin(), strong.end());
  std::vector<std::string> parts;
  parts.reserve(strong.size());
  for (const auto& [size, name] : strong) parts.push_back(name);
  return parts;
}

std::string join(const std::vector<std::string>& words) {
  std::string text;
  for (std::size_t k = 0; k < words.size(); ++k) {
    if (k > 0) text += k + 1 == words.size() ? " and " : ", ";
    text += words[k];
  }
  return text;
}

int different_angles(const Survey& survey, int axis) {
  std::set<long long> angles;
  for (const Station& station : survey.stations) {
    angles.insert(std::llround(station.angles_rad[axis] * 1e9));
  }
  return static_cast<int>(angles.size());
}

/// The slides' axis along which hardly any touch looks ("X", "Y", "Z"), empty when every direction is
/// looked at: touches round the equator of a ball tell nothing of its height.
std::string blind_axis(const Model& model, const Eigen::VectorXd& unknowns) {
  /// Looks that lean less than this from the others' plane (0.1 rad, common practice, no source) see
  /// an error along its normal ten times enlarged.
  constexpr double blind_below = 0.1;
  const Linearisation at(model, unknowns);
  Eigen::Matrix3d looks = Eigen::Matrix3d::Zero();
  StationBlock block;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    at.evaluate(static_cast<int>(s), nullptr, block);
    looks += block.by_nuisance.leftCols<3>().transpose() * block.by_nuisance.leftCols<3>();
  }
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix3d> eigen(looks);
  const Eigen::Vector3d& seen = eigen.eigenvalues();
  if (seen[0] > blind_below * blind_below * seen[1]) return {};
  Eigen::Index axis = 0;
  const double along = eigen.eigenvectors().col(0).cwiseAbs().maxCoeff(&axis);
  constexpr double clearly_along = 0.95;
  constexpr const char* words[3] = {"X", "Y", "Z"};
  return along > clearly_along ? words[axis] : "";
}

/// Whether one of the unknowns is a coordinate, or a lean, along a slides' axis ("A.shift.Z", "ball.Z").
bool any_along(const std::vector<std::string>& parts, const std::string& axis) {
  return !axis.empty() && std::any_of(parts.begin(), parts.end(), [&](const std::string& name) {
    return name.size() > 2 && name.substr(name.size() - 2) == "." + axis;
  });
}

std::string look_along(const std::string& axis) {
  if (axis == "Z") {
    return "all touches come from the side, none from above: add a touch along Z, on the top of "
           "the "
           "artefact, at every station that lets the stylus reach it (three at least)";
  }
  return fmt::format(
      "no touch comes along {}: add a touch along {} at every station that lets the stylus reach "
      "it "
      "(three at least)",
      axis, axis);
}

bool only_flats(const Model& model) {
  for (const Touch& touch : model.survey().touches) {
    if (model.machine().artefacts[touch.artefact].kind != ArtefactKind::flat) return false;
  }
  return true;
}

/// What to add so that the unknowns taking part can be told apart.
std::string what_to_add(const Model& model, const Eigen::VectorXd& unknowns,
                        const std::vector<std::string>& parts) {
  for (const std::string& name : parts) {
    if (const EffectWords* effect = effect_of(name)) return effect->needs;
  }
  const std::string blind = blind_axis(model, unknowns);
  if (any_along(parts, blind)) return look_along(blind);
  const Machine& machine = model.machine();
  bool radius = false;
  int axis = -1;
  bool axis_lean = false;
  std::string artefact;
  for (const std::string& name : parts) {
    const std::string owner = name.substr(0, name.find('.'));
    if (name.find("effective radius") != std::string::npos) radius = true;
    const int index = owner.size() == 1 ? machine.rotary_index(owner[0]) : -1;
    if (index >= 0 && axis < 0) axis = index;
    if (index >= 0 && is_lean(name)) axis_lean = true;
    if (index < 0 && artefact.empty()) artefact = owner;
  }
  if (radius) {
    return "touch it from more sides at one station (all round and from the end), or state its "
           "diameter with `diameter_u` and the stylus with `stylus_diameter_u` in the machine file";
  }
  if (axis >= 0 && only_flats(model)) {
    return "touch a ball, a pin or a bore as well: a flat tells which way the axis points, and "
           "hardly "
           "where it is";
  }
  if (axis >= 0 && different_angles(model.survey(), axis) < 3) {
    return fmt::format(
        "touch at three or more different angles of {}, spread as widely as its "
        "travel allows",
        machine.rotary[axis].letter);
  }
  if (axis_lean) {
    return fmt::format(
        "add a second artefact, or a second height, further along axis {}, or spread "
        "the angles of {} more widely",
        machine.rotary[axis].letter, machine.rotary[axis].letter);
  }
  if (axis >= 0) {
    return fmt::format(
        "spread the angles of {} more widely, and place the artefact further from its "
        "axis",
        machine.rotary[axis].letter);
  }
  return fmt::format("touch {} from more directions: every coordinate needs touches along it",
                     artefact);
}

}  // namespace

Problems problems_before_solving(const Model& model) {
  const Survey& survey = model.survey();
  const Place place{survey.file, 0, 0};
  Problems problems;
  if (survey.touches.empty()) {
    problems.push_back({ProblemNumber::no_data, "there are no touches to fit", place,
                        "record touches at three or more rotary angles"});
    return problems;
  }
  bool any_turned = false;
  for (std::size_t axis = 0; axis < model.machine().rotary.size(); ++axis) {
    const char letter = model.machine().rotary[axis].letter;
    if (model.axis_turned(static_cast<int>(axis))) {
      any_turned = true;
      continue;
    }
    const double stood_rad = survey.stations.front().angles_rad[axis];
    if (std::abs(stood_rad) > 1e-9) {
      problems.push_back(
          {ProblemNumber::axis_never_turned,
           fmt::format(
               "axis {} stood at {:.4f} deg throughout, so its own line is unknown and every "
               "line would be stated for the wrong place",
               letter, deg_from_rad(stood_rad)),
           place,
           fmt::format("touch at {} = 0, or at two or more further angles of {}", letter, letter)});
    }
  }
  if (!any_turned) {
    problems.push_back({ProblemNumber::axis_never_turned,
                        "no rotary axis was turned between the stations", place,
                        "touch the artefact at three or more different angles"});
  }
  const int known = model.total_readings() + static_cast<int>(model.radius_prior().root.rows());
  if (known < model.layout().unknowns) {
    problems.push_back(
        {ProblemNumber::too_few_touches,
         fmt::format("{} readings cannot determine {} unknowns", model.total_readings(),
                     model.layout().unknowns),
         place,
         "add stations or touches; a ball centre row counts as three readings, a touch as one"});
  }
  return problems;
}

namespace {

/// One standard deviation along the direction in the unknowns that is known worst, a lean of 1 rad
/// weighing as much as the natural arm.
Eigen::VectorXd worst_known(const Model& model, const Adjusted& adjusted) {
  const auto& names = model.layout().names;
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
Problems seen_by_curvature_only(const Model& model, const Adjusted& adjusted) {
  constexpr double largest_share = 0.3;
  const Eigen::VectorXd move = worst_known(model, adjusted);
  const Eigen::VectorXd here = change_of_gaps(model, adjusted.unknowns, move);
  const Eigen::VectorXd bent = change_of_gaps(model, adjusted.unknowns + move, move) -
                               change_of_gaps(model, adjusted.unknowns - move, move);
  if (0.5 * bent.norm() <= largest_share * here.norm()) return {};
  const std::vector<std::string> parts = taking_part(model, move);
  return {{ProblemNumber::not_observable,
           "no touch looks straight along " + join(plain_words(model, parts)) +
               ": only the curvature of the artefact tells anything of it",
           {model.survey().file, 0, 0},
           what_to_add(model, adjusted.unknowns, parts)}};
}

Problems unseen_directions(const Model& model, const Adjusted& adjusted) {
  const InformationSolution& information = adjusted.information;
  Problems problems;
  for (Eigen::Index k = 0; k < information.null_directions.cols(); ++k) {
    const std::vector<std::string> parts = taking_part(model, information.null_directions.col(k));
    const std::vector<std::string> words = plain_words(model, parts);
    const std::string together = words.size() > 1 ? " cannot be told apart" : " is not determined";
    problems.push_back({ProblemNumber::not_observable,
                        "with these touches " + join(words) + together,
                        {model.survey().file, 0, 0},
                        what_to_add(model, adjusted.unknowns, parts)});
  }
  return problems;
}

namespace {

/// Where the far end of axis `letter` goes when it leans about `key`: "Z" for a lean of A about B.
std::string leaning_towards(const Model& model, char letter, const std::string& key) {
  const RotaryAxis& axis = model.machine().rotary[model.machine().rotary_index(letter)];
  if (!axis.along) return "?";
  const int other = 3 - static_cast<int>(*axis.along) - (key[0] - 'A');
  return std::string(1, static_cast<char>('X' + other));
}

}  // namespace

namespace {

/// Effects that are solved for as well take their share of what the touches can tell.
std::string or_solve_less(const Model& model) {
  return model.layout().effects.empty() ? "" : "; or fit without --with";
}

}  // namespace

Problems weak_outputs(const Model& model, const Adjusted& adjusted, const Uncertainty& uncertainty,
                      const UsefulLimits& limits) {
  Problems problems;
  for (const Output& output : axis_outputs(model, adjusted.unknowns)) {
    const bool angle = output.name.find(".orientation.") != std::string::npos;
    const double u95 = uncertainty.estimate(output.value, output.by_unknown).U95_absolute;
    const double limit = angle ? limits.orientation_rad : limits.location_mm;
    if (u95 <= limit) continue;
    const char letter = output.name[0];
    const std::string key = output.name.substr(output.name.rfind('.') + 1);
    const std::string what =
        angle
            ? fmt::format("the lean E_{}0{} of axis {} is not determined: U95 would be {:.3g} deg",
                          key, letter, letter, deg_from_rad(u95))
            : fmt::format(
                  "the {} coordinate of the centre of axis {} is not determined: U95 would "
                  "be {:.3g} mm",
                  key, letter, u95);
    const std::string part = fmt::format("{}.{}.{}", letter, angle ? "lean" : "shift",
                                         angle ? leaning_towards(model, letter, key) : key);
    problems.push_back({ProblemNumber::weakly_determined,
                        what,
                        {model.survey().file, 0, 0},
                        what_to_add(model, adjusted.unknowns, {part}) + or_solve_less(model)});
  }
  return problems;
}

}  // namespace pivotrace
