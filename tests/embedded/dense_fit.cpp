#include "dense_fit.h"

#include <Eigen/Cholesky>
#include <Eigen/Geometry>
#include <cmath>
#include <map>
#include <tuple>

#include "drawn_survey.h"

namespace pivotrace::testing {

namespace {

using Eigen::MatrixXd;
using Eigen::Vector3d;
using Eigen::VectorXd;

/// Everything a gap depends on: unknowns first, then what only spreads.
struct World {
  std::vector<TrueLine> lines;
  std::vector<Vector3d> points;      ///< of the artefacts
  std::vector<Vector3d> directions;  ///< of pins
  std::vector<double> radii;
  std::vector<double> index_rad;         ///< per axis, this station
  std::vector<Vector3d> motion_mm;       ///< per axis, this station
  Vector3d shift_mm = Vector3d::Zero();  ///< of this station
  Vector3d offset_mm = Vector3d::Zero();
  Eigen::Matrix3d linear = Eigen::Matrix3d::Zero();
};

int places(const BoardArtefact& artefact) { return artefact.pin ? 4 : 3; }

int unknowns(const BoardJob& job) {
  int sum = 4 * static_cast<int>(job.axes.size());
  for (const BoardArtefact& artefact : job.artefacts) {
    sum += places(artefact) + (artefact.diameter_as < 0 ? 1 : 0);
  }
  return sum;
}

/// Any two directions square to `along`.
std::pair<Vector3d, Vector3d> across(const Vector3d& along) {
  const Vector3d first = along.unitOrthogonal();
  return {first, along.cross(first)};
}

TrueLine line_at(const Vector3d& point, const Vector3d& direction, const double* x) {
  const auto [first, second] = across(direction);
  return {point + x[0] * first + x[1] * second,
          (direction + x[2] * first + x[3] * second).normalized()};
}

World world_at(const BoardJob& job, const VectorXd& x) {
  World world;
  const double* next = x.data();
  for (const BoardAxis& axis : job.axes) {
    world.lines.push_back(line_at(millimetres(axis.centre), unit(axis.direction), next));
    next += 4;
  }
  for (const BoardArtefact& artefact : job.artefacts) {
    const Vector3d at = millimetres(artefact.at);
    if (artefact.pin) {
      const TrueLine line = line_at(at, unit(artefact.direction), next);
      world.points.push_back(line.point_mm);
      world.directions.push_back(line.direction);
    } else {
      world.points.push_back(at + Vector3d(next[0], next[1], next[2]));
      world.directions.push_back(Vector3d::UnitZ());
    }
    next += places(artefact);
    world.radii.push_back(artefact.diameter_as >= 0
                              ? world.radii[static_cast<std::size_t>(artefact.diameter_as)]
                              : 5e-6 * artefact.diameter + *next++);
  }
  world.index_rad.assign(job.axes.size(), 0.0);
  world.motion_mm.assign(job.axes.size(), Vector3d::Zero());
  return world;
}

Eigen::Isometry3d turn(const BoardJob& job, const World& world, std::size_t k,
                       const BoardStation& stay) {
  const double angle =
      job.axes[k].turn * (stay.angle[k] * 1e-6 * M_PI / 180.0 + world.index_rad[k]);
  const TrueLine& line = world.lines[k];
  return Eigen::Translation3d(line.point_mm + world.motion_mm[k]) *
         Eigen::AngleAxisd(angle, line.direction) * Eigen::Translation3d(-line.point_mm);
}

double gap(const BoardJob& job, const World& world, const BoardStation& stay,
           const std::array<std::int32_t, 3>& at) {
  const Vector3d shown = millimetres(at);
  const Vector3d real =
      shown + world.linear * (shown - millimetres(job.errors.linear_origin)) + world.shift_mm;
  const auto number = static_cast<std::size_t>(stay.artefact);
  Vector3d arm = world.offset_mm;
  Eigen::Isometry3d carried = Eigen::Isometry3d::Identity();
  for (std::size_t k = job.axes.size(); k-- > 0;) {
    if (job.axes[k].tool_side) {
      arm = turn(job, world, k, stay) * arm;
    } else if (static_cast<int>(k) <= job.artefacts[number].carried_by) {
      carried = turn(job, world, k, stay) * carried;
    }
  }
  const Vector3d off = carried.inverse() * (real + arm) - world.points[number];
  if (!job.artefacts[number].pin) return off.norm() - world.radii[number];
  return off.cross(world.directions[number]).norm() - world.radii[number];
}

struct Observed {
  const BoardStation* stay;
  const std::array<std::int32_t, 3>* at;
  int station;
};

std::vector<Observed> observed(const BoardJob& job) {
  std::vector<Observed> all;
  for (std::size_t s = 0; s < job.stations.size(); ++s) {
    for (const auto& at : job.stations[s].touches) {
      all.push_back({&job.stations[s], &at, static_cast<int>(s)});
    }
  }
  return all;
}

VectorXd gaps(const BoardJob& job, const std::vector<Observed>& touches, const VectorXd& x) {
  const World world = world_at(job, x);
  VectorXd result(touches.size());
  for (std::size_t i = 0; i < touches.size(); ++i) {
    result[static_cast<Eigen::Index>(i)] = gap(job, world, *touches[i].stay, *touches[i].at);
  }
  return result;
}

constexpr double step = 1e-4;

template <class Function>
VectorXd difference(const VectorXd& at, Eigen::Index k, const Function& function) {
  VectorXd up = at;
  VectorXd down = at;
  up[k] += step;
  down[k] -= step;
  return (function(up) - function(down)) / (2 * step);
}

/// Derivative of every gap by one change of the world.
template <class Change>
VectorXd by_change(const BoardJob& job, const std::vector<Observed>& touches, const VectorXd& x,
                   double size, const Change& change) {
  VectorXd result(touches.size());
  const World world = world_at(job, x);
  for (std::size_t i = 0; i < touches.size(); ++i) {
    World up = world;
    World down = world;
    change(up, touches[i], size);
    change(down, touches[i], -size);
    result[static_cast<Eigen::Index>(i)] = (gap(job, up, *touches[i].stay, *touches[i].at) -
                                            gap(job, down, *touches[i].stay, *touches[i].at)) /
                                           (2 * size);
  }
  return result;
}

/// Number of the index position of each axis and station: same side, angles modulo a turn.
int position_of(const BoardStation& stay, std::size_t axis) {
  const long long turn = 360000000LL;
  const long long within = ((stay.angle[axis] % turn) + turn) % turn;
  return static_cast<int>(std::llround(static_cast<double>(within) * 1e-6)) % 360 +
         (stay.side[axis] < 0 ? 1000 : 0);
}

MatrixXd covariance(const BoardJob& job, const std::vector<Observed>& touches, const VectorXd& x) {
  const auto n = static_cast<Eigen::Index>(touches.size());
  MatrixXd c = MatrixXd::Identity(n, n) * std::pow(1e-6 * job.errors.touch_sigma_nm, 2);
  const auto add = [&](const VectorXd& column, const auto& same) {
    for (Eigen::Index i = 0; i < n; ++i) {
      for (Eigen::Index j = 0; j < n; ++j) {
        if (same(touches[static_cast<std::size_t>(i)], touches[static_cast<std::size_t>(j)])) {
          c(i, j) += column[i] * column[j];
        }
      }
    }
  };
  for (int k = 0; k < 3; ++k) {
    const VectorXd column =
        by_change(job, touches, x, 1e-4,
                  [k](World& w, const Observed&, double size) { w.shift_mm[k] += size; });
    add(1e-6 * job.errors.station_sigma_nm * column,
        [](const Observed& a, const Observed& b) { return a.station == b.station; });
  }
  for (std::size_t axis = 0; axis < job.axes.size(); ++axis) {
    const auto same = [axis](const Observed& a, const Observed& b) {
      return position_of(*a.stay, axis) == position_of(*b.stay, axis);
    };
    const VectorXd turned =
        by_change(job, touches, x, 1e-5,
                  [axis](World& w, const Observed&, double size) { w.index_rad[axis] += size; });
    add(job.axes[axis].index_sigma_mas * (M_PI / 180.0 / 3.6e6) * turned, same);
    for (int k = 0; k < 3; ++k) {
      const VectorXd moved = by_change(
          job, touches, x, 1e-4,
          [axis, k](World& w, const Observed&, double size) { w.motion_mm[axis][k] += size; });
      add(1e-6 * job.axes[axis].motion_sigma_nm * moved, same);
    }
  }
  return c;
}

VectorXd values_at(const BoardJob& job, const VectorXd& x) {
  DrawnSurvey as_found;
  as_found.job = job;
  as_found.lines = world_at(job, x).lines;
  VectorXd values(6 * job.axes.size());
  for (std::size_t k = 0; k < job.axes.size(); ++k) {
    values.segment<3>(static_cast<Eigen::Index>(6 * k)) = as_found.location_mm(k);
    values.segment<3>(static_cast<Eigen::Index>(6 * k + 3)) = as_found.orientation_rad(k);
  }
  return values;
}

/// Columns of what the common terms do to every gap, one sigma each.
MatrixXd common_columns(const BoardJob& job, const std::vector<Observed>& touches,
                        const VectorXd& x) {
  constexpr int cells[6][2] = {{0, 0}, {1, 1}, {2, 2}, {0, 1}, {1, 2}, {0, 2}};
  MatrixXd columns(touches.size(), 9);
  for (int k = 0; k < 3; ++k) {
    const auto axis = static_cast<std::size_t>(k);
    columns.col(k) = 1e-6 * job.errors.probe_offset_u_nm[axis] *
                     by_change(job, touches, x, 1e-4, [k](World& w, const Observed&, double size) {
                       w.offset_mm[k] += size;
                     });
  }
  for (int k = 0; k < 6; ++k) {
    const auto axis = static_cast<std::size_t>(k % 3);
    const std::int32_t u =
        k < 3 ? job.errors.scale_u_nm_per_m[axis] : job.errors.squareness_u_nm_per_m[axis];
    columns.col(3 + k) =
        1e-9 * u * by_change(job, touches, x, 1e-6, [&](World& w, const Observed&, double size) {
          w.linear(cells[k][0], cells[k][1]) += size;
        });
  }
  return columns;
}

/// Prior on the radii: rows of sigma (0 = free) over the unknowns.
VectorXd radius_sigmas(const BoardJob& job) {
  VectorXd sigma = VectorXd::Zero(unknowns(job));
  Eigen::Index next = 4 * static_cast<Eigen::Index>(job.axes.size());
  for (const BoardArtefact& artefact : job.artefacts) {
    next += places(artefact);
    if (artefact.diameter_as < 0) sigma[next++] = 0.5e-6 * artefact.diameter_u_nm;
  }
  return sigma;
}

}  // namespace

DenseFit dense_fit(const BoardJob& job) {
  const std::vector<Observed> touches = observed(job);
  const VectorXd sigma = radius_sigmas(job);
  const int p = unknowns(job);
  VectorXd x = VectorXd::Zero(p);
  const auto jacobian = [&] {
    MatrixXd j(touches.size(), p);
    for (int k = 0; k < p; ++k) {
      j.col(k) = difference(x, k, [&](const VectorXd& at) { return gaps(job, touches, at); });
    }
    return j;
  };
  MatrixXd prior = MatrixXd::Zero(p, p);
  for (int k = 0; k < p; ++k) {
    if (sigma[k] > 0.0) prior(k, k) = 1.0 / (sigma[k] * sigma[k]);
  }
  DenseFit fit;
  for (int iteration = 0; iteration < 25; ++iteration) {
    const Eigen::LDLT<MatrixXd> c(covariance(job, touches, x));
    const MatrixXd j = jacobian();
    const VectorXd e = gaps(job, touches, x);
    const MatrixXd weighed = c.solve(j);
    const MatrixXd inverse =
        (j.transpose() * weighed + prior).ldlt().solve(MatrixXd::Identity(p, p));
    const VectorXd move = -inverse * (weighed.transpose() * e + prior * x);
    x += move;
    if (iteration < 24 && move.norm() > 1e-11) continue;
    fit.chi2 = e.dot(c.solve(e)) + x.dot(prior * x);
    const MatrixXd random = inverse - inverse * prior * inverse;
    const MatrixXd gains = inverse * weighed.transpose() * common_columns(job, touches, x);
    const MatrixXd all = inverse + gains * gains.transpose();
    MatrixXd by_unknown(6 * job.axes.size(), p);
    for (int k = 0; k < p; ++k) {
      by_unknown.col(k) = difference(x, k, [&](const VectorXd& at) { return values_at(job, at); });
    }
    fit.values = values_at(job, x);
    fit.repeatable = by_unknown * random * by_unknown.transpose();
    fit.absolute = by_unknown * all * by_unknown.transpose();
    break;
  }
  fit.redundancy =
      static_cast<int>(touches.size()) + static_cast<int>((sigma.array() > 0.0).count()) - p;
  return fit;
}

}  // namespace pivotrace::testing
