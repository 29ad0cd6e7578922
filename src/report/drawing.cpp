#include "pivotrace/report/drawing.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>
#include <set>

#include "base/cautions.h"
#include "base/markup.h"
#include "pivotrace/geometry/angle.h"
#include "plan/scene.h"
#include "report/svg.h"

namespace pivotrace {

namespace {

constexpr double view_gap = 70.0;      ///< between views and round them [drawing units]
constexpr double widest_view = 560.0;  ///< drawing units for the larger side of the machine
constexpr int outline_points = 90;

struct View {
  const char* title;
  int right;  ///< machine axis to the right
  int up;     ///< machine axis upwards
  double left = 0.0, top = 0.0, width = 0.0, height = 0.0;
};

/// Smallest box around everything drawn, machine frame [mm].
struct Box {
  Eigen::Vector3d low = Eigen::Vector3d::Constant(1e9);
  Eigen::Vector3d high = Eigen::Vector3d::Constant(-1e9);
  void include(const Eigen::Vector3d& p) {
    low = low.cwiseMin(p);
    high = high.cwiseMax(p);
  }
};

class SetupDrawing {
 public:
  SetupDrawing(const Machine& machine, const Plan& plan)
      : machine_(machine), plan_(plan), state_(nominal_state(machine)) {
    if (!plan.stations.empty()) first_ = plan.stations.front().angles_rad;
  }

  std::string draw() {
    measure();
    lay_out();
    for (const View& view : views_) draw_view(view);
    draw_legend();
    return fmt::format(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {0:.0f} {1:.0f}\" "
        "width=\"{0:.0f}\" "
        "height=\"{1:.0f}\" font-family=\"sans-serif\" font-size=\"13\">\n"
        "<title>Set-up of {2}</title>\n<rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n"
        "{3}</svg>\n",
        width_, height_, escaped(machine_.name), body_);
  }

 private:
  void measure() {
    for (const SceneBody& solid : scene_at(machine_, state_, first_)) include(solid.body);
    for (const PlannedStation& station : plan_.stations) {
      for (const SceneBody& solid : scene_at(machine_, state_, station.angles_rad)) {
        if (solid.artefact >= 0) include(solid.body);
      }
    }
    for (int corner = 0; corner < 2; ++corner) {
      Eigen::Vector3d p;
      for (int k = 0; k < 3; ++k) {
        const Range& travel = machine_.linear.travel_mm[k];
        p[k] = corner == 0 ? travel.low : travel.high;
      }
      box_.include(p);
    }
    for (const ToolBody& part : probe()) include(part.body);
  }

  void include(const ConvexBody& body) {
    for (int k = 0; k < 3; ++k) {
      for (const double sign : {-1.0, 1.0}) {
        const Eigen::Vector3d d = sign * Eigen::Vector3d::Unit(k);
        box_.include(body.support(d) + d * body.radius_mm);
      }
    }
  }

  void lay_out() {
    const Eigen::Vector3d size = box_.high - box_.low;
    scale_ = widest_view / std::max({size.x(), size.y(), size.z()});
    views_[0] = {"Front: X to the right, Z up", 0, 2};
    views_[1] = {"Side: Y to the right, Z up", 1, 2};
    views_[2] = {"Top: X to the right, Y up", 0, 1};
    for (View& view : views_) {
      view.width = scale_ * size[view.right];
      view.height = scale_ * size[view.up];
    }
    views_[0].left = views_[2].left = view_gap;
    views_[0].top = views_[1].top = view_gap;
    views_[1].left = views_[0].left + views_[0].width + view_gap;
    views_[2].top = views_[0].top + views_[0].height + view_gap;
    width_ = views_[1].left + std::max(views_[1].width, 330.0) + view_gap;
    height_ = views_[2].top + std::max(views_[2].height, 300.0) + view_gap;
  }

  double x_of(const View& view, const Eigen::Vector3d& p) const {
    return view.left + scale_ * (p[view.right] - box_.low[view.right]);
  }
  double y_of(const View& view, const Eigen::Vector3d& p) const {
    return view.top + scale_ * (box_.high[view.up] - p[view.up]);
  }

