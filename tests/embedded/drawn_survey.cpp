#include "drawn_survey.h"

#include <Eigen/Geometry>
#include <cmath>
#include <map>

namespace pivotrace::testing {

namespace {

using Eigen::Vector3d;

std::int32_t whole(double value) { return static_cast<std::int32_t>(std::llround(value)); }

std::array<std::int32_t, 3> counts(const Vector3d& mm) {
  return {whole(mm.x() * 1e5), whole(mm.y() * 1e5), whole(mm.z() * 1e5)};
}

class Drawer {
 public:
  Drawer(const DrawOptions& options, std::mt19937_64& random)
      : options_(options), random_(random) {}

  DrawnSurvey draw() {
    draw_axes();
    draw_artefact();
    draw_errors();
    draw_stations();
    return std::move(drawn_);
  }

 private:
  double normal() { return options_.noise ? normal_(random_) : 0.0; }
  double uniform(double low, double high) {
    return std::uniform_real_distribution<double>(low, high)(random_);
  }
  Vector3d within(double size) {
    return {uniform(-size, size), uniform(-size, size), uniform(-size, size)};
  }

  std::array<std::int32_t, 3> nominal_direction(int k) {
    if (options_.tilted) return {whole(uniform(2, 9)), whole(uniform(-9, 9)), whole(uniform(2, 9))};
    if (options_.tool_side) return {0, 1, 0};
    if (k == 0 && options_.axes == 2) return {1, 0, 0};
    return k == 0 && uniform(0, 1) < 0.5 ? std::array<std::int32_t, 3>{1, 0, 0}
                                         : std::array<std::int32_t, 3>{0, 0, 1};
  }

  void draw_axes() {
    const double off = options_.rough ? 9.0 : 0.3;
    const double lean = options_.rough ? 0.04 : 0.001;
    for (int k = 0; k < options_.axes; ++k) {
      BoardAxis axis;
      axis.tool_side = options_.tool_side;
      axis.turn = uniform(0, 1) < 0.5 ? 1 : -1;
      axis.direction = nominal_direction(k);
      axis.index_sigma_mas = 4000;
      axis.motion_sigma_nm = options_.motion ? 1000 : 0;
      const Vector3d centre = options_.tool_side ? Vector3d(0, 0, options_.arm_mm)
                                                 : Vector3d(-300, -200, -250 - 20.0 * k);
      axis.centre = counts(centre);
      const Vector3d direction = unit(axis.direction);
      const Vector3d shifted = millimetres(axis.centre) + within(off * 0.55);
      const Vector3d leaning =
          (direction + lean * Vector3d(normal_(random_), normal_(random_), normal_(random_))
                                  .cwiseMax(-1.0)
                                  .cwiseMin(1.0))
              .normalized();
      drawn_.lines.push_back({shifted, leaning});
      drawn_.job.axes.push_back(axis);
    }
  }

  void draw_artefact() {
    BoardArtefact artefact;
    artefact.pin = options_.pin;
    artefact.carried_by = options_.tool_side ? -1 : options_.axes - 1;
    artefact.diameter = options_.pin ? 2600000 : 3140000;
    artefact.diameter_u_nm = options_.free_diameter ? 0 : 500;
    const TrueLine& line = drawn_.lines.back();
    direction_ = line.direction;
    point_ = Vector3d(-400, -250, -300);
    if (!options_.tool_side)
      point_ = line.point_mm + away_from(line) + uniform(20, 60) * direction_;
    if (options_.pin) {
      direction_ = (line.direction + 0.01 * within(1.0)).normalized();
      point_ = line.point_mm + within(3.0) + 20.0 * direction_;
      artefact.direction = drawn_.job.axes.back().direction;
    }
    const double rough = options_.rough ? 5.0 : 0.3;
    artefact.at = counts(point_ + within(rough));
    radius_ = 5e-6 * artefact.diameter;
    if (options_.common) radius_ += 0.5e-6 * artefact.diameter_u_nm * normal();
    if (options_.free_diameter) radius_ += 0.05;
    drawn_.job.artefacts.push_back(artefact);
  }

