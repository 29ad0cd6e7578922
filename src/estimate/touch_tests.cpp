#include "estimate/touch_tests.h"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <cmath>

#include "pivotrace/estimate/statistics.h"

namespace pivotrace {

namespace {

/// Baarda's usual pair: one good touch in a thousand is suspected, four blunders in five are found.
constexpr double test_level = 0.001;
constexpr double test_power = 0.80;

/// Standard normal deviate with the same two-sided tail area as chi2(d) = statistic. Beyond the
/// reach of the tail functions (about 37) the square root of the statistic is close enough.
double equivalent_normal(double statistic, int dimensions) {
  if (dimensions == 1) return std::sqrt(statistic);
  constexpr double far_tail = 1300.0;
  if (statistic > far_tail) return std::sqrt(statistic);
  const double tail = 1.0 - chi_squared_cdf(statistic, dimensions);
  if (tail < 1e-15) return std::sqrt(statistic);
  return normal_quantile(1.0 - 0.5 * tail);
}

}  // namespace

StationTester::StationTester(const Model& model, const Adjusted& adjusted,
                             const RandomModel& random)
    : model_(model),
      adjusted_(adjusted),
      random_(random),
      active_(active_nuisances(random)),
      at_(model, adjusted.unknowns) {}

void StationTester::select(int station) {
  at_.evaluate(station, nullptr, block_);
  weight_.clear();
  weight_.emplace_back(block_, random_, active_);
  weighed_ = weight_.front().weigh(block_.by_unknown);
  left_ = weight_.front().weigh(block_.gap);
}

double StationTester::redundancy(int row) const {
  return 1.0 -
         block_.by_unknown.row(row).dot(adjusted_.covariance() * weighed_.row(row).transpose());
}

double StationTester::residual_sigma(int row) const {
  const double touch = random_.touch_sigma_mm;
  double variance = touch * touch;
  for (int k = 0; k < active_.count(); ++k) {
    const double part = block_.by_nuisance(row, active_.columns[k]) * active_.sigma[k];
    variance += part * part;
  }
  const Eigen::RowVectorXd j = block_.by_unknown.row(row);
  variance -= j.dot(adjusted_.covariance() * j.transpose());
  return std::sqrt(std::max(0.0, variance));
}

ShiftTest StationTester::test(const Eigen::MatrixXd& shifts) const {
  ShiftTest result;
  result.dimensions = static_cast<int>(shifts.cols());
  const Eigen::MatrixXd seen = weighed_.transpose() * shifts;  // J'C^-1 E
  result.information = shifts.transpose() * weight_.front().weigh(shifts) -
                       seen.transpose() * adjusted_.covariance() * seen;
  const Eigen::VectorXd score = shifts.transpose() * left_;
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(result.information);
  const double scale = 1.0 / (random_.touch_sigma_mm * random_.touch_sigma_mm);
  if (!(eigen.eigenvalues()[0] > 1e-9 * scale)) return result;
  result.testable = true;
  result.shift = result.information.ldlt().solve(score);
  result.statistic = std::max(0.0, score.dot(result.shift));
  result.equivalent_w =
      std::copysign(equivalent_normal(result.statistic, result.dimensions), result.shift[0]);
  return result;
}

namespace {

TouchResult touch_result(const StationTester& tester, const Touch& touch, int first_row) {
  TouchResult result;
  const int rows = touch.kind == TouchKind::centre ? 3 : 1;
  const Eigen::VectorXd gaps = tester.block().gap.segment(first_row, rows);
  result.residual_mm = rows == 1 ? gaps[0] : gaps.norm();
  result.redundancy = 0.0;
  double variance = 0.0;
  for (int r = 0; r < rows; ++r) {
    result.redundancy += std::max(0.0, tester.redundancy(first_row + r));
    const double sigma = tester.residual_sigma(first_row + r);
    variance += sigma * sigma;
  }
  Eigen::MatrixXd shifts = Eigen::MatrixXd::Zero(tester.block().gap.size(), rows);
  for (int r = 0; r < rows; ++r) shifts(first_row + r, r) = 1.0;
  const ShiftTest test = tester.test(shifts);
  if (test.testable && result.redundancy > unchecked_redundancy) {
    static const double factor = minimal_detectable_factor(test_level, test_power);
    result.sigma_mm = std::sqrt(variance);
    result.w = test.equivalent_w;
    const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(test.information);
    result.detectable_mm = factor / std::sqrt(eigen.eigenvalues()[0]);
  }
  return result;
}

}  // namespace

std::vector<TouchResult> touch_results(const Model& model, const Adjusted& adjusted,
                                       const RandomModel& random) {
  StationTester tester(model, adjusted, random);
  std::vector<TouchResult> results;
  const Survey& survey = model.survey();
  for (std::size_t s = 0; s < survey.stations.size(); ++s) {
    const Station& stay = survey.stations[s];
    tester.select(static_cast<int>(s));
    int row = 0;
    for (int t = 0; t < stay.touch_count; ++t) {
      const Touch& touch = survey.touches[stay.first_touch + t];
      TouchResult result = touch_result(tester, touch, row);
      result.label = touch.label;
      result.station = stay.label;
      result.artefact = model.machine().artefacts[touch.artefact].name;
      result.line = touch.line;
      results.push_back(result);
      row += touch.kind == TouchKind::centre ? 3 : 1;
    }
  }
  return results;
}

}  // namespace pivotrace
