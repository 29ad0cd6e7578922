#include <doctest/doctest.h>

#include <cmath>
#include <numeric>

#include "example_machine.h"
#include "pivotrace/estimate/visit.h"
#include "pivotrace/plan/make_plan.h"
#include "pivotrace/results/statistics.h"

using namespace pivotrace;
using pivotrace::testing::example;

namespace {

/// A survey as visits of all its touches.
struct AsVisits {
  AsVisits(const Machine& machine, const Survey& survey)
      : maker(machine, survey, VisitOrder::as_listed) {
    for (std::size_t s = 0; s < survey.stations.size(); ++s) {
      std::vector<int> touches(static_cast<std::size_t>(survey.stations[s].touch_count));
      std::iota(touches.begin(), touches.end(), 0);
      visits.push_back(maker.visit(static_cast<int>(s), touches));
    }
  }

  std::vector<const Visit*> all_but(std::size_t left_out) const {
    std::vector<const Visit*> taken;
    for (std::size_t k = 0; k < visits.size(); ++k) {
      if (k != left_out) taken.push_back(&visits[k]);
    }
    return taken;
  }
  std::vector<const Visit*> all() const { return all_but(visits.size()); }

  VisitMaker maker;
  std::vector<Visit> visits;
};

const Estimate* estimate_of(const FitResult& result, const ValueName& name) {
  for (const AxisResult& axis : result.axes) {
    for (const auto* list : {&axis.centre, &axis.orientation}) {
      for (const NamedEstimate& named : *list) {
        if (named.name == name) return &named.estimate;
      }
    }
  }
  return nullptr;
}

AsVisits planned_visits(const char* name) {
  const Machine machine = example(name);
  const auto outcome = make_plan(machine, {});
  REQUIRE(outcome.has_value());
  return {machine, nominal_survey(machine, outcome->plan)};
}

/// 1e-7 of every variance, and of the largest response.
void check_alike(const Eigen::VectorXd& variances, const Eigen::MatrixXd& responses,
                 const VisitSum& sum) {
  CHECK((variances - sum.variances()).cwiseQuotient(sum.variances()).cwiseAbs().maxCoeff() < 1e-7);
  const double scale = sum.responses().cwiseAbs().maxCoeff();
  CHECK((responses - sum.responses()).cwiseAbs().maxCoeff() < 1e-7 * scale);
}

double off(double a, double b) { return std::abs(a - b) / std::max(std::abs(b), 1e-12); }

/// 1e-6 of what is to be predicted.
constexpr double wanted_agreement = 1e-6;

}  // namespace

// Two routes to one number: the sum of the visits' information, and the estimator's own prediction.
TEST_CASE("the sum over visits is the prediction of the estimator") {
  for (const char* name : {"fourth-axis", "trunnion", "pin-in-chuck", "swivel-head"}) {
    for (const double repeat_arcsec : {0.0, 2.0}) {
      CAPTURE(name);
      CAPTURE(repeat_arcsec);
      Machine machine = example(name);
      // Arrivals at rest over several stations are the only thing a visit counts for itself.
      if (machine.rotary.size() > 1 && repeat_arcsec > 0.0) continue;
      for (RotaryAxis& axis : machine.rotary) {
        axis.index_repeat_sigma_rad = repeat_arcsec / 3600.0 * 0.017453292519943295;
      }
      const auto outcome = make_plan(machine, {});
      REQUIRE(outcome.has_value());
      const AsVisits survey(machine, nominal_survey(machine, outcome->plan));
      VisitSum sum(survey.maker);
      REQUIRE(sum.take(survey.all()));
      const Eigen::VectorXd widths = sum.found_bounds();
      const FitResult& full = outcome->prediction;
      REQUIRE_FALSE(survey.maker.names().empty());
      for (std::size_t k = 0; k < survey.maker.names().size(); ++k) {
        const auto at = static_cast<Eigen::Index>(k);
        const ValueName& value = survey.maker.names()[k];
        CAPTURE(text_of(value));
        const Estimate* predicted = estimate_of(full, value);
        REQUIRE(predicted != nullptr);
        const Prospect prospect =
            survey.maker.prospect(sum.variances()[at], sum.responses().col(at), widths);
        CHECK(off(prospect.u, predicted->u_absolute) < wanted_agreement);
        CHECK(off(prospect.B, predicted->B_absolute) < wanted_agreement);
        const double U95 = biased_expanded(prospect.u, predicted->dof_absolute, prospect.B);
        CHECK(off(U95, predicted->U95_absolute) < wanted_agreement);
      }
    }
  }
}

TEST_CASE("one visit more by its rows alone is the sum with it") {
  const AsVisits survey = planned_visits("trunnion");
  VisitSum whole(survey.maker);
  REQUIRE(whole.take(survey.all()));
  for (std::size_t k = 0; k < survey.visits.size(); ++k) {
    CAPTURE(k);
    VisitSum less(survey.maker);
    REQUIRE(less.take(survey.all_but(k)));
    Eigen::VectorXd variances;
    Eigen::MatrixXd responses;
    less.with(survey.visits[k], variances, responses);
    check_alike(variances, responses, whole);
    // A touch more never makes anything less certain.
    CHECK((less.variances() - whole.variances()).minCoeff() >= -1e-15);
  }
}

TEST_CASE("the sum without one visit is the sum of the others") {
  for (const char* name : {"fourth-axis", "trunnion"}) {
    CAPTURE(name);
    const AsVisits survey = planned_visits(name);
    VisitSum whole(survey.maker);
    REQUIRE(whole.take(survey.all()));
    for (std::size_t k = 0; k < survey.visits.size(); ++k) {
      CAPTURE(k);
      VisitSum less(survey.maker);
      REQUIRE(less.take(survey.all_but(k)));
      VisitSum quickly(survey.maker);
      REQUIRE(quickly.take_without(whole, survey.visits[k]));
      check_alike(quickly.variances(), quickly.responses(), less);
      // And goes on as the sum of the others does.
      Eigen::VectorXd variances;
      Eigen::MatrixXd responses;
      quickly.with(survey.visits[k], variances, responses);
      check_alike(variances, responses, whole);
    }
  }
}

TEST_CASE("a sum is not told from rounding without the visit that alone determines it") {
  const AsVisits survey = planned_visits("fourth-axis");
  VisitSum one(survey.maker);
  one.take({&survey.visits.front()});
  VisitSum none(survey.maker);
  CHECK_FALSE(none.take_without(one, survey.visits.front()));
}

TEST_CASE("the table of expanded uncertainties follows the equation") {
  for (double ratio = 0.0; ratio < 8.0; ratio += 0.013) {
    const double exact = biased_expanded(1.0, std::numeric_limits<double>::infinity(), ratio);
    CHECK(std::abs(VisitMaker::expanded({1.0, ratio}) - exact) < 2e-5);
  }
  CHECK(VisitMaker::expanded({0.0, 2.0}) == 2.0);
}
