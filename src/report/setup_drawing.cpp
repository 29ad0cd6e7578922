#include "report/setup_drawing.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>
#include <set>

#include "base/cautions.h"
#include "base/number_text.h"
#include "base/words.h"
#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/tool_axis.h"
#include "pivotrace/report/drawing.h"
#include "plan/scene.h"
#include "report/charts.h"
#include "report/label_places.h"

namespace pivotrace::report {

namespace {

constexpr double leading = 21.0;
constexpr double foot_height = 42.0;
constexpr const char* diameter_sign = "\xC3\x98";
constexpr const char* degree_sign = "\xC2\xB0";

Point plus(Point a, Point b, double times = 1.0) { return {a.x + times * b.x, a.y + times * b.y}; }
double dot(Point a, Point b) { return a.x * b.x + a.y * b.y; }
double length(Point a) { return std::hypot(a.x, a.y); }

Box around(Point at, double by) { return {at.x - by, at.y - by, at.x + by, at.y + by}; }

/// Lengths to put a rule on: tenths of a millimetre, hundredths of an inch.
std::string rule_text(double mm, bool inch) {
  std::string text = fixed_text(inch ? mm / mm_per_inch : mm, inch ? 2 : 1);
  while (text.back() == '0') text.pop_back();
  if (text.back() == '.') text.pop_back();
  if (text[0] == '-') text.replace(0, 1, "\xE2\x88\x92");
  return text;
}

std::string degrees_text(double rad) {
  return shown(deg_from_rad(rad), std::abs(std::remainder(deg_from_rad(rad), 1.0)) < 0.05 ? 0 : 1);
}

/// One view: draws into its window and finds places for its labels.
class ViewDrawing {
 public:
  ViewDrawing(Svg& svg, const SetupScene& scene, const Window& window, std::set<std::string>& said)
      : svg_(svg), scene_(scene), window_(window), said_(said), places_(svg, window.paper) {}

  void draw() {
    svg_.label({window_.paper.left, window_.paper.top - 6.0}, window_.sight.title, Anchor::start,
               "strong");
    draw_bodies();
    draw_other_stations();
    draw_tools();
    draw_axes();
    draw_triad();
    for (std::size_t i = 0; i < scene_.machine.rotary.size(); ++i) draw_turn(static_cast<int>(i));
    draw_dimensions();
    draw_safe_height();
    name_axes();
    number_stations();
    name_bodies();
  }

 private:
  bool inch() const { return scene_.machine.inch; }

  void fill(const Outline& outline, std::string_view look) {
    if (outline.size() >= 3) svg_.polygon(outline, look);
  }

  // --- bodies -----------------------------------------------------------------------------------

  std::string_view look_of(const SceneBody& solid) const {
    if (solid.artefact >= 0) return "artefact";
    if (solid.carried_by < 0) return "bed";
    const auto chain = scene_.machine.work_chain(solid.carried_by);
    const bool innermost = chain.size() == scene_.machine.work_chain(innermost_axis()).size();
    return innermost ? "body" : "body-next";
  }

  int innermost_axis() const {
    int last = -1;
    for (std::size_t i = 0; i < scene_.machine.rotary.size(); ++i) {
      if (scene_.machine.rotary[i].side == AxisSide::work) last = static_cast<int>(i);
    }
    return last;
  }

  /// Far ones first, so that near ones cover them as they do before one's eyes.
  std::vector<SceneBody> far_to_near() const {
    std::vector<SceneBody> solids = scene_at(scene_.machine, scene_.state, scene_.first);
    const Eigen::Vector3d towards = window_.sight.towards();
    const auto nearness = [&](const SceneBody& solid) {
      return towards.dot(0.5 * (solid.body.support(towards) + solid.body.support(-towards)));
    };
    std::stable_sort(solids.begin(), solids.end(), [&](const SceneBody& a, const SceneBody& b) {
      return nearness(a) < nearness(b);
    });
    return solids;
  }

  void draw_bodies() {
    for (const SceneBody& solid : far_to_near()) {
      const Outline outline = clipped(window_.outline(solid.body), window_.paper);
      if (outline.size() < 3) continue;
      const std::string_view look = look_of(solid);
      svg_.polygon(outline, look);
      if (look == "bed") hatch(outline);
      add_solid(outline);
      if (solid.artefact >= 0) keep_free(outline);
    }
  }

