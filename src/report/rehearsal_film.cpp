#include "pivotrace/report/rehearsal_film.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <kainjow/mustache.hpp>
#include <map>
#include <sstream>

#include "base/cautions.h"
#include "base/markup.h"
#include "formats/json_writer.h"
#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/upward.h"
#include "report/charts.h"
#include "report/look.h"
#include "report/page_template.h"
#include "report/rehearsal_scene.h"

namespace pivotrace {

namespace {

using namespace report;
using formats::JsonLayout;
using formats::JsonWriter;
using kainjow::mustache::data;
using kainjow::mustache::mustache;

constexpr double view_size = 332.0;
constexpr double between_views = 16.0;
constexpr double title_height = 26.0;
/// How much of a holder is shown over what the program touches [mm].
constexpr double holder_shown_mm = 30.0;
/// The curve ends here: what is further away does not matter [mm].
constexpr double clear_most_mm = 20.0;
/// Places looked at on every move, and on every turn.
constexpr int samples_of_a_move = 4;
constexpr int samples_of_a_turn = 12;

double rounded(double value, double step) { return std::round(value / step) * step; }

/// Thousandths are enough for the eye; the text stays short.
double short_number(double value) { return std::round(value * 1000.0) / 1000.0; }

struct ClearSample {
  double time_s = 0.0;
  double mm = clear_most_mm;
};

class Film {
 public:
  Film(const Machine& machine, const RehearsalReport& report, const std::vector<FilmStop>& stops,
       const FilmSource& source)
      : machine_(machine),
        report_(report),
        stops_(stops),
        source_(source),
        checker_(motion_checker(machine, report.state_at_end, 0.0)),
        subject_(picture_subject(report, machine.inch)) {
    split_lines();
    sample_clearance();
    choose_views();
  }

  data all() const {
    data page;
    page.set("figure_css", figure_css());
    page.set("title", "Rehearsal of " + source_.program_file);
    page.set("made_of",
             fmt::format("{}, on a virtual machine; made {}", machine_.name, source_.date));
    page.set("verdict", verdict());
    page.set("caution", moving_machine_caution);
    page.set("still", subject_.title);
    page.set("views", views());
    page.set("line", line_text(subject_.moment.line));
    page.set("where", "");
    page.set("claim", claim());
    page.set("claim_subtitle",
             "Distance of shank and holder from anything, and of the stylus ball from anything but "
             "the surfaces it touches, over the minutes of motion");
    page.set("curve", curve());
    page.set("stations", stations());
    page.set("data", film_data());
    page.set("script", std::string(rehearsal_film_script));
    return page;
  }

 private:
  // --- words ------------------------------------------------------------------------------------

  std::string length_text(double mm, int decimals) const {
    return machine_.inch ? shown(mm / mm_per_inch, decimals + 1) + " inch"
                         : shown(mm, decimals) + " mm";
  }

  std::string verdict() const {
    const std::string counts =
        fmt::format("{} moves, {} touches, {:.1f} minutes of motion", report_.moves,
                    report_.touches.size(), report_.seconds / 60.0);
    if (report_.passed) return "Passed: it ran to its end and hit nothing. " + counts + ".";
    return "NOT PASSED. " + counts + ".";
  }

  std::string claim() const {
    if (!std::isfinite(report_.smallest_clearance.mm)) return "Nothing was ever near";
    return fmt::format(
        "Never nearer than {}: {} to {}", length_text(report_.smallest_clearance.mm, 2),
        tool_part_word(report_.smallest_clearance.tool_part), report_.smallest_clearance.body);
  }

  void split_lines() {
    std::istringstream text(source_.program);
    for (std::string line; std::getline(text, line);) {
      if (!line.empty() && line.back() == '\r') line.pop_back();
      lines_.push_back(line);
    }
  }

  std::string line_of(int number) const {
    const bool known = number >= 1 && number <= static_cast<int>(lines_.size());
    return known ? lines_[static_cast<std::size_t>(number - 1)] : std::string();
  }
  std::string line_text(int number) const {
    return fmt::format("line {}: {}", number, line_of(number));
  }

  data stations() const {
    data rows{data::type::list};
    for (const StationTime& station : report_.stations) {
      if (station.touches == 0) continue;
      std::string angles;
      for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
        angles += fmt::format("{}{} {}\xC2\xB0", i == 0 ? "" : "  ", machine_.rotary[i].letter,
                              shown(deg_from_rad(station.angles_rad[i]), 3));
      }
      data row;
      row.set("angles", angles);
      row.set("touches", fmt::format("{}", station.touches));
      row.set("seconds", fmt::format("{:.1f}", station.seconds));
      rows << row;
    }
    return rows;
  }

  // --- clearance --------------------------------------------------------------------------------

