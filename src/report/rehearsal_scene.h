// One moment of a rehearsal as shapes to draw.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "pivotrace/report/rehearsal_text.h"
#include "rehearsal/clearance.h"
#include "report/sight.h"

namespace pivotrace::report {

/// A body of the drawing.
struct Shape {
  rehearsal::Solid solid;
  std::string name;
  std::string look;  ///< "artefact-pale", "body", "bed", "probe"
  bool outstanding = false;

  bool is_tool() const { return look == "probe"; }
};

/// Points whose hull is the outline of a solid in every view.
std::vector<Eigen::Vector3d> outline_points(const rehearsal::Solid& solid);

/// The bodies of a virtual machine, its spindle turned so far.
rehearsal::MotionChecker motion_checker(const Machine& machine, const MachineState& state,
                                        double spindle_rad);

/// Everything solid on the virtual machine as it was at some moment.
class RehearsalScene {
 public:
  RehearsalScene(const Machine& machine, const MachineState& state, const PictureSubject& subject);

  const std::vector<Shape>& shapes() const { return shapes_; }
  /// Nearest places of the two bodies that stand out: on the probe, on the body.
  const std::optional<std::pair<Eigen::Vector3d, Eigen::Vector3d>>& gap() const { return gap_; }
  Eigen::Vector3d tool_axis() const { return tool_axis_; }

 private:
  void list(const rehearsal::MotionChecker& checker, const rehearsal::Posture& posture,
            const PictureSubject& subject);
  void find_gap();

  std::vector<Shape> shapes_;
  std::optional<std::pair<Eigen::Vector3d, Eigen::Vector3d>> gap_;
  Eigen::Vector3d tool_axis_ = Eigen::Vector3d::UnitZ();
};

/// The drawing of rehearsal_picture() for a page that says title and caution itself.
Svg rehearsal_drawing(const Machine& machine, const MachineState& state,
                      const PictureSubject& subject);

/// Draws the shapes of a scene into a window, far ones first, hatched where they stand on the bed.
void draw_shapes(Svg& svg, const Window& window, const std::vector<Shape>& shapes);

}  // namespace pivotrace::report