  /// From the axis to the artefact, square to it.
  Vector3d away_from(const TrueLine& line) {
    const Vector3d aside = line.direction.unitOrthogonal();
    const double bearing = uniform(0, 2 * M_PI);
    return uniform(0.6, 0.98) * options_.arm_mm *
           (Eigen::AngleAxisd(bearing, line.direction) * aside);
  }

  /// A stated sigma that is itself known to 8 degrees of freedom.
  std::int32_t stated(double truth) {
    if (!options_.uncertain_sigmas) return whole(truth);
    double squares = 0.0;
    for (int i = 0; i < 8; ++i) squares += std::pow(normal_(random_), 2);
    return std::max(1, whole(truth * std::sqrt(squares / 8.0)));
  }

  void draw_errors() {
    BoardErrors& errors = drawn_.job.errors;
    errors.dof = options_.dof;
    errors.touch_sigma_nm = std::max(10, stated(500));
    // Station and index sigmas are one group: what is stated of them is off by one factor.
    const double factor = stated(1000000) * 1e-6;
    errors.station_sigma_nm = whole(2000 * factor);
    for (BoardAxis& axis : drawn_.job.axes) {
      axis.index_sigma_mas = whole(4000 * factor);
      axis.motion_sigma_nm = options_.motion ? whole(1000 * factor) : 0;
    }
    errors.linear_origin = drawn_.job.axes.back().centre;
    if (!options_.common) return;
    errors.probe_offset_u_nm = {1000, 1000, 3000};
    errors.scale_u_nm_per_m = {8000, 8000, 8000};
    errors.squareness_u_nm_per_m = {10000, 10000, 10000};
    for (int k = 0; k < 3; ++k) {
      offset_[k] = 1e-6 * errors.probe_offset_u_nm[static_cast<std::size_t>(k)] * normal();
      linear_(k, k) = 8e-6 * normal();
    }
    linear_(0, 1) = 1e-5 * normal();
    linear_(1, 2) = 1e-5 * normal();
    linear_(0, 2) = 1e-5 * normal();
  }

  std::vector<std::array<double, 2>> angles() {
    std::vector<std::array<double, 2>> result;
    if (options_.axes == 2) {
      for (const double a : {0.0, 35.0, 80.0}) {
        for (const double c : {0.0, 90.0, 180.0, 270.0}) result.push_back({a, c});
      }
      return result;
    }
    if (options_.tool_side) {
      for (int k = 0; k < 9; ++k) result.push_back({-80.0 + 20.0 * k, 0.0});
      return result;
    }
    const int stations = static_cast<int>(uniform(8.0, 13.0));
    for (int k = 0; k < stations; ++k) {
      result.push_back({std::floor(360.0 * k / stations) + 0.001 * std::floor(uniform(0, 999)), 0});
    }
    return result;
  }

  struct IndexError {
    double angle_rad;
    Vector3d motion_mm;
  };

  const IndexError& index_error(std::size_t axis, double angle_deg) {
    const auto key = std::make_pair(axis, std::llround(angle_deg));
    const auto found = index_errors_.find(key);
    if (found != index_errors_.end()) return found->second;
    IndexError error{4.0 / 206264.806 * normal(), Vector3d::Zero()};
    if (options_.motion) error.motion_mm = 1e-3 * Vector3d(normal(), normal(), normal());
    return index_errors_.emplace(key, error).first->second;
  }

  /// The turn of axis k at its commanded angle, errors included.
  Eigen::Isometry3d turn(std::size_t k, double angle_deg) {
    const TrueLine& line = drawn_.lines[k];
    const IndexError& error = index_error(k, angle_deg);
    const double angle = drawn_.job.axes[k].turn * (angle_deg * M_PI / 180.0 + error.angle_rad);
    Eigen::Isometry3d result = Eigen::Isometry3d::Identity();
    result.linear() = Eigen::AngleAxisd(angle, line.direction).toRotationMatrix();
    result.translation() = line.point_mm - result.linear() * line.point_mm + error.motion_mm;
    return result;
  }

  /// Stylus centre minus position shown.
  Vector3d arm(const std::array<double, 2>& at) {
    return options_.tool_side ? Vector3d(turn(0, at[0]) * offset_) : offset_;
  }

