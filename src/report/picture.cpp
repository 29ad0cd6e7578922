// One moment of a rehearsal as a drawing: where it is, and the gap at its true length.
#include <fmt/format.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <set>

#include "base/cautions.h"
#include "base/number_text.h"
#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/upward.h"
#include "report/charts.h"
#include "report/label_places.h"
#include "report/rehearsal_scene.h"

namespace pivotrace {

namespace {

using namespace report;
using Lines = std::vector<std::string>;

constexpr double view_size = 332.0;
constexpr double between_views = 16.0;
constexpr double leading = 21.0;
/// Free space round the probe in the view that shows where it is [mm].
constexpr double margin_mm = 18.0;
constexpr double least_half_mm = 45.0;
/// The close view shows at least this to each side of the gap [mm].
constexpr double least_close_mm = 8.0;

std::string length_text(double mm, bool inch, int decimals) {
  return shown(inch ? mm / mm_per_inch : mm, inch ? decimals + 1 : decimals);
}

/// The usual view in which the gap is least foreshortened, and how far to turn it until it is not at all.
struct TrueSight {
  Sight sight;
  double turned_rad = 0.0;
};

TrueSight true_sight(const Eigen::Vector3d& gap, LinearAxis upward) {
  const Eigen::Vector3d along = gap.normalized();
  Sight best = front_sight(upward);
  for (const Sight& other : {side_sight(upward), top_sight(upward)}) {
    const double foreshortened = std::abs(along.dot(other.towards()));
    if (foreshortened < std::abs(along.dot(best.towards())) - 0.02) best = other;
  }
  const Eigen::Vector3d eye = best.towards();
  const Eigen::Vector3d turned = (eye - eye.dot(along) * along).normalized();
  const Eigen::Quaterniond turn = Eigen::Quaterniond::FromTwoVectors(eye, turned);
  const double angle = std::acos(std::clamp(eye.dot(turned), -1.0, 1.0));
  return {{best.title, turn * best.right, turn * best.up}, angle};
}

std::string sight_text(const TrueSight& sight) {
  const double degrees = deg_from_rad(sight.turned_rad);
  if (degrees < 1.0) return sight.sight.title + ", gap at true length";
  return fmt::format("{}, turned by {:.0f}\xC2\xB0", sight.sight.title, degrees);
}

class Picture {
 public:
  Picture(const Machine& machine, const MachineState& state, const PictureSubject& subject)
      : machine_(machine),
        subject_(subject),
        scene_(machine, state, subject),
        upward_(upward_axis(machine)) {}

  /// `alone`: with its title and the caution, which a page says itself.
  Svg draw(bool alone) {
    const Lines title = alone ? lines_within(subject_.title, figure_width) : Lines{};
    const Lines where = lines_within(where_text(), figure_width);
    const Lines words =
        alone ? lines_within(caution(moving_machine_caution), figure_width) : Lines{};
    const double views_top = height_of(title) + height_of(where) + 40.0;
    const double foot = views_top + view_size + 40.0;
    Svg svg(figure_width, foot + height_of(words) + 10.0);
    write(svg, title, 22.0, "strong");
    write(svg, where, 22.0 + height_of(title), "quiet");
    draw_whole(svg, {0.0, views_top, view_size, views_top + view_size});
    draw_close(svg, {view_size + between_views, views_top, figure_width, views_top + view_size});
    write(svg, words, foot + 14.0, "");
    return svg;
  }

 private:
  static double height_of(const Lines& lines) {
    return leading * static_cast<double>(lines.size());
  }

  static void write(Svg& svg, const Lines& lines, double y, std::string_view look) {
    for (const std::string& line : lines) {
      svg.label({0.0, y}, line, Anchor::start, look);
      y += leading;
    }
  }

  /// Line of the program, position and angles as the control shows them.
  std::string where_text() const {
    const Moment& moment = subject_.moment;
    std::string text = fmt::format("line {}:", moment.line);
    for (int k = 0; k < 3; ++k) {
      text += fmt::format(" {} {}", "XYZ"[k], length_text(moment.shown_mm[k], machine_.inch, 3));
    }
    text += machine_.inch ? " inch" : " mm";
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      text += fmt::format(" {} {}\xC2\xB0", machine_.rotary[i].letter,
                          shown(deg_from_rad(moment.commanded_rad[i]), 3));
    }
    return text;
  }

  /// The whole probe from the front; from the side where the gap would hide behind it.
  void draw_whole(Svg& svg, const Box& paper) {
    Eigen::AlignedBox3d box;
    for (const Shape& shape : scene_.shapes()) {
      if (!shape.is_tool()) continue;
      for (const Eigen::Vector3d& point : outline_points(shape.solid)) box.extend(point);
    }
    if (scene_.gap()) box.extend(scene_.gap()->second);
    const double half = std::max(least_half_mm, 0.5 * box.sizes().maxCoeff() + margin_mm);
    const Window window{front_sight(upward_), paper, box.center(), view_size / (2.0 * half)};
    if (!scene_.gap()) {
      draw_view(svg, window, "Front: the whole probe", {});
      return;
    }
    const Point at = window.at(scene_.gap()->first);
    draw_view(svg, window, "Front: the whole probe", {{at.x - 18.0, at.y}, {at.x + 18.0, at.y}});
    svg.circle(at, 16.0, "ring");
  }

