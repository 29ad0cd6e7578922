#include "pivotrace/results/charts.h"

#include <Eigen/LU>
#include <algorithm>
#include <boost/math/special_functions/bessel.hpp>
#include <cmath>
#include <limits>
#include <numbers>
#include <vector>

#include "pivotrace/results/statistics.h"

namespace pivotrace {

namespace {

constexpr double not_a_number = std::numeric_limits<double>::quiet_NaN();

struct Rule {
  Eigen::VectorXd nodes;  ///< in -1..1
  Eigen::VectorXd weights;
};

// Newton's iteration on the Legendre polynomial, from the usual cosine start.
Rule gauss_legendre(int n) {
  Rule rule{Eigen::VectorXd(n), Eigen::VectorXd(n)};
  for (int i = 0; i < n; ++i) {
    double x = std::cos(std::numbers::pi * (i + 0.75) / (n + 0.5));
    double slope = 1.0;
    for (int iteration = 0; iteration < 50; ++iteration) {
      double p0 = 1.0;
      double p1 = x;
      for (int k = 2; k <= n; ++k) {
        const double p2 = ((2.0 * k - 1.0) * x * p1 - (k - 1.0) * p0) / k;
        p0 = p1;
        p1 = p2;
      }
      slope = n * (x * p1 - p0) / (x * x - 1.0);
      const double step = p1 / slope;
      x -= step;
      if (std::abs(step) < 1e-15) break;
    }
    rule.nodes[i] = x;
    rule.weights[i] = 2.0 / ((1.0 - x * x) * slope * slope);
  }
  return rule;
}

double normal_density(double z) {
  return std::exp(-0.5 * z * z) / std::sqrt(2.0 * std::numbers::pi);
}

/// More nodes where the chart's one step is short beside its bound.
int nodes_for(double bound, double step) {
  return std::clamp(static_cast<int>(std::ceil(4.0 * bound / step)) + 12, 24, 160);
}

bool sensible(double weight, double limit) {
  return weight > 0.0 && weight <= 1.0 && limit > 0.0 && std::isfinite(limit);
}

/// The limit where an increasing run length takes the wanted value.
template <typename RunLength>
double limit_for(double low, double high, double wanted, const RunLength& run_length) {
  for (int step = 0; step < 60 && high - low > 1e-7 * high; ++step) {
    const double middle = 0.5 * (low + high);
    (run_length(middle) < wanted ? low : high) = middle;
  }
  return 0.5 * (low + high);
}

bool is_run_length(double run_length) { return run_length >= 2.0 && run_length <= 1e6; }

}  // namespace

double EwmaDesign::bound() const { return limit * std::sqrt(weight / (2.0 - weight)); }

// L(s) = 1 + int_-h^h L(y) phi((y - (1 - w) s) / w - shift) / w dy, asked for at s = 0.
double ewma_run_length(const EwmaDesign& design, double shift) {
  if (!sensible(design.weight, design.limit) || !std::isfinite(shift)) return not_a_number;
  const double h = design.bound();
  const double w = design.weight;
  const Rule rule = gauss_legendre(nodes_for(h, w));
  const Eigen::Index n = rule.nodes.size();
  const auto step = [&](double from, Eigen::Index to) {
    return h * rule.weights[to] *
           normal_density((h * rule.nodes[to] - (1.0 - w) * from) / w - shift) / w;
  };
  Eigen::MatrixXd system = Eigen::MatrixXd::Identity(n, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    for (Eigen::Index j = 0; j < n; ++j) system(i, j) -= step(h * rule.nodes[i], j);
  }
  const Eigen::VectorXd lengths = system.partialPivLu().solve(Eigen::VectorXd::Ones(n));
  double from_zero = 1.0;
  for (Eigen::Index j = 0; j < n; ++j) from_zero += step(0.0, j) * lengths[j];
  return from_zero;
}

EwmaDesign design_ewma(double weight, double run_length) {
  EwmaDesign design{weight, not_a_number};
  if (!sensible(weight, 1.0) || !is_run_length(run_length)) return design;
  design.limit = limit_for(0.1, 6.0, run_length, [&](double limit) {
    return ewma_run_length({weight, limit}, 0.0);
  });
  return design;
}

namespace {

/// Density of |w z + m| at `to`, |m| = from, z standard normal in `size` dimensions:
///   (to / w^2) (to / from)^(size/2 - 1) exp(-(to^2 + from^2) / 2 w^2) I_(size/2 - 1)(to from / w^2).
double length_density(int size, double w, double from, double to) {
  const double order = 0.5 * size - 1.0;
  const double argument = to * from / (w * w);
  if (argument < 1e-9) {
    const double x = to / w;
    return 2.0 * std::pow(0.5, 0.5 * size) * std::pow(x, size - 1) *
           std::exp(-0.5 * (x * x + from * from / (w * w))) / (std::tgamma(0.5 * size) * w);
  }
  const double apart = (to - from) / w;
  if (std::abs(apart) > 12.0) return 0.0;
  // I(x) e^-x, by its leading terms where I(x) itself would overflow.
  const double mu = 4.0 * order * order;
  const double scaled =
      argument > 600.0
          ? (1.0 - (mu - 1.0) / (8.0 * argument) * (1.0 - (mu - 9.0) / (16.0 * argument))) /
                std::sqrt(2.0 * std::numbers::pi * argument)
          : boost::math::cyl_bessel_i(order, argument) * std::exp(-argument);
  return to / (w * w) * std::pow(to / from, order) * std::exp(-0.5 * apart * apart) * scaled;
}

double vector_bound(const VectorEwmaDesign& design) {
  return std::sqrt(design.limit * design.weight / (2.0 - design.weight));
}

/// Without a change only the length of Z matters.
double steady_run_length(const VectorEwmaDesign& design) {
  const double h = vector_bound(design);
  const double w = design.weight;
  const Rule rule = gauss_legendre(nodes_for(h, w));
  const Eigen::Index n = rule.nodes.size();
  const auto node = [&](Eigen::Index i) { return 0.5 * h * (rule.nodes[i] + 1.0); };
  const auto step = [&](double from, Eigen::Index to) {
    return 0.5 * h * rule.weights[to] * length_density(design.size, w, (1.0 - w) * from, node(to));
  };
  Eigen::MatrixXd system = Eigen::MatrixXd::Identity(n, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    for (Eigen::Index j = 0; j < n; ++j) system(i, j) -= step(node(i), j);
  }
  const Eigen::VectorXd lengths = system.partialPivLu().solve(Eigen::VectorXd::Ones(n));
  double from_zero = 1.0;
  for (Eigen::Index j = 0; j < n; ++j) from_zero += step(0.0, j) * lengths[j];
  return from_zero;
}

/// A node of the ball |Z| <= h: along the shift, and the length of what is across it.
struct BallNode {
  double along = 0.0;
  double across = 0.0;
  double weight = 0.0;
};

std::vector<BallNode> ball_nodes(double h, int n) {
  const Rule rule = gauss_legendre(n);
  std::vector<BallNode> nodes;
  for (Eigen::Index i = 0; i < n; ++i) {
    // along = h sin(a): the square root at the ends becomes smooth.
    const double angle = 0.5 * std::numbers::pi * rule.nodes[i];
    const double reach = h * std::cos(angle);
    for (Eigen::Index j = 0; j < n; ++j) {
      nodes.push_back(
          {h * std::sin(angle), 0.5 * reach * (rule.nodes[j] + 1.0),
           0.5 * std::numbers::pi * rule.weights[i] * reach * 0.5 * reach * rule.weights[j]});
    }
  }
  return nodes;
}

double shifted_run_length(const VectorEwmaDesign& design, double shift) {
  const double w = design.weight;
  const std::vector<BallNode> nodes = ball_nodes(vector_bound(design), 28);
  const auto n = static_cast<Eigen::Index>(nodes.size());
  const auto step = [&](double along, double across, const BallNode& to) {
    const double density = normal_density((to.along - (1.0 - w) * along) / w - shift) / w;
    if (density < 1e-14) return 0.0;
    return to.weight * density * length_density(design.size - 1, w, (1.0 - w) * across, to.across);
  };
  Eigen::MatrixXd system = Eigen::MatrixXd::Identity(n, n);
  for (Eigen::Index i = 0; i < n; ++i) {
    const BallNode& from = nodes[static_cast<std::size_t>(i)];
    for (Eigen::Index j = 0; j < n; ++j) {
      system(i, j) -= step(from.along, from.across, nodes[static_cast<std::size_t>(j)]);
    }
  }
  const Eigen::VectorXd lengths = system.partialPivLu().solve(Eigen::VectorXd::Ones(n));
  double from_zero = 1.0;
  for (Eigen::Index j = 0; j < n; ++j)
    from_zero += step(0.0, 0.0, nodes[static_cast<std::size_t>(j)]) * lengths[j];
  return from_zero;
}

}  // namespace

double vector_ewma_run_length(const VectorEwmaDesign& design, double shift) {
  if (!sensible(design.weight, design.limit) || design.size < 1 || !(shift >= 0.0))
    return not_a_number;
  if (design.size == 1) return ewma_run_length({design.weight, std::sqrt(design.limit)}, shift);
  return shift == 0.0 ? steady_run_length(design) : shifted_run_length(design, shift);
}

VectorEwmaDesign design_vector_ewma(int size, double weight, double run_length) {
  VectorEwmaDesign design{weight, not_a_number, size};
  if (!sensible(weight, 1.0) || size < 1 || !is_run_length(run_length)) return design;
  design.limit = limit_for(0.05 * size, 6.0 * size + 60.0, run_length, [&](double limit) {
    return vector_ewma_run_length({weight, limit, size}, 0.0);
  });
  return design;
}

void Cusum::add(double z, double allowance) {
  up = std::max(0.0, up + z - allowance);
  down = std::max(0.0, down - z - allowance);
}

namespace {

// L(s) = 1 + L(0) Phi(k - s - shift) + int_0^h L(y) phi(y + k - s - shift) dy; L(0) is one more unknown.
double one_sided_run_length(const CusumDesign& design, double shift) {
  const double h = design.limit;
  const Rule rule = gauss_legendre(nodes_for(h, 1.0));
  const Eigen::Index n = rule.nodes.size();
  const auto node = [&](Eigen::Index i) {
    return i == 0 ? 0.0 : 0.5 * h * (rule.nodes[i - 1] + 1.0);
  };
  Eigen::MatrixXd system = Eigen::MatrixXd::Identity(n + 1, n + 1);
  for (Eigen::Index i = 0; i <= n; ++i) {
    const double drop = design.allowance - node(i) - shift;
    system(i, 0) -= normal_cdf(drop);
    for (Eigen::Index j = 1; j <= n; ++j) {
      system(i, j) -= 0.5 * h * rule.weights[j - 1] * normal_density(node(j) + drop);
    }
  }
  return system.partialPivLu().solve(Eigen::VectorXd::Ones(n + 1))[0];
}

}  // namespace

double cusum_run_length(const CusumDesign& design, double shift) {
  const bool usable = design.allowance >= 0.0 && design.limit > 0.0 &&
                      std::isfinite(design.limit) && std::isfinite(shift);
  if (!usable) return not_a_number;
  return 1.0 /
         (1.0 / one_sided_run_length(design, shift) + 1.0 / one_sided_run_length(design, -shift));
}

}  // namespace pivotrace