  static rehearsal::Posture posture_of(const FilmStop& stop) {
    return {stop.moment.real_mm, stop.moment.real_rad};
  }

  /// As RehearsalReport::smallest_clearance counts: a ball on its way to a surface is near it on purpose.
  double clearance_mm(const rehearsal::Posture& posture, bool probing) const {
    double least = clear_most_mm;
    for (std::size_t t = 0; t < checker_.tool().size(); ++t) {
      const rehearsal::Solid part = checker_.tool_solid(static_cast<int>(t), posture);
      const bool holder = checker_.tool()[t].part == ToolPart::holder;
      if (probing && checker_.tool()[t].is_ball()) continue;
      for (std::size_t w = 0; w < checker_.work().size(); ++w) {
        if (checker_.work()[w].artefact >= 0 && !holder) continue;
        const rehearsal::Solid body = checker_.work_solid(static_cast<int>(w), posture);
        if (rehearsal::separation_bound_mm(part, body) >= least) continue;
        least = std::min(least, std::max(0.0, rehearsal::solid_distance_mm(part, body)));
      }
    }
    return least;
  }

  bool ends_a_touch(const FilmStop& stop) const {
    constexpr double same_moment_s = 1e-6;
    return std::ranges::any_of(report_.touches, [&](const RehearsedTouch& touch) {
      return std::abs(touch.time_s - stop.time_s) < same_moment_s;
    });
  }

  void sample_clearance() {
    if (stops_.empty()) return;
    samples_.push_back({stops_.front().time_s, clearance_mm(posture_of(stops_.front()), false)});
    for (std::size_t i = 1; i < stops_.size(); ++i) {
      const rehearsal::Posture from = posture_of(stops_[i - 1]);
      const rehearsal::Posture to = posture_of(stops_[i]);
      const int count = from.angles_rad == to.angles_rad ? samples_of_a_move : samples_of_a_turn;
      const bool probing = ends_a_touch(stops_[i]);
      for (int k = 1; k <= count; ++k) {
        const double part = static_cast<double>(k) / count;
        const double time = stops_[i - 1].time_s + part * (stops_[i].time_s - stops_[i - 1].time_s);
        samples_.push_back({time, clearance_mm(rehearsal::between(from, to, part), probing)});
      }
    }
  }

  // --- views ------------------------------------------------------------------------------------

  void include(Eigen::AlignedBox3d& box, const FilmStop& stop) const {
    const rehearsal::Posture posture = posture_of(stop);
    const Eigen::Vector3d ball = checker_.ball_mm(posture);
    const double length = machine_.probe.stylus_length_mm.value_or(0.0) + holder_shown_mm;
    box.extend(ball);
    box.extend(Eigen::Vector3d(ball + length * checker_.tool_axis(posture)));
    for (std::size_t w = 0; w < checker_.work().size(); ++w) {
      if (checker_.work()[w].part_of < 0) continue;
      for (const Eigen::Vector3d& point :
           outline_points(checker_.work_solid(static_cast<int>(w), posture))) {
        box.extend(point);
      }
    }
  }

  /// One more view where an axis is seen along itself: from above, else from the right.
  void choose_views() {
    Eigen::AlignedBox3d box;
    for (const FilmStop& stop : stops_) include(box, stop);
    if (stops_.empty()) box.extend(Eigen::Vector3d(Eigen::Vector3d::Zero()));
    const LinearAxis upward = upward_axis(machine_);
    const Eigen::Vector3d up = upward_direction(machine_);
    bool upright_axis = false;
    for (const Line& line : report_.state_at_end.axis_lines) {
      upright_axis = upright_axis || std::abs(line.direction.dot(up)) > 0.9;
    }
    const Sight second = upright_axis ? top_sight(upward) : side_sight(upward);
    const double px = (view_size - 24.0) / std::max(20.0, box.sizes().maxCoeff());
    double left = 0.0;
    for (const Sight& sight : {front_sight(upward), second}) {
      views_.push_back({sight,
                        {left, title_height, left + view_size, title_height + view_size},
                        box.center(),
                        px});
      left += view_size + between_views;
    }
  }

  std::string views() const {
    const RehearsalScene scene(machine_, report_.state_at_end, subject_);
    Svg svg(figure_width, title_height + view_size + 2.0);
    for (const Window& window : views_) {
      std::string title = window.sight.title + ":";
      title += " " + direction_letter(window.sight.right) + " to the right, ";
      title += direction_letter(window.sight.up) + " up";
      svg.label({window.paper.left, title_height - 8.0}, title, Anchor::start, "strong");
    }
    svg.open_group("scene");
    for (const Window& window : views_) draw_shapes(svg, window, scene.shapes());
    svg.close_group();
    for (const Window& window : views_) svg.rect(window.paper, "frame");
    return svg.element("The machine at one moment of the run", subject_.title);
  }

