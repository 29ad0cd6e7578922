// Two routes to one number, over random machines. RapidCheck prints the seed that repeats a failure.
#include <doctest/doctest.h>
#include <rapidcheck.h>

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

#include "estimate/adjustment.h"
#include "estimate/fitted_survey.h"
#include "estimate/start.h"
#include "pivotrace/geometry/axis_regression.h"
#include "pivotrace/geometry/sphere_fit.h"
#include "pivotrace/results/statistics.h"
#include "random_scenarios.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

std::uint64_t any_seed() { return *rc::gen::inRange<std::uint64_t>(1, 1000000000ULL); }

Eigen::VectorXd minimum_of(const Model& model, const RandomModel& random) {
  const Expected<LeastSquaresMinimum> minimum =
      minimise_gaps(model, random, starting_unknowns(model), {});
  if (!minimum) RC_FAIL(describe(minimum.error().front()));
  RC_ASSERT(minimum->settled());
  return minimum->unknowns;
}

/// The same least squares written out in full: rows whitened by the touch sigma, the effects of
/// every station carried as further unknowns in units of their sigmas, priors as rows.
struct WrittenOut {
  Eigen::MatrixXd jacobian;
  Eigen::VectorXd residual;
};

WrittenOut carried_along(const Model& model, const RandomModel& random,
                         const Eigen::VectorXd& unknowns) {
  const int stations = static_cast<int>(model.survey().stations.size());
  const Eigen::Index p = model.layout().unknowns;
  const Eigen::Index q = model.shared().count();
  Eigen::Index own_effects = 0;
  for (int s = 0; s < stations; ++s) own_effects += own_nuisances(model, random, s).count();
  const PriorRows prior = prior_rows(model, unknowns);
  const Eigen::Index effects = q + own_effects;
  const Eigen::Index rows = model.total_readings() + effects + prior.residual.size();
  WrittenOut out{Eigen::MatrixXd::Zero(rows, p + effects), Eigen::VectorXd::Zero(rows)};
  const Linearisation at(model, unknowns);
  StationBlock block;
  Eigen::Index row = 0;
  Eigen::Index column = p + q;
  for (int s = 0; s < stations; ++s) {
    at.evaluate(s, nullptr, block);
    const Eigen::Index m = block.gap.size();
    out.jacobian.block(row, 0, m, p) = block.by_unknown / random.touch_sigma_mm;
    out.residual.segment(row, m) = block.gap / random.touch_sigma_mm;
    const std::vector<int>& ids = model.shared().of_station[s];
    for (std::size_t j = 0; j < ids.size(); ++j) {
      const double sigma = random.sigma(model.shared().all[ids[j]].group);
      out.jacobian.block(row, p + ids[j], m, 1) =
          block.by_shared.col(static_cast<Eigen::Index>(j)) * (sigma / random.touch_sigma_mm);
    }
    const ActiveNuisances own = own_nuisances(model, random, s);
    for (int k = 0; k < own.count(); ++k, ++column) {
      out.jacobian.block(row, column, m, 1) =
          block.by_nuisance.col(own.columns[k]) * (own.sigma[k] / random.touch_sigma_mm);
    }
    row += m;
  }
  out.jacobian.block(row, p, effects, effects).setIdentity();
  row += effects;
  out.jacobian.block(row, 0, prior.residual.size(), p) = prior.jacobian;
  out.residual.tail(prior.residual.size()) = prior.residual;
  return out;
}