  void add_solid(const Outline& outline) {
    solids_.push_back(outline);
    for (std::size_t i = 0; i < outline.size(); ++i) {
      places_.rather_avoid(outline[i], outline[(i + 1) % outline.size()]);
    }
  }

  void hatch(const Outline& outline) {
    for (const auto& [from, to] : hatching(outline, 11.0)) svg_.line(from, to, "hatch");
  }

  /// No label on it.
  void keep_free(const Outline& outline) {
    Box box = {1e9, 1e9, -1e9, -1e9};
    for (const Point& p : outline) {
      box.left = std::min(box.left, p.x);
      box.right = std::max(box.right, p.x);
      box.top = std::min(box.top, p.y);
      box.bottom = std::max(box.bottom, p.y);
    }
    places_.avoid(box);
  }

  void draw_other_stations() {
    for (const RotaryAngles& angles : scene_.places()) {
      if (angles == scene_.first) continue;
      for (const SceneBody& solid : scene_at(scene_.machine, scene_.state, angles)) {
        if (solid.artefact < 0 || scene_.machine.artefacts[solid.artefact].carried_by < 0) continue;
        const Outline outline = clipped(window_.outline(solid.body), window_.paper);
        if (outline.size() < 3) continue;
        svg_.polygon(outline, "other");
        keep_free(outline);
      }
    }
  }

  // --- probe ------------------------------------------------------------------------------------

  void draw_tools() {
    if (sees_the_head_tilt()) draw_tilted_tools();
    const auto start = scene_.start_mm();
    if (!start) return;
    const Eigen::Vector3d axis = tool_axis_in_machine(scene_.machine, scene_.state, scene_.first);
    const bool from_the_spindle = std::abs(axis.dot(window_.sight.towards())) > 0.9;
    for (const ToolBody& part : tool_at(scene_.machine, *start, axis)) {
      // It would hide what it is to touch.
      if (from_the_spindle && part.part == ToolPart::holder) continue;
      const Outline outline = clipped(window_.outline(part.body), window_.paper);
      fill(outline, "probe");
      add_solid(outline);
      if (part.part != ToolPart::holder) keep_free(outline);
    }
  }

  bool sees_the_head_tilt() const {
    for (const int axis : scene_.machine.tool_chain()) {
      if (end_on(axis)) return true;
    }
    return false;
  }

  void draw_tilted_tools() {
    for (const RotaryAngles& angles : scene_.places()) {
      const auto placed = first_touch_at(angles);
      if (!placed || angles == scene_.first) continue;
      for (const ToolBody& part :
           tool_at(scene_.machine, placed->contact_mm(), placed->tool_axis)) {
        fill(clipped(window_.outline(part.body), window_.paper), "probe-other");
      }
    }
  }

  std::optional<PlacedTouch> first_touch_at(const RotaryAngles& angles) const {
    for (const PlannedStation& station : scene_.plan.stations) {
      if (station.angles_rad != angles || station.touches.empty()) continue;
      return place_touch(scene_.machine, scene_.state, scene_.plan.distances, angles,
                         station.touches.front());
    }
    return std::nullopt;
  }

  /// Where Z is seen: the height at which axes turn, with the number the control shows.
  void draw_safe_height() {
    const auto safe = scene_.safe_mm();
    const Point along_z = window_.along(Eigen::Vector3d::UnitZ());
    if (!safe || length(along_z) < 0.9) return;
    const Point at = window_.at(*safe);
    const Point across = {-along_z.y, along_z.x};
    Point from = plus(at, across, -reach_to_edge(at, {-across.x, -across.y}));
    Point to = plus(at, across, reach_to_edge(at, across));
    svg_.line(from, to, "limit");
    places_.avoid(from, to);
    const std::string words = "safe Z " + rule_text(scene_.plan.distances.safe_height, inch());
    const double half = 0.5 * text_width(words) * std::abs(across.x) + 12.0;
    const double share = std::min(0.5, half / std::hypot(to.x - from.x, to.y - from.y));
    if (from.x > to.x || from.y > to.y) std::swap(from, to);
    for (const double at_share : {share, 1.0 - share, 0.5}) {
      const Point near = plus(from, {to.x - from.x, to.y - from.y}, at_share);
      if (places_.put(words, near, along_z, "limit-word", label_size, 3.0)) return;
    }
  }

