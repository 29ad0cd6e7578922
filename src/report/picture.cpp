// One moment of a rehearsal as a drawing: side view and top view, to scale.
#include <fmt/format.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <optional>
#include <set>

#include "base/cautions.h"
#include "base/markup.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/rotation.h"
#include "pivotrace/report/rehearsal_text.h"
#include "rehearsal/clearance.h"
#include "report/svg.h"

namespace pivotrace {

namespace {

using rehearsal::MotionChecker;
using rehearsal::Posture;
using rehearsal::Solid;
using rehearsal::SolidShape;

constexpr int round_points = 48;
constexpr double view_width_px = 460.0;
constexpr double gap_px = 40.0;
constexpr double heading_px = 74.0;
constexpr double footing_px = 126.0;
/// A view shows at least this much to each side of its middle [mm].
constexpr double least_half_mm = 45.0;
/// Free space round the probe in a view [mm].
constexpr double margin_mm = 18.0;
/// Places looked at on a shank or holder to find the one nearest to a body.
constexpr int rings = 40;
constexpr double ring_px = 12.0;

constexpr const char* artefact_fill = "#b9cde0";
constexpr const char* work_fill = "#d9d9d9";
constexpr const char* tool_fill = "#e9c48f";
constexpr const char* plain_line = "#44586b";
constexpr const char* outstanding_fill = "#f2b8b0";
constexpr const char* outstanding_line = "#a3170f";

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

/// One view: which machine axes run to the right and up, and which one towards the viewer.
struct View {
  std::string title;
  int right = 0;
  int up = 2;
  int nearer = 1;
  double nearer_sign = 1.0;
  double left_px = 0.0;
};

/// A body of the drawing.
struct Shape {
  Solid solid;
  std::string name;
  const char* fill = work_fill;
  bool outstanding = false;
  bool labelled = true;
};

class Drawing {
 public:
  Drawing(const MotionChecker& checker, const Posture& posture, const PictureSubject& subject)
      : checker_(checker), posture_(posture), subject_(subject) {
    list_shapes();
    find_place();
    choose_frame();
  }

  std::string view(const View& view) {
    view_ = view;
    const auto behind = [&view](const Shape& shape) {
      return view.nearer_sign * shape.solid.centre_mm()[view.nearer];
    };
    std::vector<const Shape*> order;
    for (const Shape& shape : shapes_) order.push_back(&shape);
    std::stable_sort(order.begin(), order.end(), [&](const Shape* a, const Shape* b) {
      if (a->outstanding != b->outstanding) return b->outstanding;
      return behind(*a) < behind(*b);
    });
    std::string svg = fmt::format(
        "<g><clipPath id=\"view{0}\"><rect x=\"{1:.1f}\" y=\"{2:.1f}\" width=\"{3:.1f}\" "
        "height=\"{3:.1f}\"/></clipPath>\n<rect x=\"{1:.1f}\" y=\"{2:.1f}\" width=\"{3:.1f}\" "
        "height=\"{3:.1f}\" fill=\"#ffffff\" stroke=\"#666666\"/>\n"
        "<g clip-path=\"url(#view{0})\">\n",
        view.up, view.left_px, heading_px, view_width_px);
    for (const Shape* shape : order) svg += outline(*shape);
    svg += labels(order);
    if (place_mm_) svg += ring();
    return svg + "</g>\n" + below() + "</g>\n";
  }

 private:
  void list_shapes() {
    for (std::size_t w = 0; w < checker_.work().size(); ++w) {
      const rehearsal::WorkSolid& body = checker_.work()[w];
      const bool artefact = body.artefact >= 0;
      shapes_.push_back({checker_.work_solid(static_cast<int>(w), posture_), body.name,
                         artefact ? artefact_fill : work_fill, body.name == subject_.body, true});
    }
    for (std::size_t t = 0; t < checker_.tool().size(); ++t) {
      const rehearsal::ToolSolid& part = checker_.tool()[t];
      const bool outstanding = part.part == subject_.tool_part;
      shapes_.push_back({checker_.tool_solid(static_cast<int>(t), posture_),
                         tool_part_word(part.part), tool_fill, outstanding,
                         outstanding || part.part != ToolPart::shank});
    }
  }