  Eigen::Isometry3d machine_from_carried(const std::array<double, 2>& at) {
    Eigen::Isometry3d result = Eigen::Isometry3d::Identity();
    if (options_.tool_side) return result;
    for (std::size_t k = 0; k < drawn_.lines.size(); ++k) result = result * turn(k, at[k]);
    return result;
  }

  void draw_stations() {
    const Vector3d origin = millimetres(drawn_.job.errors.linear_origin);
    for (const std::array<double, 2>& at : angles()) {
      BoardStation stay;
      stay.angle = {whole(at[0] * 1e6), whole(at[1] * 1e6)};
      stay.side = {1, 1};
      const Eigen::Isometry3d pose = machine_from_carried(at);
      const Vector3d shift = 0.002 * Vector3d(normal(), normal(), normal());
      const int touches = options_.pin ? 8 : 5;
      for (int t = 0; t < touches; ++t) {
        const Vector3d stylus = touched(pose, t);
        const Vector3d real = stylus + shift - arm(at);
        stay.touches.push_back(counts(real - linear_ * (real - origin)));
      }
      drawn_.job.stations.push_back(stay);
    }
  }

  Vector3d touched(const Eigen::Isometry3d& pose, int t) {
    const double reach = radius_ + 0.0005 * normal();
    if (options_.pin) {
      const Vector3d along = pose.linear() * direction_;
      const Vector3d first = along.unitOrthogonal();
      const double bearing = 2 * M_PI * ((t % 4) + 0.1) / 4.5;
      const Vector3d outward = Eigen::AngleAxisd(bearing, along) * first;
      return pose * point_ + (t < 4 ? 2.0 : 50.0) * along + reach * outward;
    }
    const double bearing = 0.2 + 2 * M_PI * t / 4.0 * 0.93;
    const Vector3d outward =
        t == 4 ? Vector3d::UnitZ() : Vector3d(std::cos(bearing), std::sin(bearing), 0.0);
    return pose * point_ + reach * outward;
  }

  const DrawOptions& options_;
  std::mt19937_64& random_;
  std::normal_distribution<double> normal_;
  DrawnSurvey drawn_;
  Vector3d point_ = Vector3d::Zero();
  Vector3d direction_ = Vector3d::UnitZ();
  double radius_ = 0.0;
  Vector3d offset_ = Vector3d::Zero();
  Eigen::Matrix3d linear_ = Eigen::Matrix3d::Zero();
  std::map<std::pair<std::size_t, long long>, IndexError> index_errors_;
};

}  // namespace

Vector3d millimetres(const std::array<std::int32_t, 3>& counts) {
  return 1e-5 * Vector3d(counts[0], counts[1], counts[2]);
}

Vector3d unit(const std::array<std::int32_t, 3>& direction) {
  return Vector3d(direction[0], direction[1], direction[2]).normalized();
}

Vector3d DrawnSurvey::location_mm(std::size_t axis) const {
  const Vector3d nominal = millimetres(job.axes[axis].centre);
  const Vector3d normal = unit(job.axes[axis].direction);
  const TrueLine& line = lines[axis];
  const double along = normal.dot(nominal - line.point_mm) / normal.dot(line.direction);
  return line.point_mm + along * line.direction - nominal;
}

// ISO 230-1 angles for C, A and B; tilted axes: nominal x true.
Vector3d DrawnSurvey::orientation_rad(std::size_t axis) const {
  const std::array<std::int32_t, 3>& nominal = job.axes[axis].direction;
  const Vector3d u = lines[axis].direction;
  if (nominal == std::array<std::int32_t, 3>{0, 0, 1}) {
    return {std::atan2(-u.y(), u.z()), std::atan2(u.x(), u.z()), 0.0};
  }
  if (nominal == std::array<std::int32_t, 3>{1, 0, 0}) {
    return {0.0, std::atan2(-u.z(), u.x()), std::atan2(u.y(), u.x())};
  }
  if (nominal == std::array<std::int32_t, 3>{0, 1, 0}) {
    return {std::atan2(u.z(), u.y()), 0.0, std::atan2(-u.x(), u.y())};
  }
  return unit(nominal).cross(u);
}

DrawnSurvey draw_survey(const DrawOptions& options, std::mt19937_64& random) {
  return Drawer(options, random).draw();
}

}  // namespace pivotrace::testing