  /// How far it is from a point inside to the edge of the window.
  double reach_to_edge(Point at, Point way) const {
    double reach = 1e9;
    const auto limit = [&](double from, double step, double low, double high) {
      if (step > 1e-9) reach = std::min(reach, (high - from) / step);
      if (step < -1e-9) reach = std::min(reach, (low - from) / step);
    };
    limit(at.x, way.x, window_.paper.left, window_.paper.right);
    limit(at.y, way.y, window_.paper.top, window_.paper.bottom);
    return std::max(0.0, reach);
  }

  // --- axes -------------------------------------------------------------------------------------

  bool end_on(int axis) const {
    return std::abs(scene_.axis_direction(axis).dot(window_.sight.towards())) > 0.9;
  }

  void draw_axes() {
    for (std::size_t i = 0; i < scene_.machine.rotary.size(); ++i) {
      const int axis = static_cast<int>(i);
      const Point at = window_.at(scene_.axis_point_mm(axis));
      if (end_on(axis)) {
        line({at.x - 12.0, at.y}, {at.x + 12.0, at.y}, "axis-line");
        line({at.x, at.y - 12.0}, {at.x, at.y + 12.0}, "axis-line");
        continue;
      }
      Point way = window_.along(scene_.axis_direction(axis));
      way = {way.x / length(way), way.y / length(way)};
      if (!overlap(window_.paper, around(at, 0.5))) continue;
      const Point from = plus(at, way, -reach_to_edge(at, {-way.x, -way.y}));
      const Point to = plus(at, way, reach_to_edge(at, way));
      line(from, to, "axis-line");
      axis_ends_.emplace_back("axis " + std::string(1, scene_.machine.rotary[i].letter), to);
    }
  }

  void name_axes() {
    for (const auto& [words, end] : axis_ends_) {
      places_.put(words, end, {0.2, 1.0}, "axis-word", label_size, 4.0);
    }
  }

  void line(Point from, Point to, std::string_view look) {
    svg_.line(from, to, look);
    places_.avoid(from, to);
  }

  /// The machine directions, in the lower left corner.
  void draw_triad() {
    const Eigen::Vector3d rightward = window_.sight.right;
    const Eigen::Vector3d upward = window_.sight.up;
    const double x = window_.paper.left + (rightward.sum() < 0.0 ? 34.0 : 8.0);
    const double y = window_.paper.bottom - (upward.sum() < 0.0 ? 34.0 : 8.0);
    arrow({x, y}, {rightward.sum(), 0.0}, direction_letter(rightward.cwiseAbs()));
    arrow({x, y}, {0.0, -upward.sum()}, direction_letter(upward.cwiseAbs()));
  }

  void arrow(Point from, Point way, const std::string& letter) {
    const Point tip = plus(from, way, 26.0);
    line(from, tip, "tick");
    head(tip, way, "axis-dot");
    svg_.label({tip.x + 7.0 * way.x, tip.y + (way.y == 0.0 ? 5.5 : way.y * 6.0 + 3.0)}, letter,
               way.x < -0.5  ? Anchor::end
               : way.x > 0.5 ? Anchor::start
                             : Anchor::middle,
               "", small_label_size);
  }

  void head(Point tip, Point way, std::string_view look) {
    const Point side = {-way.y, way.x};
    const Point foot = plus(tip, way, -9.0);
    svg_.polygon({tip, plus(foot, side, 4.5), plus(foot, side, -4.5)}, look);
  }