  /// The place on the outstanding part of the probe that is nearest to the outstanding body.
  void find_place() {
    double nearest = std::numeric_limits<double>::infinity();
    for (const Shape& part : shapes_) {
      if (!part.outstanding || part.fill != tool_fill) continue;
      for (const Shape& body : shapes_) {
        if (!body.outstanding || body.fill == tool_fill) continue;
        for (const Eigen::Vector3d& at : surface_points(part.solid)) {
          const double distance = rehearsal::point_distance_mm(body.solid, at);
          if (distance >= nearest) continue;
          nearest = distance;
          place_mm_ = at;
          body_place_mm_ = nearest_on(body.solid, at);
        }
      }
    }
  }

  /// Point of a surface below a point outside of it: down the slope of the distance.
  static Eigen::Vector3d nearest_on(const Solid& solid, const Eigen::Vector3d& at) {
    constexpr double step_mm = 1e-4;
    Eigen::Vector3d slope;
    for (int k = 0; k < 3; ++k) {
      const Eigen::Vector3d step = step_mm * Eigen::Vector3d::Unit(k);
      slope[k] = rehearsal::point_distance_mm(solid, at + step) -
                 rehearsal::point_distance_mm(solid, at - step);
    }
    return at - rehearsal::point_distance_mm(solid, at) * slope.normalized();
  }

  static std::vector<Eigen::Vector3d> surface_points(const Solid& solid) {
    std::vector<Eigen::Vector3d> points;
    for (int ring = 0; ring <= rings; ++ring) {
      const double part = 2.0 * ring / rings - 1.0;
      const bool ball = solid.shape == SolidShape::ball;
      const double height = part * (ball ? solid.radius_mm : solid.half_length_mm);
      const double radius =
          ball ? solid.radius_mm * std::sqrt(std::max(0.0, 1.0 - part * part)) : solid.radius_mm;
      for (int k = 0; k < round_points; ++k) {
        const double phi = 2.0 * std::numbers::pi * k / round_points;
        points.emplace_back(
            solid.pose * Eigen::Vector3d(radius * std::cos(phi), radius * std::sin(phi), height));
      }
    }
    return points;
  }

  /// The whole probe and the place where the bodies are nearest are in both views.
  void choose_frame() {
    Eigen::AlignedBox3d box;
    for (const Shape& shape : shapes_) {
      if (shape.fill != tool_fill) continue;
      for (const Eigen::Vector3d& point : surface_points(shape.solid)) box.extend(point);
    }
    if (body_place_mm_) {
      const Eigen::Vector3d round = Eigen::Vector3d::Constant(margin_mm);
      box.extend(Eigen::Vector3d(*body_place_mm_ - round));
      box.extend(Eigen::Vector3d(*body_place_mm_ + round));
    }
    middle_ = box.center();
    half_mm_ = std::max(least_half_mm, 0.5 * box.sizes().maxCoeff() + margin_mm);
    half_mm_ = 5.0 * std::ceil(half_mm_ / 5.0);
  }

  double px_per_mm() const { return view_width_px / (2.0 * half_mm_); }

  Eigen::Vector2d on_paper(const Eigen::Vector3d& p) const {
    return {view_.left_px + 0.5 * view_width_px + px_per_mm() * (p - middle_)[view_.right],
            heading_px + 0.5 * view_width_px - px_per_mm() * (p - middle_)[view_.up]};
  }

  std::vector<Eigen::Vector2d> outline_on_paper(const Solid& solid) const {
    std::vector<Eigen::Vector2d> flat;
    const bool ball = solid.shape == SolidShape::ball;
    for (const Eigen::Vector3d& point : ball ? surface_points(solid) : outline_points(solid)) {
      flat.push_back(on_paper(point));
    }
    return hull_of(flat);
  }

