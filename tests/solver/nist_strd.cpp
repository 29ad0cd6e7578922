#include "solver/nist_strd.h"

#include <cmath>
#include <fstream>
#include <functional>
#include <map>
#include <sstream>

namespace pivotrace::testing {
namespace {

/// A value with its derivatives by N parameters (forward automatic differentiation).
template <int N>
struct Dual {
  using Slope = Eigen::Matrix<double, N, 1>;
  double value = 0.0;
  Slope slope = Slope::Zero();

  Dual(double v) : value(v) {}  // a number is a value that depends on nothing
  Dual(double v, const Slope& s) : value(v), slope(s) {}
  static Dual parameter(double v, int k) { return {v, Slope::Unit(k)}; }

  Dual operator-() const { return {-value, -slope}; }
  friend Dual operator+(const Dual& a, const Dual& b) {
    return {a.value + b.value, a.slope + b.slope};
  }
  friend Dual operator-(const Dual& a, const Dual& b) {
    return {a.value - b.value, a.slope - b.slope};
  }
  friend Dual operator*(const Dual& a, const Dual& b) {
    return {a.value * b.value, a.slope * b.value + b.slope * a.value};
  }
  friend Dual operator/(const Dual& a, const Dual& b) {
    const double quotient = a.value / b.value;
    return {quotient, (a.slope - quotient * b.slope) / b.value};
  }
  friend Dual exp(const Dual& a) {
    const double power = std::exp(a.value);
    return {power, power * a.slope};
  }
  friend Dual pow(const Dual& a, const Dual& b) {
    const double power = std::pow(a.value, b.value);
    return {power, power * (b.slope * std::log(a.value) + b.value / a.value * a.slope)};
  }
};

// The models, with the parameter names of the published files (b1 is b[0]).

struct Misra1a {
  static constexpr int parameters = 2;
  template <class T>
  static T value(const T* b, double x) {
    using std::exp;
    return b[0] * (1.0 - exp(-b[1] * x));
  }
};

struct Misra1b {
  static constexpr int parameters = 2;
  template <class T>
  static T value(const T* b, double x) {
    const T half = 1.0 + b[1] * (x / 2.0);
    return b[0] * (1.0 - 1.0 / (half * half));
  }
};

struct DanWood {
  static constexpr int parameters = 2;
  template <class T>
  static T value(const T* b, double x) {
    using std::pow;
    return b[0] * pow(T(x), b[1]);
  }
};

struct Eckerle4 {
  static constexpr int parameters = 3;
  template <class T>
  static T value(const T* b, double x) {
    using std::exp;
    const T scaled = (x - b[2]) / b[1];
    return b[0] / b[1] * exp(-0.5 * scaled * scaled);
  }
};

struct Bennett5 {
  static constexpr int parameters = 3;
  template <class T>
  static T value(const T* b, double x) {
    using std::pow;
    return b[0] * pow(b[1] + x, -1.0 / b[2]);
  }
};

struct Rat43 {
  static constexpr int parameters = 4;
  template <class T>
  static T value(const T* b, double x) {
    using std::exp;
    using std::pow;
    return b[0] / pow(1.0 + exp(b[1] - b[2] * x), 1.0 / b[3]);
  }
};

struct Mgh17 {
  static constexpr int parameters = 5;
  template <class T>
  static T value(const T* b, double x) {
    using std::exp;
    return b[0] + b[1] * exp(-x * b[3]) + b[2] * exp(-x * b[4]);
  }
};

/// Hahn1 and Thurber: cubic over cubic.
struct CubicOverCubic {
  static constexpr int parameters = 7;
  template <class T>
  static T value(const T* b, double x) {
    return (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1.0 + x * (b[4] + x * (b[5] + x * b[6])));
  }
};

template <class Model>
StrdLinearisation linearise(const StrdSet& set, const Eigen::VectorXd& parameters) {
  using Number = Dual<Model::parameters>;
  std::vector<Number> b;
  for (int k = 0; k < Model::parameters; ++k) b.push_back(Number::parameter(parameters[k], k));
  const auto rows = static_cast<Eigen::Index>(set.x.size());
  StrdLinearisation at{Eigen::VectorXd(rows), Eigen::MatrixXd(rows, Model::parameters)};
  for (Eigen::Index i = 0; i < rows; ++i) {
    const Number here = Model::value(b.data(), set.x[static_cast<std::size_t>(i)]);
    at.residuals[i] = here.value - set.y[static_cast<std::size_t>(i)];
    at.jacobian.row(i) = here.slope.transpose();
  }
  return at;
}

using Linearise = std::function<StrdLinearisation(const StrdSet&, const Eigen::VectorXd&)>;

const std::map<std::string, Linearise>& models() {
  static const std::map<std::string, Linearise> all = {
      {"Bennett5", linearise<Bennett5>},     {"DanWood", linearise<DanWood>},
      {"Eckerle4", linearise<Eckerle4>},     {"Hahn1", linearise<CubicOverCubic>},
      {"MGH17", linearise<Mgh17>},           {"Misra1a", linearise<Misra1a>},
      {"Misra1b", linearise<Misra1b>},       {"Rat43", linearise<Rat43>},
      {"Thurber", linearise<CubicOverCubic>}};
  return all;
}

}  // namespace

std::vector<std::string> strd_names() {
  std::vector<std::string> names;
  for (const auto& [name, model] : models()) names.push_back(name);
  return names;
}

StrdSet read_strd(const std::string& name, const std::string& path) {
  // Parameter lines read "  b1 =   500   250   2.3894212918E+02  2.7070075241E+00"; data follow the
  // line "Data:  y  x", the second of that head.
  StrdSet set;
  set.name = name;
  std::vector<double> start, certified, sigma;
  std::ifstream stream(path);
  std::string line;
  int data_heads = 0;
  while (std::getline(stream, line)) {
    std::istringstream words(line);
    std::string label, equals;
    double first = 0, second = 0, value = 0, deviation = 0;
    if (line.rfind("Data:", 0) == 0) {
      ++data_heads;
    } else if (line.rfind("Residual Sum of Squares:", 0) == 0) {
      set.certified_residual_sum_of_squares = std::stod(line.substr(24));
    } else if (data_heads == 2) {
      double y = 0, x = 0;
      if (words >> y >> x) {
        set.y.push_back(y);
        set.x.push_back(x);
      }
    } else if (words >> label >> equals >> first >> second >> value >> deviation &&
               label.front() == 'b' && equals == "=") {
      start.push_back(second);
      certified.push_back(value);
      sigma.push_back(deviation);
    }
  }
  const auto p = static_cast<Eigen::Index>(start.size());
  set.start = Eigen::Map<Eigen::VectorXd>(start.data(), p);
  set.certified = Eigen::Map<Eigen::VectorXd>(certified.data(), p);
  set.certified_sigma = Eigen::Map<Eigen::VectorXd>(sigma.data(), p);
  return set;
}

LeastSquaresMinimum solve_strd(const StrdSet& set, Solver solver) {
  const Linearise& linearise = models().at(set.name);
  const auto dof = static_cast<double>(set.x.size()) - static_cast<double>(set.start.size());
  const double sigma = std::sqrt(set.certified_residual_sum_of_squares / dof);
  LeastSquaresProblem problem;
  problem.unknowns = static_cast<int>(set.start.size());
  problem.readings = {static_cast<int>(set.x.size())};
  problem.prior.root.resize(0, set.start.size());
  problem.prior.mean = Eigen::VectorXd::Zero(set.start.size());
  problem.at = [&](const Eigen::VectorXd& parameters) -> BlockEvaluator {
    return [&, parameters](int, const Eigen::VectorXd&, BlockRows& rows) {
      const StrdLinearisation at = linearise(set, parameters);
      rows.residual = at.residuals / sigma;
      rows.by_unknown = at.jacobian / sigma;
      rows.by_nuisance.resize(rows.residual.size(), 0);
    };
  };
  MinimiserOptions options;
  options.max_iterations = 10000;
  options.solver = solver;
  return minimise(problem, set.start, options);
}

StrdLinearisation linearise_strd(const StrdSet& set, const Eigen::VectorXd& parameters) {
  return models().at(set.name)(set, parameters);
}

}  // namespace pivotrace::testing