  /// Which way a positive command turns, where an axis is seen along itself.
  void draw_turn(int axis) {
    if (!end_on(axis)) return;
    const Point centre = window_.at(scene_.axis_point_mm(axis));
    const double radius = turn_radius(axis, centre);
    const double toward = scene_.axis_direction(axis).dot(window_.sight.towards());
    const bool right = scene_.state.turns[static_cast<std::size_t>(axis)] == TurnSense::right_hand;
    const double against_clock = (toward > 0.0) == right ? 1.0 : -1.0;
    const double middle = free_side(axis, centre);
    std::vector<Point> arc;
    for (int i = 0; i <= 20; ++i) {
      const double angle = middle + against_clock * (i / 20.0 - 0.5) * 1.6;
      arc.push_back({centre.x + radius * std::cos(angle), centre.y - radius * std::sin(angle)});
      if (i > 0) places_.avoid(arc[arc.size() - 2], arc.back());
    }
    svg_.polyline(arc, "turn");
    const Point last = arc.back();
    const Point out = {(last.x - centre.x) / radius, (last.y - centre.y) / radius};
    const Point way = {against_clock * out.y, -against_clock * out.x};
    head(plus(last, way, 7.0), way, "turn-head");
    places_.put("+" + std::string(1, scene_.machine.rotary[static_cast<std::size_t>(axis)].letter),
                last, out, "axis-word strong", label_size, 8.0);
  }

  double turn_radius(int axis, Point centre) const {
    if (scene_.machine.rotary[static_cast<std::size_t>(axis)].side == AxisSide::tool) return 26.0;
    for (const PlannedStation& station : scene_.plan.stations) {
      for (const PlannedTouch& touch : station.touches) {
        if (scene_.machine.artefacts[touch.artefact].carried_by < axis) continue;
        const Point at = window_.at(scene_.artefact_mm(touch.artefact, scene_.first));
        const double away = std::hypot(at.x - centre.x, at.y - centre.y);
        return away < radius_px() ? radius_px() + 14.0 : std::clamp(0.6 * away, 18.0, 60.0);
      }
    }
    return 30.0;
  }

  /// The direction from the axis in which the fewest things are, against the clock from the right.
  double free_side(int axis, Point centre) const {
    double best = 0.0;
    double most = -1.0;
    for (int k = 0; k < 24; ++k) {
      const double angle = 2.0 * std::numbers::pi * k / 24.0;
      const double radius = turn_radius(axis, centre);
      const Point at = {centre.x + radius * std::cos(angle), centre.y - radius * std::sin(angle)};
      double nearest = 1e9;
      for (const RotaryAngles& angles : scene_.places()) {
        for (std::size_t a = 0; a < scene_.machine.artefacts.size(); ++a) {
          const Point other = window_.at(scene_.artefact_mm(static_cast<int>(a), angles));
          nearest = std::min(nearest, std::hypot(at.x - other.x, at.y - other.y));
        }
      }
      if (nearest <= most) continue;
      most = nearest;
      best = angle;
    }
    return best;
  }

  // --- stations ---------------------------------------------------------------------------------

  /// The stations whose artefact stands at one place, by number in the order touched.
  using NumbersByPlace = std::map<RotaryAngles, std::vector<std::string>>;

  /// In the view along the axis that carries a station to its place: its number, there.
  void number_stations() {
    for (std::size_t i = 0; i < scene_.machine.rotary.size(); ++i) {
      if (end_on(static_cast<int>(i))) number_stations_of(static_cast<int>(i));
    }
    if (is_ground_plan()) number_stations_left();
  }

  bool is_ground_plan() const { return window_.sight.title == top_sight(scene_.upward).title; }

  /// Stations to which more than one axis turned: from above, where all are seen apart.
  void number_stations_left() {
    std::set<RotaryAngles> done;
    for (std::size_t i = 0; i < scene_.machine.rotary.size(); ++i) {
      for (const auto& [angles, there] : numbers_by_place(static_cast<int>(i))) done.insert(angles);
    }
    NumbersByPlace numbers;
    for (const PlannedStation& station : scene_.plan.stations) {
      if (done.contains(station.angles_rad) || station.touches.empty()) continue;
      numbers[station.angles_rad].push_back(station.label);
    }
    Point middle;
    for (const auto& [angles, there] : numbers) {
      middle = plus(middle, window_.at(first_touch_at(angles)->centre_mm),
                    1.0 / static_cast<double>(numbers.size()));
    }
    for (const auto& [angles, there] : numbers) {
      const Point at = window_.at(first_touch_at(angles)->centre_mm);
      put_numbers(there, at, {at.x - middle.x, at.y - middle.y}, 2.0 + radius_px());
    }
  }