  std::string outline(const Shape& shape) const {
    const std::string style = fmt::format(
        "fill=\"{}\" fill-opacity=\"0.65\" stroke=\"{}\" stroke-width=\"{}\"><title>{}</title>",
        shape.outstanding ? outstanding_fill : shape.fill,
        shape.outstanding ? outstanding_line : plain_line, shape.outstanding ? 2 : 1,
        escaped(shape.name));
    if (shape.solid.shape == SolidShape::ball) {
      const Eigen::Vector2d at = on_paper(shape.solid.centre_mm());
      return fmt::format("<circle cx=\"{:.2f}\" cy=\"{:.2f}\" r=\"{:.2f}\" {}</circle>\n", at.x(),
                         at.y(), shape.solid.radius_mm * px_per_mm(), style);
    }
    std::string points;
    for (const Eigen::Vector2d& point : outline_on_paper(shape.solid)) {
      points += fmt::format("{:.2f},{:.2f} ", point.x(), point.y());
    }
    return fmt::format("<polygon points=\"{}\" {}</polygon>\n", points, style);
  }

  /// The name of every body in view, in the middle of what is seen of it, one below the other where
  /// they would cover each other.
  std::string labels(const std::vector<const Shape*>& order) const {
    constexpr double line_px = 15.0;
    constexpr double letter_px = 6.8;
    struct Label {
      Eigen::Vector2d at;
      double half_width;
    };
    std::vector<Label> placed;
    if (place_mm_) placed.push_back({on_paper(*place_mm_), ring_px});
    std::set<std::string> named;
    std::string svg;
    for (auto shape = order.rbegin(); shape != order.rend(); ++shape) {
      if (!(*shape)->labelled || !named.insert((*shape)->name).second) continue;
      const std::optional<Eigen::Vector2d> seen = middle_of_seen((*shape)->solid);
      if (!seen) continue;
      Label label{*seen, 0.5 * letter_px * static_cast<double>((*shape)->name.size())};
      label.at.x() = std::clamp(label.at.x(), view_.left_px + label.half_width + 4.0,
                                view_.left_px + view_width_px - label.half_width - 4.0);
      const auto covers = [&](const Label& other) {
        return std::fabs(label.at.y() - other.at.y()) < line_px &&
               std::fabs(label.at.x() - other.at.x()) < label.half_width + other.half_width + 4.0;
      };
      while (std::any_of(placed.begin(), placed.end(), covers)) label.at.y() += line_px;
      if (label.at.y() > heading_px + view_width_px - 6.0) continue;
      placed.push_back(label);
      svg += fmt::format(
          "<text x=\"{:.1f}\" y=\"{:.1f}\" text-anchor=\"middle\" font-size=\"12\" fill=\"{}\" "
          "stroke=\"#ffffff\" stroke-width=\"3\" paint-order=\"stroke\">{}</text>\n",
          label.at.x(), label.at.y() + 4.0, (*shape)->outstanding ? outstanding_line : "#223344",
          escaped((*shape)->name));
    }
    return svg;
  }

  std::optional<Eigen::Vector2d> middle_of_seen(const Solid& solid) const {
    Eigen::AlignedBox2d frame(
        Eigen::Vector2d(view_.left_px, heading_px),
        Eigen::Vector2d(view_.left_px + view_width_px, heading_px + view_width_px));
    Eigen::AlignedBox2d box;
    for (const Eigen::Vector2d& point : outline_on_paper(solid)) box.extend(point);
    const Eigen::AlignedBox2d seen = box.intersection(frame);
    if (seen.isEmpty()) return std::nullopt;
    return seen.center();
  }

  /// Rings the place where bodies meet; those that are apart are joined by the line of their
  /// distance.
  std::string ring() const {
    const Eigen::Vector2d on_part = on_paper(*place_mm_);
    const Eigen::Vector2d on_body = on_paper(*body_place_mm_);
    const Eigen::Vector2d middle = 0.5 * (on_part + on_body);
    std::string svg = fmt::format(
        "<path d=\"M{:.2f} {:.2f}L{:.2f} {:.2f}\" stroke=\"{}\" stroke-width=\"1.5\"/>\n",
        on_part.x(), on_part.y(), on_body.x(), on_body.y(), outstanding_line);
    if ((on_part - on_body).norm() > 2.0 * ring_px) return svg;
    return svg + fmt::format(
                     "<circle cx=\"{:.2f}\" cy=\"{:.2f}\" r=\"{:.1f}\" fill=\"none\" "
                     "stroke=\"{}\" stroke-width=\"2.5\"/>\n",
                     middle.x(), middle.y(), ring_px, outstanding_line);
  }

