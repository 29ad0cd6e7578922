#include "estimate/touch_tests.h"

#include <Eigen/Cholesky>
#include <Eigen/Eigenvalues>
#include <cmath>
#include <limits>
#include <utility>

#include "estimate/readings.h"
#include "pivotrace/results/statistics.h"

namespace pivotrace {

namespace {

/// Baarda's usual pair: one good touch in a thousand is suspected, four blunders in five are found.
constexpr double test_level = 0.001;
constexpr double test_power = 0.80;

/// Of several directions of a shift those are tested that are seen with at least this share of the
/// information of the best-seen one (a tenth of its precision). A weaker one would add a degree of
/// freedom and its own noise, and no evidence: the shift of a pin along itself, for example.
constexpr double seen_share = 0.01;

/// Information on a shift, in units of 1 / touch variance, below which nothing else checks it.
constexpr double unseen_information = 1e-9;

}  // namespace

double equivalent_normal(double statistic, int dimensions) {
  if (dimensions == 1) return std::sqrt(statistic);
  return normal_deviate_of_log_tail(log_chi_squared_tail(statistic, dimensions));
}

StationTester::StationTester(const Model& model, const Adjusted& adjusted,
                             const RandomModel& random)
    : model_(model), adjusted_(adjusted), random_(random), at_(model, adjusted.unknowns) {
  at_.bend_by(adjusted.station_errors);
}

void StationTester::keep_only(int station, const std::vector<bool>& left_out) {
  std::vector<int> rows;
  int row = 0;
  const Station& stay = model_.survey().stations[station];
  for (int t = stay.first_touch; t < stay.first_touch + stay.touch_count; ++t) {
    const int count = readings_of(model_.survey().touches[t]);
    for (int r = 0; r < count; ++r, ++row) {
      if (!left_out[t]) rows.push_back(row);
    }
  }
  if (static_cast<int>(rows.size()) == row) return;
  block_ = {block_.gap(rows), block_.by_unknown(rows, Eigen::all),
            block_.by_nuisance(rows, Eigen::all), block_.by_common(rows, Eigen::all),
            block_.by_shared(rows, Eigen::all)};
}

void StationTester::select(int station, const std::vector<bool>& left_out) {
  at_.evaluate(station, nullptr, block_);
  if (!left_out.empty()) keep_only(station, left_out);
  own_ = own_nuisances(model_, random_, station);
  columns_ = joint_columns(model_, station);
  joint_ = joint_part(adjusted_, columns_, columns_);
  derivatives_ = joint_derivatives(block_);
  weight_.clear();
  weight_.emplace_back(block_, random_, own_);
  weighed_ = weight_.front().weigh(derivatives_);
  residual_ = block_.gap;
  for (Eigen::Index k = 0; k < block_.by_shared.cols(); ++k) {
    residual_ += block_.by_shared.col(k) * adjusted_.shared[columns_[k]];
  }
  left_ = weight_.front().weigh(residual_);
}

double StationTester::redundancy(int row) const {
  const Eigen::Index p = block_.by_unknown.cols();
  return 1.0 - block_.by_unknown.row(row).dot(joint_.bottomRows(p) * weighed_.row(row).transpose());
}

double StationTester::residual_sigma(int row) const {
  const double touch = random_.touch_sigma_mm;
  double variance = touch * touch;
  for (int k = 0; k < own_.count(); ++k) {
    const double part = block_.by_nuisance(row, own_.columns[k]) * own_.sigma[k];
    variance += part * part;
  }
  for (Eigen::Index k = 0; k < block_.by_shared.cols(); ++k) {
    const double sigma = random_.sigma(model_.shared().all[columns_[k]].group);
    variance += std::pow(block_.by_shared(row, k) * sigma, 2);
  }
  const Eigen::RowVectorXd j = block_.by_unknown.row(row);
  variance -= j.dot(adjusted_.covariance() * j.transpose());
  return std::sqrt(std::max(0.0, variance));
}

ShiftTest StationTester::test(const Eigen::MatrixXd& shifts) const {
  const Eigen::MatrixXd seen = weighed_.transpose() * shifts;  // J'C^-1 E
  return tested(
      shifts.transpose() * weight_.front().weigh(shifts) - seen.transpose() * joint_ * seen,
      shifts.transpose() * left_);
}

ShiftTest StationTester::test_reading(int row) const {
  const auto seen = weighed_.row(row);
  ShiftTest result;
  result.information.setConstant(
      1, 1, weight_.front().own_weight(row) - seen.dot(joint_ * seen.transpose()));
  result.shift.setZero(1);
  const double information = result.information(0, 0);
  if (!(information > unseen_information / weight_.front().touch_variance())) return result;
  result.testable = true;
  result.dimensions = 1;
  result.statistic = left_[row] * left_[row] / information;
  result.shift[0] = left_[row] / information;
  result.equivalent_w = std::copysign(std::sqrt(result.statistic), result.shift[0]);
  return result;
}

double StationTester::leverage(int row) const {
  const auto seen = weighed_.row(row);
  const double taken = seen.dot(joint_ * seen.transpose());
  const double left = weight_.front().own_weight(row) - taken;
  return left > 0.0 ? taken / left : std::numeric_limits<double>::infinity();
}

ShiftTest StationTester::tested(Eigen::MatrixXd information, const Eigen::VectorXd& score) const {
  ShiftTest result;
  result.information = std::move(information);
  const Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd> eigen(result.information);
  const Eigen::VectorXd& seen_by = eigen.eigenvalues();
  const double touch_information = 1.0 / (random_.touch_sigma_mm * random_.touch_sigma_mm);
  const double enough =
      std::max(unseen_information * touch_information, seen_share * seen_by[seen_by.size() - 1]);
  result.shift = Eigen::VectorXd::Zero(score.size());
  for (Eigen::Index k = 0; k < seen_by.size(); ++k) {
    if (!(seen_by[k] > enough)) continue;
    const double along = eigen.eigenvectors().col(k).dot(score);
    ++result.dimensions;
    result.statistic += along * along / seen_by[k];
    result.shift += eigen.eigenvectors().col(k) * (along / seen_by[k]);
  }
  result.testable = result.dimensions > 0;
  if (!result.testable) return result;
  result.equivalent_w =
      std::copysign(equivalent_normal(result.statistic, result.dimensions), result.shift[0]);
  return result;
}

Eigen::MatrixXd unit_shifts(const StationTester& tester, int first_row, int rows) {
  Eigen::MatrixXd shifts = Eigen::MatrixXd::Zero(tester.block().gap.size(), rows);
  for (int r = 0; r < rows; ++r) shifts(first_row + r, r) = 1.0;
  return shifts;
}

namespace {

double smallest_eigenvalue(const Eigen::MatrixXd& symmetric) {
  if (symmetric.rows() == 1) return symmetric(0, 0);
  return Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd>(symmetric).eigenvalues()[0];
}

TouchResult touch_result(const StationTester& tester, const Touch& touch, int first_row) {
  TouchResult result;
  const int rows = readings_of(touch);
  const Eigen::VectorXd gaps = tester.block().gap.segment(first_row, rows);
  result.residual_mm = rows == 1 ? gaps[0] : gaps.norm();
  result.redundancy = 0.0;
  double variance = 0.0;
  for (int r = 0; r < rows; ++r) {
    result.redundancy += std::max(0.0, tester.redundancy(first_row + r));
    const double sigma = tester.residual_sigma(first_row + r);
    variance += sigma * sigma;
  }
  const ShiftTest test = rows == 1 ? tester.test_reading(first_row)
                                   : tester.test(unit_shifts(tester, first_row, rows));
  if (test.testable && result.redundancy > unchecked_redundancy) {
    static const double factor = minimal_detectable_factor(test_level, test_power);
    result.sigma_mm = std::sqrt(variance);
    result.w = test.equivalent_w;
    const double worst = smallest_eigenvalue(test.information);
    // A centre row with a direction nothing checks has no smallest error that would show.
    if (test.dimensions == rows) result.detectable_mm = factor / std::sqrt(worst);
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
      row += readings_of(touch);
    }
  }
  return results;
}

}  // namespace pivotrace
