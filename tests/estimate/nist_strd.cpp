#include "estimate/nist_strd.h"

#include <ceres/ceres.h>

#include <fstream>
#include <functional>
#include <map>
#include <sstream>

namespace pivotrace::testing {
namespace {

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
struct Residual {
  double x;
  double y;
  template <class T>
  bool operator()(const T* b, T* residual) const {
    *residual = Model::value(b, x) - y;
    return true;
  }
};

template <class Model>
using Cost = ceres::AutoDiffCostFunction<Residual<Model>, 1, Model::parameters>;

template <class Model>
Eigen::VectorXd solve(const StrdSet& set) {
  Eigen::VectorXd parameters = set.start;
  ceres::Problem problem;
  for (std::size_t i = 0; i < set.x.size(); ++i) {
    problem.AddResidualBlock(new Cost<Model>(new Residual<Model>{set.x[i], set.y[i]}), nullptr,
                             parameters.data());
  }
  // Run on until round-off stops it: the certified values have 11 digits.
  ceres::Solver::Options options;
  options.linear_solver_type = ceres::DENSE_QR;
  options.max_num_iterations = 10000;
  options.function_tolerance = 1e-30;
  options.gradient_tolerance = 1e-30;
  options.parameter_tolerance = 1e-15;
  options.max_num_consecutive_invalid_steps = 100;
  options.logging_type = ceres::SILENT;
  ceres::Solver::Summary summary;
  ceres::Solve(options, &problem, &summary);
  return summary.IsSolutionUsable() ? parameters : Eigen::VectorXd();
}

template <class Model>
StrdLinearisation linearise(const StrdSet& set, const Eigen::VectorXd& parameters) {
  const auto rows = static_cast<Eigen::Index>(set.x.size());
  StrdLinearisation at{Eigen::VectorXd(rows), Eigen::MatrixXd(rows, Model::parameters)};
  for (Eigen::Index i = 0; i < rows; ++i) {
    const auto k = static_cast<std::size_t>(i);
    const Cost<Model> cost(new Residual<Model>{set.x[k], set.y[k]});
    const double* blocks[] = {parameters.data()};
    Eigen::Matrix<double, Model::parameters, 1> gradient;
    double* gradients[] = {gradient.data()};
    cost.Evaluate(blocks, &at.residuals[i], gradients);
    at.jacobian.row(i) = gradient.transpose();
  }
  return at;
}

struct Routines {
  std::function<Eigen::VectorXd(const StrdSet&)> solve;
  std::function<StrdLinearisation(const StrdSet&, const Eigen::VectorXd&)> linearise;
};

template <class Model>
Routines routines() {
  return {solve<Model>, linearise<Model>};
}

const std::map<std::string, Routines>& models() {
  static const std::map<std::string, Routines> all = {
      {"Bennett5", routines<Bennett5>()},     {"DanWood", routines<DanWood>()},
      {"Eckerle4", routines<Eckerle4>()},     {"Hahn1", routines<CubicOverCubic>()},
      {"MGH17", routines<Mgh17>()},           {"Misra1a", routines<Misra1a>()},
      {"Misra1b", routines<Misra1b>()},       {"Rat43", routines<Rat43>()},
      {"Thurber", routines<CubicOverCubic>()}};
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

Eigen::VectorXd solve_strd(const StrdSet& set) { return models().at(set.name).solve(set); }

StrdLinearisation linearise_strd(const StrdSet& set, const Eigen::VectorXd& parameters) {
  return models().at(set.name).linearise(set, parameters);
}

}  // namespace pivotrace::testing