  /// Outline of a convex body as seen along the view: its furthest points all round.
  std::string outline(const View& view, const ConvexBody& body) const {
    std::string points;
    for (int i = 0; i < outline_points; ++i) {
      const double phi = 2.0 * std::numbers::pi * i / outline_points;
      Eigen::Vector3d d = Eigen::Vector3d::Zero();
      d[view.right] = std::cos(phi);
      d[view.up] = std::sin(phi);
      const Eigen::Vector3d p = body.support(d) + d * body.radius_mm;
      points += fmt::format("{:.2f},{:.2f} ", x_of(view, p), y_of(view, p));
    }
    return points;
  }

  void polygon(const View& view, const ConvexBody& body, const std::string& style) {
    body_ += fmt::format("<polygon points=\"{}\" {}/>\n", outline(view, body), style);
  }

  void draw_view(const View& view) {
    body_ += fmt::format("<g><text x=\"{:.1f}\" y=\"{:.1f}\" font-weight=\"bold\">{}</text>\n",
                         view.left, view.top - 14.0, view.title);
    draw_travel(view);
    draw_solids(view);
    draw_other_stations(view);
    draw_axes(view);
    draw_touches(view);
    for (const ToolBody& part : probe()) {
      polygon(view, part.body,
              "fill=\"#d9a441\" fill-opacity=\"0.75\" stroke=\"#7a5a14\" "
              "stroke-width=\"0.8\"");
    }
    body_ += "</g>\n";
  }

  void draw_travel(const View& view) {
    Eigen::Vector3d low, high;
    for (int k = 0; k < 3; ++k) {
      low[k] = machine_.linear.travel_mm[k].low;
      high[k] = machine_.linear.travel_mm[k].high;
    }
    body_ += fmt::format(
        "<rect x=\"{:.1f}\" y=\"{:.1f}\" width=\"{:.1f}\" height=\"{:.1f}\" fill=\"none\" "
        "stroke=\"#888\" stroke-dasharray=\"8 5\"/>\n",
        x_of(view, low), y_of(view, high), scale_ * (high[view.right] - low[view.right]),
        scale_ * (high[view.up] - low[view.up]));
    static constexpr const char* letters[] = {"X", "Y", "Z"};
    const double bottom = y_of(view, low) + 15.0;
    body_ += fmt::format(
        "<text x=\"{:.1f}\" y=\"{:.1f}\" fill=\"#666\">{} {:.0f}</text><text x=\"{:.1f}\" "
        "y=\"{:.1f}\" fill=\"#666\" text-anchor=\"end\">{} {:.0f}</text>\n",
        x_of(view, low), bottom, letters[view.right], low[view.right], x_of(view, high), bottom,
        letters[view.right], high[view.right]);
    body_ += fmt::format(
        "<text x=\"{0:.1f}\" y=\"{1:.1f}\" fill=\"#666\" text-anchor=\"end\">{2} {3:.0f}</text>"
        "<text x=\"{0:.1f}\" y=\"{4:.1f}\" fill=\"#666\" text-anchor=\"end\">{2} {5:.0f}</text>\n",
        x_of(view, low) - 5.0, y_of(view, high) + 11.0, letters[view.up], high[view.up],
        y_of(view, low), low[view.up]);
  }

