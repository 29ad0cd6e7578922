#include "pivotrace/survey/disturbances.h"

#include <algorithm>
#include <cmath>

namespace pivotrace {

SurveyFrame frame_of(const Machine& machine, const Survey& survey) {
  SurveyFrame frame;
  if (survey.touches.empty()) return frame;
  Eigen::Vector3d low = survey.touches.front().shown_mm;
  Eigen::Vector3d high = low;
  for (const Touch& touch : survey.touches) {
    low = low.cwiseMin(touch.shown_mm);
    high = high.cwiseMax(touch.shown_mm);
  }
  frame.middle_mm = 0.5 * (low + high);
  frame.slides_origin_mm = frame.middle_mm;
  for (const RotaryAxis& axis : machine.rotary) {
    if (axis.side == AxisSide::work) frame.slides_origin_mm = axis.centre_mm;
  }
  const double first_s = survey.touches.front().time_s.value_or(0.0);
  frame.hours = (survey.touches.back().time_s.value_or(0.0) - first_s) / 3600.0;
  return frame;
}

int components(BoundKind kind) {
  switch (kind) {
    case BoundKind::lobing: return 2;
    case BoundKind::place: return 9;
    case BoundKind::index_wave: return 4;
    case BoundKind::drift:
    case BoundKind::squareness:
    case BoundKind::scale:
    case BoundKind::between_surveys: return 3;
  }
  return 0;
}

bool limits_length(BoundKind kind) {
  return kind == BoundKind::lobing || kind == BoundKind::drift || kind == BoundKind::index_wave;
}

namespace {

void add_lobing(SurveyTruth& truth, const Eigen::VectorXd& part) {
  // a cos 3 (phi - p) = a cos 3p cos 3phi + a sin 3p sin 3phi.
  const double phase = 3.0 * truth.lobing_phase_rad;
  const double cosine = truth.lobing_amplitude_mm * std::cos(phase) + part[0];
  const double sine = truth.lobing_amplitude_mm * std::sin(phase) + part[1];
  truth.lobing_amplitude_mm = std::hypot(cosine, sine);
  truth.lobing_phase_rad = std::atan2(sine, cosine) / 3.0;
}

}  // namespace

void disturb(SurveyTruth& truth, const Bound& bound, const Eigen::VectorXd& components,
             const SurveyFrame& frame) {
  const Eigen::VectorXd& part = components;
  truth.linear_origin_mm = frame.slides_origin_mm;
  truth.bow_middle_mm = frame.middle_mm;
  switch (bound.kind) {
    case BoundKind::lobing: add_lobing(truth, part); break;
    case BoundKind::drift:
      if (frame.hours > 0.0) truth.drift_mm_per_hour += part.head<3>() / frame.hours;
      break;
    case BoundKind::squareness:
      truth.linear_error(0, 1) += part[0];
      truth.linear_error(1, 2) += part[1];
      truth.linear_error(0, 2) += part[2];
      break;
    case BoundKind::scale: truth.linear_error.diagonal() += part.head<3>(); break;
    case BoundKind::place:
      for (int slide = 0; slide < 3; ++slide) truth.bow_mm.col(slide) += part.segment<3>(3 * slide);
      break;
    case BoundKind::index_wave: {
      IndexWave& wave = truth.index_waves[bound.axis];
      wave.cos_once += part[0];
      wave.sin_once += part[1];
      wave.cos_twice += part[2];
      wave.sin_twice += part[3];
      break;
    }
    case BoundKind::between_surveys:
      // Everything sits elsewhere together, as after clamping anew or on a warmer day.
      for (Line& line : truth.state.axis_lines) line.point_mm += part.head<3>();
      break;
  }
}

Eigen::VectorXd worst_components(const Bound& bound, const Eigen::VectorXd& response) {
  const auto longest = [&](const Eigen::VectorXd& along) -> Eigen::VectorXd {
    if (!(along.norm() > 0.0)) return Eigen::VectorXd::Zero(along.size());
    return bound.half_width * along.normalized();
  };
  if (limits_length(bound.kind)) return longest(response);
  if (bound.kind != BoundKind::place) return bound.half_width * response.cwiseSign();
  Eigen::VectorXd worst(response.size());
  for (int slide = 0; slide < 3; ++slide) {
    worst.segment<3>(3 * slide) = longest(response.segment<3>(3 * slide));
  }
  return worst;
}

Eigen::VectorXd drawn_components(const Bound& bound, RandomStream& random) {
  const int count = components(bound.kind);
  const auto along = [&](int size) {
    Eigen::VectorXd direction(size);
    for (double& component : direction) component = random.normal();
    return Eigen::VectorXd(bound.half_width * random.uniform() * direction.normalized());
  };
  if (limits_length(bound.kind)) return along(count);
  Eigen::VectorXd drawn(count);
  if (bound.kind == BoundKind::place) {
    for (int slide = 0; slide < 3; ++slide) drawn.segment<3>(3 * slide) = along(3);
    return drawn;
  }
  for (double& component : drawn) component = bound.half_width * (2.0 * random.uniform() - 1.0);
  return drawn;
}

}  // namespace pivotrace
