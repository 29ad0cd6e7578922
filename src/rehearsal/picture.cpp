// One moment of a rehearsal as a drawing: side view and top view, to scale.
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

#include "pivotrace/geometry/rotation.h"
#include "pivotrace/rehearsal/rehearse.h"
#include "rehearsal/clearance.h"

namespace pivotrace {

namespace {

using rehearsal::MotionChecker;
using rehearsal::Posture;
using rehearsal::Solid;
using rehearsal::SolidShape;

constexpr int round_points = 48;
constexpr double view_width_px = 420.0;
constexpr double gap_px = 40.0;
constexpr double heading_px = 60.0;
/// How far round the stylus a view reaches [mm]: at least this, more when a touched body is large.
constexpr double view_half_mm = 60.0;

/// Points on the surface of a solid whose hull is its outline in every view.
std::vector<Eigen::Vector3d> outline_points(const Solid& solid) {
  std::vector<Eigen::Vector3d> points;
  if (solid.shape == SolidShape::box) {
    for (int k = 0; k < 8; ++k) {
      const Eigen::Vector3d corner((k & 1) != 0 ? 1.0 : -1.0, (k & 2) != 0 ? 1.0 : -1.0,
                                   (k & 4) != 0 ? 1.0 : -1.0);
      points.emplace_back(solid.pose * corner.cwiseProduct(solid.half_sides_mm));
    }
    return points;
  }
  for (int k = 0; k < round_points; ++k) {
    const double phi = 2.0 * std::numbers::pi * k / round_points;
    const Eigen::Vector3d rim(solid.radius_mm * std::cos(phi), solid.radius_mm * std::sin(phi),
                              solid.half_length_mm);
    points.emplace_back(solid.pose * rim);
    points.emplace_back(solid.pose * Eigen::Vector3d(rim.x(), rim.y(), -rim.z()));
  }
  return points;
}

double cross(const Eigen::Vector2d& o, const Eigen::Vector2d& a, const Eigen::Vector2d& b) {
  return (a - o).x() * (b - o).y() - (a - o).y() * (b - o).x();
}

/// Convex hull, counter-clockwise (Andrew's monotone chain, Inf. Proc. Letters 9, 1979).
std::vector<Eigen::Vector2d> hull_of(std::vector<Eigen::Vector2d> points) {
  std::sort(points.begin(), points.end(), [](const auto& a, const auto& b) {
    return a.x() != b.x() ? a.x() < b.x() : a.y() < b.y();
  });
  std::vector<Eigen::Vector2d> hull;
  for (int pass = 0; pass < 2; ++pass) {
    const std::size_t base = hull.size();
    for (const Eigen::Vector2d& point : points) {
      while (hull.size() >= base + 2 && cross(hull[hull.size() - 2], hull.back(), point) <= 0.0) {
        hull.pop_back();
      }
      hull.push_back(point);
    }
    hull.pop_back();
    std::reverse(points.begin(), points.end());
  }
  return hull;
}

/// One view: which machine axes run to the right and up.
struct View {
  std::string title;
  int right = 0;
  int up = 2;
  double left_px = 0.0;
};

class Drawing {
 public:
  Drawing(const MotionChecker& checker, const Posture& posture)
      : checker_(checker), posture_(posture), middle_(checker.ball_mm(posture)) {}

  std::string view(const View& view) {
    view_ = view;
    const double bottom = heading_px + view_width_px;
    std::string svg = fmt::format(
        "<g><clipPath id=\"view{0}\"><rect x=\"{1:.1f}\" y=\"{2:.1f}\" width=\"{3:.1f}\" "
        "height=\"{3:.1f}\"/></clipPath>\n",
        view.up, view.left_px, heading_px, view_width_px);
    svg += fmt::format(
        "<rect x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\" fill=\"#ffffff\" "
        "stroke=\"#666666\"/>\n",
        view.left_px, heading_px, view_width_px, view_width_px);
    svg += fmt::format("<g clip-path=\"url(#view{})\">\n", view.up);
    for (std::size_t w = 0; w < checker_.work().size(); ++w) {
      const bool artefact = checker_.work()[w].artefact >= 0;
      svg += shape(checker_.work_solid(static_cast<int>(w), posture_), checker_.work()[w].name,
                   artefact ? "#b9cde0" : "#d9d9d9", "#44586b");
    }
    for (std::size_t t = 0; t < checker_.tool().size(); ++t) {
      svg += shape(checker_.tool_solid(static_cast<int>(t), posture_), checker_.tool()[t].name,
                   "#e9b872", "#7a4d0b");
    }
    svg += "</g>\n";
    svg += fmt::format("<text x=\"{:.1f}\" y=\"{:.1f}\">{}; frame {:g} mm wide</text></g>\n",
                       view.left_px, bottom + 20.0, view.title, 2.0 * view_half_mm);
    return svg;
  }