/// Generalised least squares with the covariance of all readings as one dense matrix.
Eigen::MatrixXd dense_covariance(const Model& model, const RandomModel& random,
                                 const Eigen::VectorXd& unknowns) {
  const Eigen::Index n = model.total_readings();
  const Eigen::Index p = model.layout().unknowns;
  Eigen::MatrixXd jacobian(n, p);
  Eigen::MatrixXd covariance = Eigen::MatrixXd::Zero(n, n);
  Eigen::MatrixXd shared = Eigen::MatrixXd::Zero(n, model.shared().count());
  const Linearisation at(model, unknowns);
  StationBlock block;
  Eigen::Index row = 0;
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    at.evaluate(static_cast<int>(s), nullptr, block);
    const Eigen::Index m = block.gap.size();
    jacobian.middleRows(row, m) = block.by_unknown;
    Eigen::VectorXd variances = Eigen::VectorXd::Zero(block.by_nuisance.cols());
    for (Eigen::Index k = 0; k < variances.size(); ++k) {
      for (const int group : model.shared().own[s][static_cast<std::size_t>(k)]) {
        variances[k] += std::pow(random.sigma(group), 2);
      }
    }
    covariance.block(row, row, m, m) =
        block.by_nuisance * variances.asDiagonal() * block.by_nuisance.transpose();
    const std::vector<int>& ids = model.shared().of_station[s];
    for (std::size_t j = 0; j < ids.size(); ++j) {
      shared.block(row, ids[j], m, 1) = block.by_shared.col(static_cast<Eigen::Index>(j)) *
                                        random.sigma(model.shared().all[ids[j]].group);
    }
    row += m;
  }
  covariance += shared * shared.transpose();
  covariance.diagonal().array() += random.touch_sigma_mm * random.touch_sigma_mm;
  const PriorRows prior = prior_rows(model, unknowns);
  const Eigen::MatrixXd normal = jacobian.transpose() * covariance.llt().solve(jacobian) +
                                 prior.jacobian.transpose() * prior.jacobian;
  return normal.ldlt().solve(Eigen::MatrixXd::Identity(p, p));
}

/// Largest difference of two covariances in units of the standard deviations.
double largest_difference(const Eigen::MatrixXd& a, const Eigen::MatrixXd& b) {
  const Eigen::VectorXd sigma = b.diagonal().cwiseSqrt();
  return ((a - b).array() / (sigma * sigma.transpose()).array()).abs().maxCoeff();
}

}  // namespace

TEST_CASE("perfect touches: the closed form and the joint fit find one axis") {
  CHECK(rc::check([] {
    Scenario s = one_axis(any_seed(), *rc::gen::arbitrary<bool>());
    s.noise = {};
    const Survey survey = survey_of(s);
    // Closed form: a sphere per station and ball, then the regression over the angles.
    std::vector<double> angles;
    std::vector<Eigen::Vector3d> centres;
    for (const Station& stay : survey.stations) {
      std::vector<Eigen::Vector3d> touches;
      for (int t = stay.first_touch; t < stay.first_touch + stay.touch_count; ++t) {
        if (survey.touches[t].artefact == 0) touches.push_back(survey.touches[t].shown_mm);
      }
      const SphereFit sphere = fit_sphere_algebraic(touches);
      RC_ASSERT(sphere.status == FitStatus::done);
      angles.push_back(turn_sign(s.machine.rotary[0].positive_turn) * stay.angles_rad[0]);
      centres.push_back(sphere.centre_mm);
    }
    const AxisRegression closed = axis_regression(angles, centres);
    RC_ASSERT(closed.status == FitStatus::done);
    const Model model(s.machine, survey);
    const Eigen::VectorXd unknowns = minimum_of(model, stated_random_model(model));
    const Line joint = model.state(unknowns).axis_lines[0];
    // Both end within round-off of the true line: 1e-13 mm on coordinates, enlarged some thousand
    // times by short arcs; the search of the joint fit stops at 1e-9.
    RC_ASSERT(perpendicular_from_line(joint, closed.axis.point_mm).norm() < 1e-7);
    RC_ASSERT((joint.direction - closed.axis.direction).norm() < 1e-9);
  }));
}