  /// Stations that differ from the first only by this axis, by place.
  NumbersByPlace numbers_by_place(int axis) const {
    NumbersByPlace numbers;
    for (const PlannedStation& station : scene_.plan.stations) {
      RotaryAngles others = station.angles_rad;
      others[axis] = scene_.first[axis];
      if (others != scene_.first || station.touches.empty()) continue;
      numbers[station.angles_rad].push_back(station.label);
    }
    return numbers;
  }

  void number_stations_of(int axis) {
    const Point centre = window_.at(scene_.axis_point_mm(axis));
    const bool tilts = scene_.machine.rotary[static_cast<std::size_t>(axis)].side == AxisSide::tool;
    for (const auto& [angles, numbers] : numbers_by_place(axis)) {
      const auto placed = first_touch_at(angles);
      if (!placed) continue;
      const Point from = tilts ? window_.at(placed->contact_mm()) : centre;
      const Point at = tilts ? tool_top(*placed) : window_.at(placed->centre_mm);
      if (length({at.x - from.x, at.y - from.y}) < radius_px()) continue;  // it stays on its axis
      put_numbers(numbers, at, {at.x - from.x, at.y - from.y}, tilts ? 8.0 : 8.0 + radius_px());
    }
  }

  /// Where the numbers of a place find no room side by side, each finds its own.
  void put_numbers(const std::vector<std::string>& numbers, const Point& at, const Point& outward,
                   double nearest) {
    const auto put = [&](const std::string& text) {
      return places_.put(text, at, outward, "strong", label_size, nearest);
    };
    if (put(joined(numbers))) return;
    for (const std::string& number : numbers) put(number);
  }

  Point tool_top(const PlacedTouch& placed) const {
    const double length = scene_.machine.probe.stylus_length_mm.value_or(40.0);
    return window_.at(placed.contact_mm() + length * placed.tool_axis);
  }

  double radius_px() const {
    double radius = 0.0;
    for (const ArtefactPlace& place : scene_.state.artefacts)
      radius = std::max(radius, place.radius_mm);
    return radius * window_.px_per_mm;
  }

  // --- dimensions -------------------------------------------------------------------------------

  void draw_dimensions() {
    for (const int artefact : scene_.touched()) {
      const SetupScene::Stand stand = scene_.stand_of(artefact);
      const Eigen::Vector3d out = scene_.out_from_axis_mm(artefact);
      if (!stand.face.empty()) {
        dimension(fmt::format("height {}", artefact), stand.at_mm,
                  stand.at_mm - stand.height_mm * stand.along, std::abs(stand.height_mm), out);
      }
      if (out.norm() < 1.0) continue;
      dimension(fmt::format("radius {}", artefact), stand.at_mm, stand.at_mm - out, out.norm(),
                Eigen::Vector3d::Zero());
    }
  }

  int covered(Point from, Point to) const {
    int count = 0;
    for (int i = 0; i <= 24; ++i) {
      const Point at = plus(from, {to.x - from.x, to.y - from.y}, i / 24.0);
      for (const Outline& solid : solids_) count += is_inside(solid, at) ? 1 : 0;
    }
    return count;
  }

  /// A dimension line beside two points, on the side where the fewest bodies are. `face_below`: from
  /// the second point to the body whose face it marks.
  void dimension(const std::string& what, const Eigen::Vector3d& p_mm, const Eigen::Vector3d& q_mm,
                 double mm, const Eigen::Vector3d& face_below) {
    Point way = window_.along((p_mm - q_mm).normalized());
    if (said_.contains(what) || length(way) < 0.95) return;
    way = {way.x / length(way), way.y / length(way)};
    const Point side = {-way.y, way.x};
    const Point p = window_.at(p_mm);
    const Point q = window_.at(q_mm);
    double best_cost = 1e9;
    double best_level = 0.0;
    for (const double sign : {1.0, -1.0}) {
      for (const double step : {20.0, 30.0, 42.0, 56.0, 72.0, 92.0}) {
        const double edge = std::max(sign * dot(p, side), sign * dot(q, side));
        const double level = sign * (edge + step);
        const Point a = plus(p, side, level - dot(p, side));
        const Point b = plus(q, side, level - dot(q, side));
        if (!overlap(window_.paper, around(a, 4.0)) || !overlap(window_.paper, around(b, 4.0)))
          continue;
        const double cost = 10.0 * covered(a, b) + 0.1 * step;
        if (cost >= best_cost) continue;
        best_cost = cost;
        best_level = level;
      }
    }
    if (best_cost > 1e8) return;
    said_.insert(what);
    // Down the face it is taken from, to where that face is seen.
    line(q, window_.at(q_mm - face_below), "dim");
    draw_dimension(plus(p, side, best_level - dot(p, side)),
                   plus(q, side, best_level - dot(q, side)), p, q, rule_text(mm, inch()));
  }