  // --- the curve --------------------------------------------------------------------------------

  static constexpr Box plot = {66.0, 12.0, figure_width - 8.0, 150.0};

  double end_s() const { return std::max(1e-9, stops_.empty() ? 0.0 : stops_.back().time_s); }
  Point on_plot(const ClearSample& sample) const {
    return {plot.left + (plot.right - plot.left) * sample.time_s / end_s(),
            plot.bottom - (plot.bottom - plot.top) * sample.mm / clear_most_mm};
  }

  std::string curve() const {
    Svg svg(figure_width, plot.bottom + 30.0);
    draw_grid(svg);
    std::vector<Point> points;
    for (const ClearSample& sample : samples_) points.push_back(on_plot(sample));
    svg.polyline(thinned(points), "axis");
    svg.mark("now", "limit");
    return svg.element(claim(), "clearance over the minutes of motion");
  }

  void draw_grid(Svg& svg) const {
    const double unit = machine_.inch ? mm_per_inch : 1.0;
    for (const double share : {0.0, 0.25, 0.5, 0.75, 1.0}) {
      const double y = plot.bottom - share * (plot.bottom - plot.top);
      svg.line({plot.left, y}, {plot.right, y}, share == 0.0 ? "zero" : "grid");
      svg.label(
          {plot.left - 6.0, y + 5.0},
          shown(share * clear_most_mm / unit, machine_.inch ? 1 : 0) + (share < 1.0     ? ""
                                                                        : machine_.inch ? " in"
                                                                                        : " mm"),
          Anchor::end, "quiet");
    }
    const double minutes = end_s() / 60.0;
    const double step = nice_ceiling(std::max(0.01, minutes / 8.0));
    for (double at = 0.0; at <= minutes * (1.0 - 0.08); at += step) {
      svg.label({on_plot({60.0 * at, 0.0}).x, plot.bottom + 18.0},
                fmt::format("{:g}", rounded(at, 0.01)), Anchor::middle, "quiet");
    }
    svg.label({plot.right, plot.bottom + 18.0}, "min", Anchor::end, "quiet");
  }

  /// Lowest and highest point of every pixel: nothing near is lost.
  static std::vector<Point> thinned(const std::vector<Point>& points) {
    std::vector<Point> kept;
    for (std::size_t i = 0; i < points.size();) {
      std::size_t end = i;
      std::size_t low = i;
      std::size_t high = i;
      for (; end < points.size() && points[end].x < points[i].x + 1.0; ++end) {
        if (points[end].y > points[low].y) low = end;
        if (points[end].y < points[high].y) high = end;
      }
      kept.push_back(points[std::min(low, high)]);
      if (low != high) kept.push_back(points[std::max(low, high)]);
      i = end;
    }
    return kept;
  }

  // --- data of the script -----------------------------------------------------------------------

  static void add_numbers(JsonWriter& json, std::string_view key, const RotaryAngles& angles,
                          std::size_t count) {
    std::vector<double> numbers;
    for (std::size_t i = 0; i < count; ++i) {
      numbers.push_back(std::round(angles[i] * 1e5) / 1e5);
    }
    json.add(key, numbers);
  }

  static void add_point(JsonWriter& json, std::string_view key, const Eigen::Vector3d& p) {
    json.add(key,
             std::vector<double>{short_number(p.x()), short_number(p.y()), short_number(p.z())});
  }

  static void add_chain(JsonWriter& json, std::string_view key, const std::vector<int>& chain) {
    json.add(key, std::vector<double>(chain.begin(), chain.end()));
  }

  void add_bodies(JsonWriter& json) const {
    json.begin_array("bodies");
    for (const rehearsal::WorkSolid& body : checker_.work()) {
      json.begin_object({}, JsonLayout::one_line);
      json.add("look", look_of(body));
      add_chain(json, "chain", machine_.work_chain(body.carried_by));
      const bool ball = body.solid.shape == rehearsal::SolidShape::ball;
      json.add("radius", ball ? body.solid.radius_mm : 0.0);
      json.begin_array("points", JsonLayout::one_line);
      if (ball) {
        add_point(json, {}, body.solid.centre_mm());
      } else {
        for (const Eigen::Vector3d& p : outline_points(body.solid)) add_point(json, {}, p);
      }
      json.end();
      json.end();
    }
    json.end();
  }

  void add_tool(JsonWriter& json) const {
    json.begin_array("tool");
    for (const rehearsal::ToolSolid& part : checker_.tool()) {
      json.begin_object({}, JsonLayout::one_line);
      json.add("from", part.from_mm);
      json.add("length", part.is_ball() ? 0.0 : part.length_mm);
      json.add("radius", part.radius_mm);
      json.end();
    }
    json.end();
    add_chain(json, "tool_chain", machine_.tool_chain());
    add_point(json, "arm", report_.state_at_end.stylus_offset_mm);
  }

