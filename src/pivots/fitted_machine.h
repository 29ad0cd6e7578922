// The kinematics a fit result describes, and how its uncertainties reach anything computed from it.
#pragma once

#include <Eigen/Core>
#include <functional>
#include <vector>

#include "pivotrace/machine/kinematics.h"
#include "pivotrace/results/result.h"

namespace pivotrace {

enum class Covariance {
  repeatable,  ///< compares two surveys of one set-up
  absolute,    ///< what is written, cut or set
};

/// Machine and axis lines as fitted. Rotary axes in the order of the result.
class FittedMachine {
 public:
  explicit FittedMachine(const FitResult& result);

  /// Letters, sides and turns only; travels and the rest are not in a result.
  const Machine& machine() const { return machine_; }
  const MachineState& fitted() const { return fitted_; }
  /// The lines of the machine file.
  MachineState nominal() const;
  /// Fitted centres with nominal directions: what a work offset can bring, which shifts but cannot
  /// lean. Centres are those of the quoted planes.
  MachineState centres_only() const;

  /// Index of the innermost work-side axis, -1 when there is none.
  int last_work_axis() const;

  /// Standard uncertainties' covariance of g(lines), first order: J C J', J by central differences
  /// along the stated parameters (centre coordinates, orientation angles).
  Eigen::MatrixXd covariance_of(const std::function<Eigen::VectorXd(const MachineState&)>& g,
                                Covariance kind = Covariance::absolute) const;

  /// Largest U95 / u of the estimates: never too small for a combination of them.
  double coverage_factor(Covariance kind = Covariance::absolute) const;

 private:
  struct Parameter {
    int axis = 0;
    Estimate estimate;
    ValueName name;  ///< a centre coordinate or an orientation
  };
  MachineState moved(const Parameter& parameter, double step) const;
  Eigen::MatrixXd parameter_covariance(Covariance kind) const;

  Machine machine_;
  MachineState fitted_;
  std::vector<Line> nominal_lines_;
  std::vector<Parameter> parameters_;
  JointCovariance joint_;
};

}  // namespace pivotrace