  void draw_dimension(Point a, Point b, Point p, Point q, const std::string& text) {
    line(p, a, "dim");
    line(q, b, "dim");
    line(a, b, "dim");
    for (const Point& end : {a, b}) {
      svg_.line({end.x - 4.0, end.y + 4.0}, {end.x + 4.0, end.y - 4.0}, "tick");
    }
    const Point away = {0.5 * (a.x + b.x - p.x - q.x), 0.5 * (a.y + b.y - p.y - q.y)};
    places_.put(text, {0.5 * (a.x + b.x), 0.5 * (a.y + b.y)}, away, "", label_size, 4.0);
  }

  // --- names ------------------------------------------------------------------------------------

  Point middle_of(const Outline& outline) const {
    Point sum;
    for (const Point& p : outline) sum = plus(sum, p, 1.0 / static_cast<double>(outline.size()));
    return sum;
  }

  std::string words_for(const SceneBody& solid) const {
    if (solid.artefact >= 0) {
      const Artefact& artefact = scene_.machine.artefacts[static_cast<std::size_t>(solid.artefact)];
      if (!artefact.diameter_mm) return artefact.name;
      return artefact.name + " " + diameter_sign + " " + rule_text(*artefact.diameter_mm, inch());
    }
    if (solid.carried_by < 0) return solid.name + ", stands";
    return solid.name + ", on " + scene_.machine.rotary[solid.carried_by].letter;
  }

  void name_bodies() {
    for (const SceneBody& solid : scene_at(scene_.machine, scene_.state, scene_.first)) {
      if (said_.contains(solid.name)) continue;
      const Outline outline = clipped(window_.outline(solid.body), window_.paper);
      if (outline.size() < 3) continue;
      const double off = solid.artefact >= 0 ? radius_px() + 4.0 : solid.labelled ? -6.0 : 6.0;
      const bool named = places_.put(solid.labelled ? words_for(solid) : stem_words(solid),
                                     middle_of(outline), {1.0, 0.3}, "", label_size, off);
      if (named) said_.insert(solid.name);
    }
    name_probe();
  }

  std::string stem_words(const SceneBody& solid) const {
    for (const Artefact& artefact : scene_.machine.artefacts) {
      if (!artefact.stem || solid.name != "stem of " + artefact.name) continue;
      return std::string("stem ") + diameter_sign + " " +
             rule_text(artefact.stem->diameter_mm, inch()) + ", " +
             rule_text(artefact.stem->length_mm, inch());
    }
    return solid.name;
  }

  /// Where the spindle is seen from the side.
  void name_probe() {
    const auto start = scene_.start_mm();
    const Eigen::Vector3d axis = tool_axis_in_machine(scene_.machine, scene_.state, scene_.first);
    if (!start || said_.contains("stylus") || std::abs(axis.dot(window_.sight.towards())) > 0.5)
      return;
    said_.insert("stylus");
    const Probe& probe = scene_.machine.probe;
    places_.put(
        std::string("stylus ") + diameter_sign + " " + rule_text(probe.stylus_diameter_mm, inch()),
        window_.at(*start), {-1.0, -0.2}, "", label_size,
        6.0 + probe.stylus_radius_mm() * window_.px_per_mm);
    if (!probe.stylus_length_mm) return;
    places_.put(rule_text(*probe.stylus_length_mm, inch()) + " free",
                window_.at(*start + 0.6 * *probe.stylus_length_mm * axis), {-1.0, -0.2}, "",
                label_size, 6.0);
  }

