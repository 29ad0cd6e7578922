#include "estimate/part_adjustment.h"

#include <Eigen/LU>
#include <algorithm>
#include <numeric>
#include <utility>

#include "estimate/start.h"

namespace pivotrace {

namespace {

/// Rows that leave less of the information than this hold up an unknown all by themselves.
constexpr double smallest_share_left = 1e-9;

std::shared_ptr<const Model> model_of(const AdjustmentTask& task, const Survey& survey) {
  auto model = std::make_shared<Model>(task.machine, survey, task.effects);
  model->set_turns(task.turns);
  return model;
}

}  // namespace

PartAdjustment::PartAdjustment(const AdjustmentTask& task, SurveyPart part)
    : random_(&task.random),
      part_(std::make_shared<const SurveyPart>(std::move(part))),
      model_(model_of(task, part_->survey)) {}

std::optional<PartAdjustment> PartAdjustment::without(const AdjustmentTask& task,
                                                      const std::vector<bool>& excluded,
                                                      const Eigen::VectorXd* near) {
  PartAdjustment made(task, survey_without(task.survey, excluded));
  const Model& model = made.model();
  const bool fits = near != nullptr && near->size() == model.layout().unknowns;
  const auto minimum =
      minimise_gaps(model, task.random, fits ? *near : starting_unknowns(model), task.minimiser);
  if (!minimum) return std::nullopt;
  made.adjusted_ = settled_at(model, task.random, minimum->unknowns, {});
  if (!made.adjusted_.information.full_rank()) return std::nullopt;
  return made;
}

std::optional<PartAdjustment> PartAdjustment::beside_left_out(
    const AdjustmentTask& task, const std::vector<bool>& left_out) const {
  PartAdjustment whole(task,
                       survey_without(task.survey, std::vector<bool>(left_out.size(), false)));
  if (whole.model().layout().names != model().layout().names) return std::nullopt;
  whole.adjusted_ = adjusted_;
  whole.left_out_ = left_out;
  return whole;
}

bool PartAdjustment::exchange_rows(const StationTester& tester, double sign, Adjusted& adjusted,
                                   Eigen::VectorXd& slope) {
  const auto rows = tester.block().gap.size();
  if (rows == 0) return true;
  Eigen::MatrixXd& joint = adjusted.joint;
  const std::vector<int>& columns = tester.columns();
  const Eigen::MatrixXd& jacobian = tester.derivatives();
  const Eigen::MatrixXd weighed = tester.weigh(jacobian);
  const Eigen::VectorXd left = tester.weigh(tester.residual());
  // (N + sign J'C^-1 J)^-1 = N^-1 - sign N^-1 J'C^-1 (I + sign J N^-1 J'C^-1)^-1 J N^-1
  const Eigen::MatrixXd carried = joint(Eigen::all, columns) * weighed.transpose();
  const Eigen::PartialPivLU<Eigen::MatrixXd> inner(Eigen::MatrixXd::Identity(rows, rows) +
                                                   sign * jacobian * carried(columns, Eigen::all));
  if (!(inner.determinant() > smallest_share_left)) return false;
  const Eigen::MatrixXd seen = jacobian * joint(columns, Eigen::all);
  joint -= sign * carried * inner.solve(seen);
  slope(columns) += sign * jacobian.transpose() * left;
  adjusted.chi2 += sign * tester.residual().dot(left);
  adjusted.redundancy += static_cast<int>(sign) * static_cast<int>(rows);
  return true;
}

std::optional<PartAdjustment> PartAdjustment::with_station(
    int whole_station, const std::vector<bool>& left_out) const {
  PartAdjustment changed = *this;
  const int station = part_station(whole_station);
  for (const int t : touches_of(station)) changed.left_out_[t] = left_out[t];
  StationTester before = tester();
  Adjusted& adjusted = changed.adjusted_;
  Eigen::VectorXd slope = Eigen::VectorXd::Zero(adjusted.joint.rows());
  for (const double sign : {-1.0, 1.0}) {
    before.select(station, sign < 0.0 ? left_out_ : changed.left_out_);
    if (!exchange_rows(before, sign, adjusted, slope)) return std::nullopt;
  }
  const Eigen::VectorXd step = adjusted.joint * slope;
  const Eigen::Index unknowns = adjusted_.unknowns.size();
  adjusted.chi2 -= slope.dot(step);
  adjusted.unknowns -= step.tail(unknowns);
  adjusted.shared -= step.head(step.size() - unknowns);
  adjusted.information.covariance = adjusted.joint.bottomRightCorner(unknowns, unknowns);
  return changed;
}

int PartAdjustment::part_station(int whole_station) const {
  const std::vector<int>& stations = part_->station_of;
  const auto found = std::lower_bound(stations.begin(), stations.end(), whole_station);
  return static_cast<int>(found - stations.begin());
}

std::vector<int> PartAdjustment::touches_of(int station) const {
  const Station& stay = part_->survey.stations[station];
  std::vector<int> touches(stay.touch_count);
  std::iota(touches.begin(), touches.end(), stay.first_touch);
  return touches;
}

std::vector<int> PartAdjustment::touches_in(int station) const {
  std::vector<int> touches = touches_of(station);
  if (left_out_.empty()) return touches;
  std::erase_if(touches, [&](int t) { return left_out_[t]; });
  return touches;
}

bool PartAdjustment::holds(int whole_station) const {
  const int station = part_station(whole_station);
  const std::vector<int>& stations = part_->station_of;
  const bool listed =
      station < static_cast<int>(stations.size()) && stations[station] == whole_station;
  return listed && !touches_in(station).empty();
}

}  // namespace pivotrace