TEST_CASE("station errors marginalised, carried as unknowns, or in one dense covariance") {
  CHECK(rc::check([] {
    const Scenario s = random_scenario(any_seed(), *rc::gen::arbitrary<bool>());
    const Survey survey = survey_of(s);
    const Model model(s.machine, survey);
    const RandomModel random = stated_random_model(model);
    const Eigen::VectorXd unknowns = minimum_of(model, random);
    const Adjusted marginalised = adjusted_at(model, random, unknowns, {});
    const WrittenOut carried = carried_along(model, random, unknowns);
    const Eigen::Index p = model.layout().unknowns;
    const Eigen::MatrixXd normal = carried.jacobian.transpose() * carried.jacobian;
    const Eigen::MatrixXd inverse =
        normal.ldlt().solve(Eigen::MatrixXd::Identity(normal.rows(), normal.rows()));
    // Normal equations lose twice the digits of the condition, some 1e4 here.
    constexpr double same_covariance = 1e-6;
    RC_ASSERT(largest_difference(marginalised.covariance(), inverse.topLeftCorner(p, p)) <
              same_covariance);
    RC_ASSERT(largest_difference(marginalised.covariance(),
                                 dense_covariance(model, random, unknowns)) < same_covariance);
    // The step left and the sum of squares are the same both ways.
    const Eigen::VectorXd step = carried.jacobian.householderQr().solve(-carried.residual).head(p);
    const Eigen::VectorXd sigma = marginalised.covariance().diagonal().cwiseSqrt();
    RC_ASSERT(((step - marginalised.information.step).array() / sigma.array()).abs().maxCoeff() <
              1e-6);
    const Eigen::VectorXd whole = carried.jacobian.householderQr().solve(-carried.residual);
    const double chi2 = (carried.residual + carried.jacobian * whole).squaredNorm();
    RC_ASSERT(std::abs(chi2 - marginalised.chi2) < 1e-6 * (1.0 + chi2));
    // The search carried the effects without linearising them. Effects of three sigma shift a stylus
    // by some 10 um, which tilts the normals of a ball of 15 mm by 7e-4; residuals of a dozen touch
    // sigmas, which those effects leave, then enter by 1e-2 of a sigma at the most. Where stations share
    // positions the search weighs otherwise and ends elsewhere.
    if (model.shared().count() > 0) return;
    RC_ASSERT((marginalised.information.step.array() / sigma.array()).abs().maxCoeff() < 1e-2);
  }));
}

// The scatter of whole fits of fresh surveys against the covariance by the Jacobian: the sum of
// e' C^-1 e over the q unknowns of the axes is chi2(surveys q). One machine is off its limits, and the mean over all
// off by 4.5 of its own sigmas, less than once in 100,000 runs each.
TEST_CASE("covariance by the Jacobian is the scatter of whole fits") {
  double total = 0.0;
  double total_dof = 0.0;
  CHECK(rc::check([&] {
    const Scenario s = random_scenario(any_seed(), *rc::gen::arbitrary<bool>());
    constexpr int surveys = 20;
    double sum = 0.0;
    Eigen::Index outputs = 0;
    for (int k = 0; k < surveys; ++k) {
      Scenario drawn = s;
      drawn.noise.seed = s.noise.seed * 1000 + static_cast<std::uint64_t>(k);
      RandomStream random(drawn.noise.seed, 42);
      for (std::size_t a = 0; a < drawn.machine.artefacts.size(); ++a) {
        drawn.truth.state.artefacts[a].radius_mm +=
            0.5 * *drawn.machine.artefacts[a].diameter_u_mm * random.normal();
      }
      drawn.truth.state.stylus_radius_mm +=
          0.5 * *drawn.machine.probe.stylus_diameter_u_mm * random.normal();
      const Survey survey = survey_of(drawn);
      const Model model(drawn.machine, survey);
      const RandomModel stated = stated_random_model(model);
      const Eigen::VectorXd truth = model.unknowns_from(drawn.truth.state);
      const Adjusted adjusted = settled_at(model, stated, minimum_of(model, stated), {});
      const Eigen::VectorXd& found = adjusted.unknowns;
      // All axes come first among the unknowns, four each.
      outputs = 4 * static_cast<Eigen::Index>(drawn.machine.rotary.size());
      const Eigen::VectorXd off = (found - truth).head(outputs);
      const Eigen::MatrixXd covariance = adjusted.covariance().topLeftCorner(outputs, outputs);
      sum += off.dot(covariance.ldlt().solve(off));
    }
    const double dof = static_cast<double>(surveys * outputs);
    total += sum;
    total_dof += dof;
    RC_ASSERT(sum > chi_squared_quantile(1e-7, dof));
    RC_ASSERT(sum < chi_squared_quantile(1.0 - 1e-7, dof));
  }));
  INFO("mean ", total / total_dof, " of ", total_dof, " degrees of freedom");
  CHECK(std::abs(total / total_dof - 1.0) < 4.5 * std::sqrt(2.0 / total_dof));
}