 private:
  Eigen::Vector2d on_paper(const Eigen::Vector3d& p) const {
    const double scale = view_width_px / (2.0 * view_half_mm);
    return {view_.left_px + 0.5 * view_width_px + scale * (p - middle_)[view_.right],
            heading_px + 0.5 * view_width_px - scale * (p - middle_)[view_.up]};
  }

  std::string shape(const Solid& solid, const std::string& name, const char* fill,
                    const char* line) const {
    const std::string style = fmt::format(
        "fill=\"{}\" fill-opacity=\"0.6\" stroke=\"{}\"><title>{}</title>", fill, line, name);
    if (solid.shape == SolidShape::ball) {
      const Eigen::Vector2d at = on_paper(solid.centre_mm());
      return fmt::format("<circle cx=\"{:.2f}\" cy=\"{:.2f}\" r=\"{:.2f}\" {}</circle>\n", at.x(),
                         at.y(), solid.radius_mm * view_width_px / (2.0 * view_half_mm), style);
    }
    std::vector<Eigen::Vector2d> flat;
    for (const Eigen::Vector3d& point : outline_points(solid)) flat.push_back(on_paper(point));
    std::string points;
    for (const Eigen::Vector2d& point : hull_of(flat)) {
      points += fmt::format("{:.2f},{:.2f} ", point.x(), point.y());
    }
    return fmt::format("<polygon points=\"{}\" {}</polygon>\n", points, style);
  }

  const MotionChecker& checker_;
  Posture posture_;
  Eigen::Vector3d middle_;
  View view_;
};

std::string escaped(const std::string& text) {
  std::string safe;
  for (const char c : text) {
    switch (c) {
      case '&': safe += "&amp;"; break;
      case '<': safe += "&lt;"; break;
      case '>': safe += "&gt;"; break;
      default: safe += c;
    }
  }
  return safe;
}

}  // namespace

std::string rehearsal_picture(const Machine& machine, const MachineState& state,
                              const Moment& moment, const std::string& title) {
  std::vector<std::string> ignored;
  MotionChecker checker(machine, state, rehearsal::tool_solids(machine, state, ignored),
                        rehearsal::work_solids(machine, state));
  checker.set_stylus_offset(
      turned<double>(state.stylus_offset_mm, Eigen::Vector3d::UnitZ(), moment.spindle_rad));
  Drawing drawing(checker, {moment.real_mm, moment.real_rad});
  const double width = 2.0 * view_width_px + 3.0 * gap_px;
  const double height = heading_px + view_width_px + gap_px;
  std::string svg = fmt::format(
      "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {0:.0f} {1:.0f}\" width=\"{0:.0f}\" "
      "height=\"{1:.0f}\" font-family=\"sans-serif\" font-size=\"13\">\n"
      "<rect width=\"100%\" height=\"100%\" fill=\"#f7f7f5\"/>\n"
      "<text x=\"{2:.0f}\" y=\"26\" font-size=\"15\">{3}</text>\n"
      "<text x=\"{2:.0f}\" y=\"46\">line {4}, X {5:.3f} Y {6:.3f} Z {7:.3f} mm</text>\n",
      width, height, gap_px, escaped(title), moment.line, moment.shown_mm.x(), moment.shown_mm.y(),
      moment.shown_mm.z());
  svg += drawing.view({"from the front: X to the right, Z up", 0, 2, gap_px});
  svg += drawing.view({"from above: X to the right, Y up", 0, 1, 2.0 * gap_px + view_width_px});
  return svg + "</svg>\n";
}

}  // namespace pivotrace