  void draw_close(Svg& svg, const Box& paper) {
    if (!scene_.gap()) return;
    const auto& [on_probe, on_body] = *scene_.gap();
    const Eigen::Vector3d gap = on_body - on_probe;
    const double length = gap.norm();
    const TrueSight sight =
        true_sight(length > 1e-3 ? gap : Eigen::Vector3d(scene_.tool_axis()), upward_);
    const double half = std::max(least_close_mm, 2.5 * length);
    const Window window{sight.sight, paper, 0.5 * (on_probe + on_body), view_size / (2.0 * half)};
    const Point a = window.at(on_probe);
    const Point b = window.at(on_body);
    LabelPlaces places = draw_view(svg, window, sight_text(sight), {a, b});
    if (length <= 1e-3 || std::hypot(a.x - b.x, a.y - b.y) < 2.0) {
      svg.circle(a, 16.0, "ring");
      return;
    }
    svg.line(a, b, "limit");
    svg.circle(a, 3.0, "touch");
    svg.circle(b, 3.0, "touch");
    places.put(length_text(length, machine_.inch, 2) + (machine_.inch ? " inch" : " mm"),
               {0.5 * (a.x + b.x), 0.5 * (a.y + b.y)}, {b.y - a.y, a.x - b.x}, "limit-word strong",
               label_size, 8.0);
  }

  /// `gap`: where labels would hide what the picture is about.
  LabelPlaces draw_view(Svg& svg, const Window& window, const std::string& title,
                        const std::vector<Point>& gap) {
    svg.label({window.paper.left, window.paper.top - 7.0}, title, Anchor::start, "strong");
    draw_shapes(svg, window, scene_.shapes());
    svg.rect(window.paper, "frame");
    draw_bar(svg, window);
    const Box inside = {window.paper.left + 4.0, window.paper.top + 4.0, window.paper.right - 4.0,
                        window.paper.bottom - 4.0};
    LabelPlaces places(svg, inside);
    if (gap.size() == 2) {
      places.avoid(gap[0], gap[1]);
      places.avoid(Box{std::min(gap[0].x, gap[1].x), std::min(gap[0].y, gap[1].y) - 10.0,
                       std::max(gap[0].x, gap[1].x), std::max(gap[0].y, gap[1].y) + 10.0});
    }
    name_shapes(places, window);
    return places;
  }

  void draw_bar(Svg& svg, const Window& window) const {
    const double unit = machine_.inch ? mm_per_inch : 1.0;
    const double amount = nice_ceiling(40.0 / window.px_per_mm / unit);
    const Point left = {window.paper.left, window.paper.bottom + 16.0};
    const Point right = {left.x + amount * unit * window.px_per_mm, left.y};
    svg.line(left, right, "tick");
    for (const Point& end : {left, right}) {
      svg.line({end.x, end.y - 5.0}, {end.x, end.y + 5.0}, "tick");
    }
    svg.label({right.x + 8.0, right.y + 5.5},
              fmt::format("{:g} {}", amount, machine_.inch ? "inch" : "mm"));
  }

  /// Every body once, beside or on what is seen of it; those that stand out first.
  void name_shapes(LabelPlaces& places, const Window& window) const {
    std::vector<const Shape*> order;
    for (const Shape& shape : scene_.shapes()) order.push_back(&shape);
    std::stable_sort(order.begin(), order.end(), [](const Shape* a, const Shape* b) {
      return a->outstanding > b->outstanding;
    });
    std::set<std::string> named;
    for (const Shape* shape : order) {
      const Outline seen = clipped(window.outline(outline_points(shape->solid)), window.paper);
      if (seen.size() < 3 || !named.insert(shape->name).second) continue;
      Box box = {1e9, 1e9, -1e9, -1e9};
      for (const Point& p : seen) {
        box = {std::min(box.left, p.x), std::min(box.top, p.y), std::max(box.right, p.x),
               std::max(box.bottom, p.y)};
      }
      if (box.right - box.left < 3.0 || box.bottom - box.top < 3.0) continue;
      places.put(shape->name, {0.5 * (box.left + box.right), 0.5 * (box.top + box.bottom)},
                 {0.0, 1.0}, shape->outstanding ? "limit-word strong" : "", label_size, -8.0);
    }
  }

  const Machine& machine_;
  const PictureSubject& subject_;
  RehearsalScene scene_;
  LinearAxis upward_;
};

std::string end_text(const RehearsalReport& report) {
  return report.run.problems.empty() ? "where the program stopped"
                                     : report.run.problems.front().what;
}

}  // namespace

PictureSubject picture_subject(const RehearsalReport& report, bool inch) {
  if (!report.violations.empty()) {
    const Violation& violation = report.violations.back();
    return {violation.text, violation.moment, violation.tool_part, violation.body};
  }
  if (!report.passed) return {end_text(report), report.end, std::nullopt, ""};
  const Clearance& clearance = report.smallest_clearance;
  if (!std::isfinite(clearance.mm)) {
    return {"Nothing described could come near the probe", report.end, std::nullopt, ""};
  }
  return {fmt::format("Smallest clearance: {} {} from {} to {}", length_text(clearance.mm, inch, 2),
                      inch ? "inch" : "mm", tool_part_word(clearance.tool_part), clearance.body),
          clearance.moment, clearance.tool_part, clearance.body};
}

std::string rehearsal_picture(const Machine& machine, const MachineState& state,
                              const PictureSubject& subject) {
  return Picture(machine, state, subject)
      .draw(true)
      .file(subject.title, "the probe and what is near it");
}

report::Svg report::rehearsal_drawing(const Machine& machine, const MachineState& state,
                                      const PictureSubject& subject) {
  return Picture(machine, state, subject).draw(false);
}

}  // namespace pivotrace
