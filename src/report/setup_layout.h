// Which views a set-up needs, what of the machine they show, and how they share a page.
#pragma once

#include <Eigen/Geometry>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "pivotrace/machine/kinematics.h"
#include "pivotrace/plan/plan.h"
#include "report/sight.h"

namespace pivotrace::report {

/// Everything a drawing of a set-up asks again and again.
struct SetupScene {
  SetupScene(const Machine& machine_file, const Plan& made);

  const Machine& machine;
  const Plan& plan;
  MachineState state;
  RotaryAngles first{};  ///< angles of station 1
  LinearAxis upward;

  /// Stylus centre where the program starts, machine frame; without touches nowhere.
  std::optional<Eigen::Vector3d> start_mm() const;
  /// A point of the axis line as it stands at station 1; tool side: at the start.
  Eigen::Vector3d axis_point_mm(int axis) const;
  Eigen::Vector3d axis_direction(int axis) const;
  /// Angles of every station, each once, in order.
  std::vector<RotaryAngles> places() const;
  /// A stylus centre at the safe height over the start.
  std::optional<Eigen::Vector3d> safe_mm() const;
  /// Where an artefact is, machine frame; of a pin its middle.
  Eigen::Vector3d artefact_mm(int artefact, const RotaryAngles& angles_rad) const;
  /// The artefacts the plan touches.
  std::set<int> touched() const;

  /// What a rule is put to at station 1: a point of the artefact, the direction along the axis that
  /// carries it (upwards where none does), and the nearest face across that direction.
  struct Stand {
    Eigen::Vector3d at_mm;
    Eigen::Vector3d along;
    std::string face;        ///< name of the body whose face it is; empty = none is known
    double height_mm = 0.0;  ///< from the face, along `along`; negative on its other side
  };
  Stand stand_of(int artefact) const;
  /// From the carrying axis to the artefact, across it; 0 where nothing carries it.
  Eigen::Vector3d out_from_axis_mm(int artefact) const;
};

struct SetupLayout {
  std::vector<Window> windows;
  Box close_up;
  double drawing_scale = 1.0;  ///< the machine is this many times the drawing
  double bottom = 0.0;
};

/// Views one above and beside the other in third-angle projection, at the largest usual scale that fits
/// the width of a page. `top`: where they begin.
SetupLayout lay_out(const SetupScene& scene, double top);

}  // namespace pivotrace::report