  void add_axes(JsonWriter& json) const {
    json.begin_array("axes");
    const MachineState& state = report_.state_at_end;
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      json.begin_object({}, JsonLayout::one_line);
      add_point(json, "point", state.axis_lines[i].point_mm);
      json.add("direction", state.axis_lines[i].direction);
      json.add("sign", state.turns[i] == TurnSense::right_hand ? 1 : -1);
      json.end();
    }
    json.end();
    std::vector<std::string> letters;
    for (const RotaryAxis& axis : machine_.rotary) letters.emplace_back(1, axis.letter);
    json.add("letters", letters);
  }

  void add_stops(JsonWriter& json) const {
    const std::size_t count = machine_.rotary.size();
    json.begin_array("stops");
    for (const FilmStop& stop : stops_) {
      json.begin_object({}, JsonLayout::one_line);
      json.add("t", short_number(stop.time_s));
      json.add("line", stop.moment.line);
      add_point(json, "shown", stop.moment.shown_mm);
      add_point(json, "real", stop.moment.real_mm);
      add_numbers(json, "angles", stop.moment.real_rad, count);
      add_numbers(json, "commanded", stop.moment.commanded_rad, count);
      json.end();
    }
    json.end();
    std::map<int, std::string> used;
    for (const FilmStop& stop : stops_) used[stop.moment.line] = line_of(stop.moment.line);
    json.begin_object("lines");
    for (const auto& [number, text] : used) json.add(std::to_string(number), text);
    json.end();
  }

  void add_views(JsonWriter& json) const {
    json.begin_array("views");
    for (const Window& window : views_) {
      json.begin_object({}, JsonLayout::one_line);
      json.add("left", window.paper.left);
      json.add("top", window.paper.top);
      json.add("width", window.paper.right - window.paper.left);
      json.add("height", window.paper.bottom - window.paper.top);
      json.add("scale", window.px_per_mm);
      add_point(json, "middle", window.middle_mm);
      json.add("right", window.sight.right);
      json.add("up", window.sight.up);
      json.end();
    }
    json.end();
  }

  void add_clearance(JsonWriter& json) const {
    json.begin_array("clear", JsonLayout::one_line);
    for (const ClearSample& sample : samples_) {
      json.add({}, std::vector<double>{short_number(sample.time_s), short_number(sample.mm)});
    }
    json.end();
    json.add("clear_most", clear_most_mm);
    json.begin_object("curve", JsonLayout::one_line);
    json.add("left", plot.left);
    json.add("right", plot.right);
    json.add("top", plot.top);
    json.add("bottom", plot.bottom);
    json.end();
  }

  static std::string look_of(const rehearsal::WorkSolid& body) {
    return body.artefact >= 0 ? "artefact-pale" : body.carried_by < 0 ? "bed" : "body";
  }

  /// When the still of the page was, in the film.
  double still_s() const {
    for (const ClearSample& sample : samples_) {
      if (report_.passed && sample.mm <= report_.smallest_clearance.mm + 0.05) return sample.time_s;
    }
    return end_s();
  }

  std::string film_data() const {
    JsonWriter json;
    json.begin_object();
    json.add("unit", machine_.inch ? mm_per_inch : 1.0);
    json.add("unit_word", machine_.inch ? "inch" : "mm");
    json.add("digits", machine_.inch ? 4 : 3);
    json.add("still", short_number(still_s()));
    add_axes(json);
    add_tool(json);
    add_bodies(json);
    add_views(json);
    add_stops(json);
    add_clearance(json);
    json.end();
    // Inside a page nothing of the data may look like the end of the script element.
    std::string text = json.take();
    for (std::size_t at = 0; (at = text.find("</", at)) != std::string::npos; at += 3) {
      text.insert(at + 1, "\\");
    }
    return text;
  }

  const Machine& machine_;
  const RehearsalReport& report_;
  const std::vector<FilmStop>& stops_;
  const FilmSource& source_;
  rehearsal::MotionChecker checker_;
  PictureSubject subject_;
  std::vector<std::string> lines_;
  std::vector<ClearSample> samples_;
  std::vector<Window> views_;
};

}  // namespace

std::string rehearsal_film(const Machine& machine, const RehearsalReport& report,
                           const std::vector<FilmStop>& stops, const FilmSource& source) {
  mustache page{std::string(rehearsal_film_template)};
  page.set_custom_escape([](const std::string& text) { return escaped(text); });
  return page.render(Film(machine, report, stops, source).all());
}

}  // namespace pivotrace