  Svg& svg_;
  const SetupScene& scene_;
  const Window& window_;
  std::set<std::string>& said_;  ///< what a view before this one has told already
  LabelPlaces places_;
  std::vector<Outline> solids_;
  std::vector<std::pair<std::string, Point>> axis_ends_;
};

/// The touches of station 1 on its first artefact, enlarged, as the spindle sees them.
class CloseUp {
 public:
  CloseUp(Svg& svg, const SetupScene& scene, const Box& box)
      : svg_(svg), scene_(scene), box_(box), places_(svg, box) {}

  void draw() {
    if (scene_.plan.touch_count() == 0 || scene_.plan.stations.front().touches.empty()) return;
    svg_.label({box_.left, box_.top - 6.0}, "Touches, station 1", Anchor::start, "strong");
    svg_.label({box_.left, box_.top + 12.0}, "from the spindle", Anchor::start, "quiet");
    box_.top += 18.0;
    choose_window();
    draw_artefact();
    draw_touches();
  }

 private:
  const PlannedStation& station() const { return scene_.plan.stations.front(); }
  int artefact() const { return station().touches.front().artefact; }

  PlacedTouch placed(const PlannedTouch& touch) const {
    return place_touch(scene_.machine, scene_.state, scene_.plan.distances, scene_.first, touch);
  }

  std::vector<PlannedTouch> touches() const {
    std::vector<PlannedTouch> touches;
    for (const PlannedTouch& touch : station().touches) {
      if (touch.artefact == artefact()) touches.push_back(touch);
    }
    return touches;
  }

  void choose_window() {
    const Eigen::Matrix3d tool = tool_rotation(scene_.machine, scene_.state, scene_.first);
    window_.sight = {"", tool.col(0), tool.col(1)};
    Eigen::AlignedBox3d box;
    const double grown = 2.0 * scene_.state.stylus_radius_mm;
    const auto extend = [&](const Eigen::Vector3d& p) {
      box.extend(Eigen::Vector3d(p - Eigen::Vector3d::Constant(grown)));
      box.extend(Eigen::Vector3d(p + Eigen::Vector3d::Constant(grown)));
    };
    for (const PlannedTouch& touch : touches()) {
      extend(placed(touch).contact_mm());
      extend(placed(touch).centre_mm);
    }
    window_.middle_mm = box.center();
    const Eigen::Vector3d size = box.sizes();
    const double wide = window_.sight.right.cwiseAbs().dot(size);
    const double high = window_.sight.up.cwiseAbs().dot(size);
    window_.px_per_mm = std::min((box_.right - box_.left - 40.0) / std::max(1.0, wide),
                                 (box_.bottom - box_.top - 30.0) / std::max(1.0, high));
    window_.paper = box_;
  }

  void draw_artefact() {
    for (const SceneBody& solid : scene_at(scene_.machine, scene_.state, scene_.first)) {
      if (solid.artefact != artefact()) continue;
      const Outline outline = clipped(window_.outline(solid.body), window_.paper);
      if (outline.size() >= 3) svg_.polygon(outline, "body");
    }
  }

  void draw_touches() {
    int number = 0;
    for (const PlannedTouch& touch : touches()) {
      const PlacedTouch at = placed(touch);
      const Point ball = window_.at(at.contact_mm());
      const Point contact =
          window_.at(at.contact_mm() + at.approach() * scene_.state.stylus_radius_mm);
      svg_.circle(ball, scene_.state.stylus_radius_mm * window_.px_per_mm, "probe-other");
      svg_.circle(contact, 4.5, "touch");
      places_.avoid(around(contact, 5.0));
      numbered_.emplace_back(std::to_string(++number), contact, ball);
    }
    const Point middle = window_.at(window_.middle_mm);
    for (const auto& [text, contact, ball] : numbered_) {
      Point out = {ball.x - contact.x, ball.y - contact.y};
      if (length(out) < 2.0) out = {middle.x - contact.x + 1.0, middle.y - contact.y - 1.0};
      places_.put(text, contact, out, "strong", label_size, 7.0);
    }
  }