  /// Title of the view and a bar of a round length.
  std::string below() const {
    const double bar_mm = half_mm_ > 75.0 ? 50.0 : 20.0;
    const double y = heading_px + view_width_px + 24.0;
    const double x = view_.left_px;
    const double right = x + bar_mm * px_per_mm();
    return fmt::format(
        "<text x=\"{0:.1f}\" y=\"{1:.1f}\">{2}</text>\n"
        "<path d=\"M{0:.1f} {3:.1f}v-8v4H{4:.1f}v-4v8\" fill=\"none\" stroke=\"#222222\"/>\n"
        "<text x=\"{5:.1f}\" y=\"{3:.1f}\">{6:g} mm</text>\n",
        x, y, view_.title, y + 30.0, right, right + 8.0, bar_mm);
  }

  const MotionChecker& checker_;
  Posture posture_;
  const PictureSubject& subject_;
  std::vector<Shape> shapes_;
  std::optional<Eigen::Vector3d> place_mm_;  ///< on the part of the probe that stands out
  std::optional<Eigen::Vector3d> body_place_mm_;
  Eigen::Vector3d middle_ = Eigen::Vector3d::Zero();
  double half_mm_ = least_half_mm;
  View view_;
};

std::string angles_of(const Machine& machine, const Moment& moment) {
  std::string text;
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    text += fmt::format(" {} {:.3f}", machine.rotary[i].letter,
                        deg_from_rad(moment.commanded_rad[i]) + 0.0);
  }
  return text.empty() ? text : "," + text + " deg";
}

std::string end_text(const RehearsalReport& report) {
  return report.run.problems.empty() ? "where the program stopped"
                                     : report.run.problems.front().what;
}

}  // namespace

PictureSubject picture_subject(const RehearsalReport& report) {
  if (!report.violations.empty()) {
    const Violation& violation = report.violations.back();
    return {violation.text, violation.moment, violation.tool_part, violation.body};
  }
  if (!report.passed) return {end_text(report), report.end, std::nullopt, ""};
  const Clearance& clearance = report.smallest_clearance;
  return {fmt::format("smallest clearance: {:.2f} mm from {} to {}", clearance.mm,
                      tool_part_word(clearance.tool_part), clearance.body),
          clearance.moment, clearance.tool_part, clearance.body};
}

std::string rehearsal_picture(const Machine& machine, const MachineState& state,
                              const PictureSubject& subject) {
  std::vector<std::string> ignored;
  MotionChecker checker(machine, state, rehearsal::tool_solids(machine, state, ignored),
                        rehearsal::work_solids(machine, state));
  const Moment& moment = subject.moment;
  checker.set_stylus_offset(
      turned<double>(state.stylus_offset_mm, Eigen::Vector3d::UnitZ(), moment.spindle_rad));
  Drawing drawing(checker, {moment.real_mm, moment.real_rad}, subject);
  const double width = 2.0 * view_width_px + 3.0 * gap_px;
  const double height = heading_px + view_width_px + footing_px;
  std::string svg = fmt::format(
      "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {0:.0f} {1:.0f}\" width=\"{0:.0f}\" "
      "height=\"{1:.0f}\" font-family=\"sans-serif\" font-size=\"13\">\n"
      "<rect width=\"100%\" height=\"100%\" fill=\"#f7f7f5\"/>\n"
      "<text x=\"{2:.0f}\" y=\"28\" font-size=\"16\">{3}</text>\n"
      "<text x=\"{2:.0f}\" y=\"52\">line {4}, X {5:.3f} Y {6:.3f} Z {7:.3f} mm{8}</text>\n",
      width, height, gap_px, escaped(subject.title), moment.line, moment.shown_mm.x(),
      moment.shown_mm.y(), moment.shown_mm.z(), angles_of(machine, moment));
  svg += drawing.view({"from the front: X to the right, Z up", 0, 2, 1, -1.0, gap_px});
  svg += drawing.view(
      {"from above: X to the right, Y up", 0, 1, 2, 1.0, 2.0 * gap_px + view_width_px});
  svg += report::small_print(caution(moving_machine_caution),
                             {gap_px, height - 2.0 * report::small_print_leading}, 150);
  return svg + "</svg>\n";
}

}  // namespace pivotrace