  void draw_solids(const View& view) {
    std::vector<SceneBody> solids = scene_at(machine_, state_, first_);
    // Far ones first, so that the near ones cover them as they do in front of one's eyes.
    const int depth = 3 - view.right - view.up;
    const double towards = depth == 1 ? -1.0 : 1.0;  // the front view looks along +Y
    std::stable_sort(solids.begin(), solids.end(), [&](const SceneBody& a, const SceneBody& b) {
      const double behind = towards * a.body.points.front()[depth];
      const double before = towards * b.body.points.front()[depth];
      return behind != before ? behind < before : a.artefact < b.artefact;
    });
    std::set<std::string> named;
    for (const SceneBody& solid : solids) {
      const bool artefact = solid.artefact >= 0;
      polygon(view, solid.body,
              artefact ? "fill=\"#4f7cac\" stroke=\"#1f3b5c\""
                       : "fill=\"#c9ccd1\" fill-opacity=\"0.7\" stroke=\"#6d7278\"");
      if (!named.insert(solid.name).second || !solid.labelled) continue;
      const Eigen::Vector3d up = Eigen::Vector3d::Unit(view.up);
      const Eigen::Vector3d middle = 0.5 * (solid.body.support(Eigen::Vector3d::Unit(view.right)) +
                                            solid.body.support(-Eigen::Vector3d::Unit(view.right)));
      const double top = y_of(view, solid.body.support(up)) - scale_ * solid.body.radius_mm;
      const double bottom = y_of(view, solid.body.support(-up)) + scale_ * solid.body.radius_mm;
      // Inside a large body, under a small one: the probe stands above.
      const double y = bottom - top > 40.0 ? bottom - 8.0 : bottom + 14.0;
      labels_ += fmt::format(
          "<text x=\"{:.1f}\" y=\"{:.1f}\" text-anchor=\"middle\" "
          "fill=\"{}\">{}</text>\n",
          x_of(view, middle), y, artefact ? "#1f3b5c" : "#444", escaped(solid.name));
    }
    body_ += labels_;
    labels_.clear();
  }

  void draw_other_stations(const View& view) {
    std::set<RotaryAngles> seen = {first_};
    for (const PlannedStation& station : plan_.stations) {
      if (!seen.insert(station.angles_rad).second) continue;
      for (const SceneBody& solid : scene_at(machine_, state_, station.angles_rad)) {
        if (solid.artefact < 0) continue;
        polygon(view, solid.body,
                "fill=\"none\" stroke=\"#4f7cac\" stroke-width=\"0.8\" stroke-opacity=\"0.7\"");
      }
    }
  }

  void draw_axes(const View& view) {
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      const Line& line = state_.axis_lines[i];
      Eigen::Vector3d point = line.point_mm;
      // A tool-side line is given from the shown position; here the stylus at the first touch.
      if (machine_.rotary[i].side == AxisSide::tool) point += probe_shown();
      const double span = 0.5 * (box_.high - box_.low).norm();
      Eigen::Vector2d p(x_of(view, point), y_of(view, point));
      Eigen::Vector2d d(line.direction[view.right], -line.direction[view.up]);
      if (d.norm() < 0.05) {
        body_ += fmt::format(
            "<path d=\"M{0:.1f} {1:.1f} h16 M{2:.1f} {3:.1f} v16\" stroke=\"#b03a2e\"/>"
            "<text x=\"{4:.1f}\" y=\"{5:.1f}\" fill=\"#b03a2e\">{6}</text>\n",
            p.x() - 8.0, p.y(), p.x(), p.y() - 8.0, p.x() + 6.0, p.y() - 6.0,
            machine_.rotary[i].letter);
        continue;
      }
      d.normalize();
      const Eigen::Vector2d a = clipped(view, p, -d, scale_ * span);
      const Eigen::Vector2d b = clipped(view, p, d, scale_ * span);
      body_ += fmt::format(
          "<line x1=\"{:.1f}\" y1=\"{:.1f}\" x2=\"{:.1f}\" y2=\"{:.1f}\" stroke=\"#b03a2e\" "
          "stroke-width=\"0.9\" stroke-dasharray=\"14 4 3 4\"/><text x=\"{:.1f}\" y=\"{:.1f}\" "
          "fill=\"#b03a2e\">{}</text>\n",
          a.x(), a.y(), b.x(), b.y(), b.x() - 14.0 * std::abs(d.x()) + 4.0,
          b.y() - 5.0 + 16.0 * std::abs(d.y()), machine_.rotary[i].letter);
    }
  }

