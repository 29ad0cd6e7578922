// Spheres with the radius known against spheres with the radius free, on NIST data; and what the
// grade of a ball adds to the uncertainty.
#include <doctest/doctest.h>

#include <Eigen/Dense>
#include <cmath>
#include <map>
#include <string>
#include <vector>

#include "machines.h"
#include "pivotrace/estimate/predict.h"
#include "pivotrace/geometry/sphere_fit.h"
#include "pivotrace/machine/ball_grade.h"
#include "reference_data.h"

using namespace pivotrace;
using namespace pivotrace::testing;

namespace {

/// Share of the variance per source, of one output.
std::map<std::string, double> budget_of(const FitResult& result, const ValueName& output) {
  std::map<std::string, double> shares;
  for (const BudgetLine& line : result.budget) {
    if (line.output == output) shares[text_of(line.source)] += line.share;
  }
  return shares;
}

FitResult predicted(Scenario s, double form_deviation_mm) {
  s.machine.artefacts[0].form_deviation_mm = form_deviation_mm;
  SurveyTruth nominal;
  nominal.state = nominal_state(s.machine);
  const Survey planned = synthesise_survey(s.machine, nominal, nominal.state, s.stations, {});
  const Expected<FitResult> result = predict_fit(s.machine, planned);
  REQUIRE(result.has_value());
  return *result;
}

}  // namespace

// Source: reference pairs of the NIST Algorithm Testing and Evaluation Program (public domain),
// spheres; answers computed by NIST with 60 digits.
TEST_CASE("NIST spheres: with NIST's radius given the centre is NIST's, and surer") {
  const std::string folder = "nist-l2-reference-pairs/Sphere";
  if (!have_reference(folder)) return;
  int sets = 0;
  for (const auto& entry : std::filesystem::directory_iterator(reference_path(folder))) {
    if (entry.path().extension() != ".fit") continue;
    CAPTURE(entry.path().string());
    const std::vector<double> answer = read_numbers(entry.path());
    std::filesystem::path data = entry.path();
    const std::vector<double> numbers = read_numbers(data.replace_extension(".ds"));
    REQUIRE(answer.size() >= 4);
    std::vector<Eigen::Vector3d> points;
    for (std::size_t i = 0; i < static_cast<std::size_t>(numbers.at(0)); ++i) {
      points.emplace_back(numbers.data() + 1 + 3 * i);
    }
    const Eigen::Vector3d centre(answer.data());
    const double radius = 0.5 * answer[3];
    const SphereFit free = fit_sphere(points);
    const SphereFit known = fit_sphere_of_radius(points, radius, centre);
    REQUIRE(free.status == FitStatus::done);
    REQUIRE(known.status == FitStatus::done);
    // The sum of squares is stationary in the centre at NIST's answer, radius held or not. Round-off
    // of coordinates up to 1000 mm, enlarged by the condition of a part cap.
    CHECK((known.centre_mm - centre).norm() < 1e-10 * (1.0 + free.condition));
    CHECK(known.rms_mm == doctest::Approx(free.rms_mm).epsilon(1e-9));
    // A coordinate known to go with the radius is surer without it.
    for (int k = 0; k < 3; ++k) {
      CHECK(known.cofactor(k, k) <= free.cofactor(k, k) * (1.0 + 1e-9));
    }
    // A radius wrong by d moves the centre along the regression of centre on radius: d q_cr / q_rr.
    const double wrong = 1e-6 * radius;
    const SphereFit moved = fit_sphere_of_radius(points, radius + wrong, centre);
    const Eigen::Vector3d predicted =
        wrong * free.cofactor.topRightCorner<3, 1>() / free.cofactor(3, 3);
    CHECK((moved.centre_mm - centre - predicted).norm() < 0.02 * wrong);
    ++sets;
  }
  CHECK(sets == 15);
}

// Source of the form deviations: ISO 3290-1, as listed with the project's published figures.
// A deviation from spherical form of d, equally likely anywhere between its ends, is another error of
// every touch with one sigma d / sqrt(12) (rectangular distribution, JCGM 100:2008 4.3.7).
TEST_CASE("the grade of the ball widens the touches and has its own line in the budget") {
  const Scenario s = fourth_axis(8, 4, 1);
  const double touch_mm = s.machine.probe.touch_sigma_mm;
  const FitResult perfect = predicted(s, 0.0);
  const ValueName centre_y = axis_value('A', ValueKind::centre, LinearAxis::Y);
  CHECK(budget_of(perfect, centre_y).count("ball form") == 0);
  double before = perfect.axes[0].centre[0].estimate.u;
  for (const char* grade : {"G5", "G10", "G40", "G100"}) {
    INFO(grade);
    const double deviation_mm = 1e-3 * *form_deviation_um(grade);
    const FitResult result = predicted(s, deviation_mm);
    const double form_mm = deviation_mm / std::sqrt(12.0);
    CHECK(result.fit.touch_sigma_mm == doctest::Approx(std::hypot(touch_mm, form_mm)));
    auto shares = budget_of(result, centre_y);
    REQUIRE(shares.count("ball form") == 1);
    // Both act along the normal of every touch: their shares are as their variances.
    CHECK(shares["ball form"] / shares["touch noise"] ==
          doctest::Approx(std::pow(form_mm / touch_mm, 2)));
    double total = 0.0;
    for (const auto& [source, share] : shares) total += share;
    CHECK(total == doctest::Approx(1.0));
    // A worse ball is never better.
    CHECK(result.axes[0].centre[0].estimate.u > before);
    before = result.axes[0].centre[0].estimate.u;
  }
}