  Svg& svg_;
  const SetupScene& scene_;
  Box box_;
  LabelPlaces places_;
  Window window_;
  std::vector<std::tuple<std::string, Point, Point>> numbered_;
};

/// Third angle: what is seen from the left of a cone stands at its left.
void draw_projection_symbol(Svg& svg, Point at) {
  svg.circle({at.x + 12.0, at.y}, 10.0, "frame");
  svg.circle({at.x + 12.0, at.y}, 5.0, "frame");
  svg.polygon({{at.x + 32.0, at.y - 5.0},
               {at.x + 56.0, at.y - 10.0},
               {at.x + 56.0, at.y + 10.0},
               {at.x + 32.0, at.y + 5.0}},
              "frame");
  svg.line({at.x - 4.0, at.y}, {at.x + 62.0, at.y}, "dim");
  svg.line({at.x + 12.0, at.y - 14.0}, {at.x + 12.0, at.y + 14.0}, "dim");
}

std::string scale_text(double drawing_scale) {
  if (drawing_scale < 1.0) return fmt::format("{:g} : 1", 1.0 / drawing_scale);
  return fmt::format("1 : {:g}", drawing_scale);
}

void draw_scale_bar(Svg& svg, Point at, double px_per_mm, bool inch) {
  const double unit_px = inch ? px_per_mm * mm_per_inch : px_per_mm;
  const double amount = nice_ceiling(60.0 / unit_px);
  const double right = at.x + amount * unit_px;
  svg.line(at, {right, at.y}, "tick");
  svg.line({at.x, at.y - 5.0}, {at.x, at.y + 5.0}, "tick");
  svg.line({right, at.y - 5.0}, {right, at.y + 5.0}, "tick");
  svg.label({right + 8.0, at.y + 5.5}, fmt::format("{:g} {}", amount, inch ? "inch" : "mm"));
}

void draw_foot(Svg& svg, const SetupScene& scene, const SetupLayout& layout, double top) {
  draw_projection_symbol(svg, {6.0, top + 16.0});
  svg.label({80.0, top + 21.5},
            "third angle, " + scale_text(layout.drawing_scale) + " printed full size");
  draw_scale_bar(svg, {440.0, top + 16.0}, layout.windows.front().px_per_mm, scene.machine.inch);
}

/// What the lines of the drawing mean.
std::string notes_of(const SetupScene& scene) {
  std::string solid = "Solid: station 1,";
  for (std::size_t i = 0; i < scene.machine.rotary.size(); ++i) {
    solid += fmt::format(" {} {}{}", scene.machine.rotary[i].letter, degrees_text(scene.first[i]),
                         degree_sign);
  }
  return solid + ". Outlines: the others.";
}

using Lines = std::vector<std::string>;

double height_of(const Lines& lines) { return leading * static_cast<double>(lines.size()); }

void write(Svg& svg, const Lines& lines, Point first) {
  for (const std::string& line : lines) {
    svg.label(first, line);
    first.y += leading;
  }
}

/// How high a caution of these lines is, in its heavy frame.
double caution_height(const Lines& lines) { return height_of(lines) + 24.0; }

void draw_caution(Svg& svg, const Lines& lines) {
  svg.rect({2.0, 2.0, figure_width - 2.0, caution_height(lines) - 8.0}, "heavy");
  write(svg, lines, {14.0, 24.0});
}

}  // namespace

Svg setup_drawing(const Machine& machine, const Plan& plan, bool with_caution) {
  const SetupScene scene(machine, plan);
  const Lines words = lines_within(caution(moving_machine_caution), figure_width - 28.0);
  const double top = with_caution ? caution_height(words) : 0.0;
  const Lines notes = lines_within(notes_of(scene), figure_width);
  const SetupLayout layout = lay_out(scene, top);
  Svg svg(figure_width, layout.bottom + foot_height + height_of(notes));
  if (with_caution) draw_caution(svg, words);
  std::set<std::string> said;
  for (const Window& window : layout.windows) {
    ViewDrawing(svg, scene, window, said).draw();
  }
  CloseUp(svg, scene, layout.close_up).draw();
  draw_foot(svg, scene, layout, layout.bottom);
  write(svg, notes, {0.0, layout.bottom + foot_height + 8.0});
  return svg;
}

}  // namespace pivotrace::report

namespace pivotrace {

std::string draw_setup(const Machine& machine, const Plan& plan) {
  const report::Svg svg = report::setup_drawing(machine, plan, true);
  return svg.file("Set-up of " + machine.name,
                  fmt::format("{} stations, {} touches", plan.stations.size(), plan.touch_count()));
}

}  // namespace pivotrace