  /// As far from p along d as the view reaches.
  Eigen::Vector2d clipped(const View& view, const Eigen::Vector2d& p, const Eigen::Vector2d& d,
                          double longest) const {
    double t = longest;
    const auto limit = [&](double at, double step, double low, double high) {
      if (step > 1e-9) t = std::min(t, (high - at) / step);
      if (step < -1e-9) t = std::min(t, (low - at) / step);
    };
    limit(p.x(), d.x(), view.left, view.left + view.width);
    limit(p.y(), d.y(), view.top, view.top + view.height);
    return p + d * std::max(0.0, t);
  }

  void draw_touches(const View& view) {
    for (const PlannedStation& station : plan_.stations) {
      const bool here = station.angles_rad == first_;
      for (const PlannedTouch& touch : station.touches) {
        const PlacedTouch placed =
            place_touch(machine_, state_, plan_.distances, station.angles_rad, touch);
        const Eigen::Vector3d p = placed.contact_mm() + placed.approach() * state_.stylus_radius_mm;
        body_ += fmt::format("<circle cx=\"{:.2f}\" cy=\"{:.2f}\" r=\"{}\" fill=\"#c0392b\"{}/>\n",
                             x_of(view, p), y_of(view, p), here ? 2.2 : 1.3,
                             here ? "" : " fill-opacity=\"0.5\"");
      }
    }
  }

  PlacedTouch first_touch() const {
    return place_touch(machine_, state_, plan_.distances, first_,
                       plan_.stations.front().touches.front());
  }

  /// Where the control stands with the stylus over the first touch.
  Eigen::Vector3d probe_shown() const {
    if (plan_.touch_count() == 0) return Eigen::Vector3d::Zero();
    const PlacedTouch placed = first_touch();
    return shown_from_stylus(machine_, state_,
                             placed.above_mm(stand_off_gap_mm(plan_.distances, placed)), first_);
  }

  std::vector<ToolBody> probe() const {
    if (plan_.touch_count() == 0) return {};
    const PlacedTouch placed = first_touch();
    return tool_at(machine_, placed.above_mm(stand_off_gap_mm(plan_.distances, placed)),
                   placed.tool_axis);
  }

  void draw_legend() {
    const double x = views_[1].left;
    double y = views_[2].top;
    const auto line = [&](const std::string& text, const char* weight = "normal") {
      body_ += fmt::format("<text x=\"{:.1f}\" y=\"{:.1f}\" font-weight=\"{}\">{}</text>\n", x, y,
                           weight, escaped(text));
      y += 19.0;
    };
    line(machine_.name, "bold");
    if (!plan_.stations.empty()) {
      line(fmt::format("Plan {}, {} stations, {} touches", identity_of(plan_),
                       plan_.stations.size(), plan_.touch_count()));
      std::string angles;
      for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
        angles += fmt::format(" {} {:g}", machine_.rotary[i].letter, deg_from_rad(first_[i]));
      }
      line("Solid: station 1, at" + angles + " deg. Outlines: other stations.");
    }
    line("Red dots: touches. Red lines: nominal axes. Dashed: travel.");
    line("All lengths in mm, machine coordinates.");
    y += 12.0;
    const double bar_mm = std::pow(10.0, std::floor(std::log10(150.0 / scale_)));
    body_ += fmt::format(
        "<path d=\"M{0:.1f} {1:.1f} v-8 m0 4 h{2:.1f} m0 -4 v8\" stroke=\"black\" fill=\"none\"/>"
        "<text x=\"{3:.1f}\" y=\"{1:.1f}\">{4:g} mm</text>\n",
        x, y, scale_ * bar_mm, x + scale_ * bar_mm + 8.0, bar_mm);
    body_ += report::small_print(caution(moving_machine_caution), {x, y + 32.0}, 50);
  }

  const Machine& machine_;
  const Plan& plan_;
  MachineState state_;
  RotaryAngles first_{};
  Box box_;
  double scale_ = 1.0;
  std::array<View, 3> views_{};
  double width_ = 0.0, height_ = 0.0;
  std::string body_, labels_;
};

}  // namespace

std::string draw_setup(const Machine& machine, const Plan& plan) {
  return SetupDrawing(machine, plan).draw();
}

}  // namespace pivotrace
