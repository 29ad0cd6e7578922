#include "pivotrace/cycle/make_cycle.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>

#include "control/step_recorder.h"
#include "cycle/cycle_geometry.h"
#include "cycle/cycle_layout.h"
#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/planar_sums.h"
#include "pivotrace/geometry/rotation.h"
#include "pivotrace/plan/check_plan.h"

namespace pivotrace {

namespace {

constexpr std::array<char, 3> linear_letters = {'X', 'Y', 'Z'};
constexpr std::array<const char*, 6> column_names = {"out X",   "out Y",   "out Z",
                                                     "share X", "share Y", "share Z"};

double column_of(const CycleTouch& touch, int column) {
  return tidy(column < 3 ? touch.direction[column] : touch.share[column - 3]);
}

/// Where in the plan the steps being recorded stand: numbers are known when written out, -1 (and a
/// counter in `index`) inside a loop.
struct Standing {
  const Segment* segment = nullptr;
  int segment_number = 1;
  Value stay;
  int known_stay = -1;
  std::size_t visit = 0;
  std::optional<bool> measures;  ///< the measuring pass, a finding pass, or decided by the program
  Condition in_measuring_pass;

  const Stay& first() const { return segment->stays.front(); }
  const Visit& first_visit() const { return first().visits[visit]; }
  bool looped() const { return known_stay < 0; }
};

constexpr std::array<const char*, 3> empty_names = {"empty X", "empty Y", "empty Z"};

Value proof_value(const Stay& stay) { return count(static_cast<int>(stay.proof)); }

bool uses_proof(const Segment& segment, TurnProof proof) {
  return std::any_of(segment.stays.begin(), segment.stays.end(),
                     [proof](const Stay& stay) { return stay.proof == proof; });
}

/// Feed of the feeler in finding feeds: it has a long way, and the slides must stop within what a
/// stylus gives. Common practice, no source.
constexpr double feeler_feed_factor = 2.0;

/// A touch that ends this near to where it gives up has met nothing, whatever the control says of
/// it [mm]: common practice, no source. Far above rounding, far below what a stylus gives.
constexpr double missed_mm = 0.05;

/// A feed a person would set: two digits in the program's unit, never faster than asked for.
double round_feed(double mm_per_min, bool inch) {
  const double unit = inch ? mm_per_inch : 1.0;
  const double feed = mm_per_min / unit;
  if (!(feed > 0.0)) return mm_per_min;
  const double step = std::pow(10.0, std::floor(std::log10(feed)) - 1.0);
  return std::floor(feed / step * (1.0 + 1e-12)) * step * unit;
}

/// Values of one artefact that the program works out from its parameters.
struct ArtefactValues {
  Value reach;   ///< centre to stylus centre at contact
  Value away;    ///< centre to stylus centre before each touch
  Value look;    ///< centre to stylus centre where a touch gives up
  Value height;  ///< travel plane above the centre
  double side = 1.0;
};

class CycleBuilder {
 public:
  CycleBuilder(const Machine& machine, const Plan& plan, const CycleOptions& options)
      : machine_(machine),
        plan_(plan),
        options_(options),
        state_(nominal_state(machine)),
        layout_(lay_out(machine, state_, plan, options.watched)),
        steps_(program_),
        geometry_(machine, state_, steps_) {}

  Expected<ControlProgram> build();

 private:
  void check();
  void write_summary();
  void write_header();
  void write_parameters();
  void write_positions();
  void write_derived();
  void write_artefact_values(const CycleTarget& target);
  void write_retracts();
  void write_tables();
  void write_touch_tables(const Standing& at, const std::vector<CycleTouch>& rows);
  void write_stay_table(const Standing& at, const std::string& name,
                        const std::function<Value(const Stay&)>& value,
                        const std::function<bool(const Stay&)>& is_read = {});

  void stand_at_first_station(const Stay& first);
  OperatorRequest jog_request(const Standing& at) const;
  void find_first();
  void run_segment(const Segment& segment);
  void turn_others(const Segment& segment);
  void turn_axis(int axis, const Value& to);
  void run_stay(Standing at);
  void prove_turn(const Standing& at);
  void feel_empty_place(const Standing& at);
  void run_visit(Standing at);
  void go_above(const Standing& at);
  void feel_from_above(const Standing& at);
  void run_passes(Standing at);
  void run_pass(const Standing& at);
  void run_touch(const Standing& at, const Value& touch, int known_touch);
  void measure_slowly(const Value3& direction, double side);
  void log_touch(const Standing& at);
  std::vector<std::string> record_columns() const;

  void start_sums();
  void add_to_sums(const Standing& at);
  void work_out_centre(const Standing& at);
  void solve_on_control(const Segment& segment);
  void show_centre(const RotaryAxis& axis, const CrossPair& pair);
  void offer_offset(int axis, const CrossPair& pair);

  Value stay_value(const Standing& at, const std::string& name,
                   const std::function<Value(const Stay&)>& value) const;
  std::string table_name(const Standing& at, const std::string& name) const {
    return fmt::format("{}, part {}", name, at.segment_number);
  }
  std::string visit_table_name(const Standing& at, const std::string& name) const {
    return table_name(at, fmt::format("{}, {}", name, target_of(at).name));
  }
  std::vector<CycleTouch> touch_rows(const Standing& at, std::vector<int>* starts) const;
  Value touch_value(const Standing& at, int column, const Value& touch, int known_touch) const;
  Value3 touch_direction(const Standing& at, int first_column, const Value& touch,
                         int known_touch) const;
  const CycleTarget& target_of(const Standing& at) const {
    return layout_.targets[at.first_visit().target];
  }
  int carrier_of(const CycleTarget& target) const {
    return machine_.artefacts[target.artefact].carried_by;
  }
  bool in_loop(const Segment& segment) const {
    return options_.loops && options_.watched && segment.stays.size() > 1;
  }
  int unsure_stays(const Segment& segment) const;
  Value feed_value(double mm_per_min) const { return feed(round_feed(mm_per_min, machine_.inch)); }
  std::string length_text(double mm) const {
    return machine_.inch ? fmt::format("{:.2f} inch", mm / mm_per_inch)
                         : fmt::format("{:.1f} mm", mm);
  }
  std::string angles_text(const Stay& stay) const {
    std::string text;
    for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
      text += fmt::format("{}{} at {:g} deg", text.empty() ? "" : ", ", machine_.rotary[i].letter,
                          deg_from_rad(stay.angles_rad[i]));
    }
    return text;
  }
  void up_to_safe_height() {
    steps_.add(MoveStep{MoveKind::rapid, {std::nullopt, std::nullopt, safe_height_}, {}});
  }
  /// Up from where rapid moves must not start.
  void back_up() {
    steps_.add(
        MoveStep{MoveKind::feed, {std::nullopt, std::nullopt, safe_height_}, position_feed_});
    up_to_safe_height();
  }
  void move(MoveKind kind, const Value3& to, Retreat retreat = Retreat::up) {
    steps_.add(MoveStep{kind, {to[0], to[1], to[2]}, position_feed_, retreat});
  }
  void read_trip_point() {
    for (int i = 0; i < 3; ++i) {
      steps_.set(trip_[i], machine_value(MachineValue::trip_point, linear_letters[i]));
    }
  }
  void demand(const Value& left, Comparison comparison, const Value& right,
              const std::string& alarm) {
    steps_.add(DemandStep{{left, comparison, right}, alarm});
  }
  void refuse(const std::string& what, const std::string& advice) {
    problems_.push_back({ProblemNumber::cannot_spell, what, {}, advice});
  }

  const Machine& machine_;
  const Plan& plan_;
  const CycleOptions& options_;
  MachineState state_;
  CycleLayout layout_;
  ControlProgram program_;
  StepRecorder steps_;
  CycleGeometry geometry_;
  Problems problems_;
  const std::string unit_ = machine_.inch ? "inch" : "mm";

  Value find_feed_, measure_feed_, position_feed_, clearance_, rough_, search_, back_off_, lift_;
  Value limit_, agreement_, safe_height_, stylus_diameter_;
  std::map<int, Value> diameter_;
  std::map<int, ArtefactValues> artefact_;
  std::vector<Vec> target_at_;  ///< per target, rotary axes at 0
  Vec predicted_, shift_, stand_off_, above_, left_, look_to_, backed_off_, trip_;
  std::map<std::string, Variable> sum_;
  int touches_written_ = 0;  ///< in a program written out touch by touch
  bool solved_ = false;
  std::optional<RotaryAngles> standing_;  ///< where the rotary axes stand, once known
  std::optional<bool> flip_now_;
};

// -------------------------------------------------------------------------- checks and header

void CycleBuilder::check() {
  if (options_.set_offset && !options_.solve_axis) {
    refuse("a work offset can only be set to a centre the control has worked out",
           "add --solve-on-control");
  }
  if (options_.solve_axis) {
    const RotaryAxis& axis = machine_.rotary[*options_.solve_axis];
    const bool solvable =
        std::any_of(layout_.segments.begin(), layout_.segments.end(), [&](const Segment& segment) {
          return segment.axis == *options_.solve_axis && segment.updates_centre;
        });
    if (axis.side != AxisSide::work || !axis.along) {
      refuse(
          fmt::format("the control cannot work out the centre of {} itself: only of an axis that "
                      "carries the work and lies along X, Y or Z",
                      axis.letter),
          "take the centre from `pivotrace fit`");
    } else if (!solvable) {
      refuse(fmt::format("this plan does not turn {} far enough for a centre on the control",
                         axis.letter),
             "plan more stations of this axis, spread wider");
    }
  }
  if (!plan_.self_find) return;
  if (const auto objection = objection_to_self_find(machine_, state_, plan_)) {
    refuse("the first artefact cannot be found from a jogged position: " + *objection,
           "set `self_find = false`, or let another station be the first");
  }
}

/// What the program will do, in lines a machinist can follow.
void CycleBuilder::write_summary() {
  std::vector<std::string>& header = program_.header;
  header.emplace_back("WHAT IT DOES");
  if (plan_.self_find) {
    header.push_back(
        "stops for the probe test, then touches the first artefact once from where you "
        "jogged to, and compares it with the file");
  }
  for (const Segment& segment : layout_.segments) {
    header.push_back(segment.axis >= 0
                         ? fmt::format("turns {} to {} angles and touches at each",
                                       machine_.rotary[segment.axis].letter, segment.stays.size())
                         : fmt::format("touches at station {}", segment.stays.front().number));
  }
  header.emplace_back("each touch: fast to find, back off, slow to measure, back the way it came");
  header.emplace_back("goes up to the safe height before every turn and at the end");
  header.push_back(options_.set_offset
                       ? fmt::format("writes work offset {} after a stop that shows old and new",
                                     *options_.set_offset)
                       : "keeps the measured points; writes no measured value to an offset");
  std::string columns;
  for (const std::string& column : record_columns())
    columns += (columns.empty() ? "" : ", ") + column;
  header.push_back("each line of the record: " + columns +
                   "; X Y Z as the control shows them at the trigger, angles in deg");
}

void CycleBuilder::write_header() {
  program_.title = "probing cycle for " + plan_.machine_name;
  program_.identity = identity_of(plan_);
  program_.program_number = options_.program_number;
  program_.inch = machine_.inch;
  program_.clamps =
      std::any_of(machine_.rotary.begin(), machine_.rotary.end(),
                  [](const auto& axis) { return !axis.clamp.empty() || !axis.unclamp.empty(); });
  program_.record_lines = plan_.touch_count();
  program_.identity_number = identity_number_of(plan_);
  std::vector<std::string>& header = program_.header;
  header.push_back(fmt::format("plan {}, number {}: {} stations, {} touches, about {:.0f} minutes",
                               program_.identity, identity_number_of(plan_), plan_.stations.size(),
                               plan_.touch_count(), std::ceil(plan_.minutes)));
  header.push_back(machine_.inch ? "units: inch and degrees, machine coordinates"
                                 : "units: mm and degrees, machine coordinates");
  header.push_back(machine_.probe.length_datum == LengthDatum::tip
                       ? "machine Z refers to the stylus tip"
                       : "machine Z refers to the centre of the stylus ball");
  write_summary();
  for (const char* caution :
       {"CAUTION: rehearse this program, then run it the first time in single block with the "
        "rapid override low and a hand at the stop.",
        "CAUTION: probe in the spindle, switched on and tested by hand, spindle locked, no tool "
        "length, rotation, scaling or mirror active.",
        "CAUTION: rotary axes turn by themselves. Nobody inside the guards, nothing in the way of "
        "cables, clamps and artefacts all round.",
        "The safety rules of the shop, the manual of the machine and qualified people come "
        "first."}) {
    header.emplace_back(caution);
  }
}

// --------------------------------------------------------------------------------- parameters

void CycleBuilder::write_parameters() {
  const ProbingDistances& d = plan_.distances;
  steps_.heading("PARAMETERS THE OPERATOR MAY EDIT");
  find_feed_ = steps_.parameter("find feed", feed_value(plan_.feeds.find),
                                "feed to find, " + unit_ + " per minute");
  measure_feed_ = steps_.parameter("measure feed", feed_value(plan_.feeds.measure),
                                   "feed to measure, " + unit_ + " per minute");
  position_feed_ = steps_.parameter("position feed", feed_value(plan_.feeds.position),
                                    "feed between touches, " + unit_ + " per minute");
  clearance_ =
      steps_.parameter("clearance", length(d.clearance), "clearance before a surface, " + unit_);
  rough_ = steps_.parameter("rough", length(d.rough),
                            "how far off the positions below may be, " + unit_);
  search_ =
      steps_.parameter("search", length(d.search), "how far to look past a surface, " + unit_);
  back_off_ =
      steps_.parameter("back off", length(d.back_off), "back off before the slow touch, " + unit_);
  lift_ = steps_.parameter("lift", length(d.lift), "extra height between touches, " + unit_);
  limit_ = steps_.parameter("limit", length(d.limit), "largest distance from prediction, " + unit_);
  agreement_ = steps_.parameter("agreement", length(d.agreement),
                                "fast and slow touch may differ by this, " + unit_);
  safe_height_ = steps_.parameter("safe height", length(d.safe_height),
                                  "machine Z to turn and rapid at, " + unit_);
  stylus_diameter_ = steps_.parameter("stylus diameter", length(machine_.probe.stylus_diameter_mm),
                                      "stylus ball diameter, " + unit_);
  write_positions();
  geometry_.write_axis_parameters();
}

void CycleBuilder::write_positions() {
  for (const CycleTarget& target : layout_.targets) {
    const Artefact& artefact = machine_.artefacts[target.artefact];
    if (artefact.kind != ArtefactKind::flat && !diameter_.contains(target.artefact)) {
      diameter_[target.artefact] = steps_.parameter(
          "diameter of " + artefact.name, length(2.0 * state_.artefacts[target.artefact].radius_mm),
          "diameter of " + artefact.name + ", " + unit_);
    }
    const Vec at = steps_.vec("place of " + target.name);
    for (int axis = 0; axis < 3; ++axis) {
      steps_.set(at[axis], length(target.at_mm[axis]),
                 fmt::format("{} rough {} with rotary at 0, {}", target.name, linear_letters[axis],
                             unit_));
    }
    target_at_.push_back(at);
  }
}

void CycleBuilder::write_artefact_values(const CycleTarget& target) {
  const int i = target.artefact;
  if (artefact_.contains(i)) return;
  const Artefact& artefact = machine_.artefacts[i];
  const bool inside = artefact.kind == ArtefactKind::bore;
  const Value two(2.0);
  Value reach = stylus_diameter_ / two;
  if (inside) reach = (diameter_.at(i) - stylus_diameter_) / two;
  if (artefact.kind == ArtefactKind::ball || artefact.kind == ArtefactKind::pin) {
    reach = (diameter_.at(i) + stylus_diameter_) / two;
  }
  ArtefactValues made;
  made.side = inside ? -1.0 : 1.0;
  made.reach = steps_.parameter("reach of " + artefact.name, reach,
                                artefact.name + " centre to stylus centre at contact");
  // A bore narrower than the gap is left from its middle.
  const double bore_reach = state_.artefacts[i].radius_mm - state_.stylus_radius_mm;
  const bool narrow = inside && bore_reach <= plan_.distances.clearance + plan_.distances.rough;
  const Value away = narrow   ? length(0.0)
                     : inside ? made.reach - clearance_ - rough_
                              : made.reach + clearance_ + rough_;
  made.away = steps_.parameter("stand-off of " + artefact.name, away, "the same before a touch");
  made.look =
      steps_.parameter("end of search of " + artefact.name,
                       inside ? made.reach + rough_ + search_ : made.reach - rough_ - search_,
                       "the same where a touch gives up");
  double depth = 0.0;
  for (const CycleTarget& other : layout_.targets) {
    if (other.artefact == i) depth = std::max(depth, other.along_mm);
  }
  made.height =
      steps_.parameter("height over " + artefact.name,
                       inside ? length(depth) + clearance_ + rough_ + lift_ : made.away + lift_,
                       "travel plane above the centre");
  artefact_[i] = made;
}

void CycleBuilder::write_derived() {
  steps_.heading("WORKED OUT FROM THE PARAMETERS");
  for (const CycleTarget& target : layout_.targets) write_artefact_values(target);
  steps_.set(steps_.variable("touch number"), count(0), "touches recorded so far");
  predicted_ = steps_.vec("predicted");
  shift_ = steps_.vec("shift");
  stand_off_ = steps_.vec("stand-off");
  above_ = steps_.vec("above");
  left_ = steps_.vec("left");
  look_to_ = steps_.vec("look to");
  backed_off_ = steps_.vec("backed off");
  trip_ = steps_.vec("trip");
  write_retracts();
  write_tables();
}

void CycleBuilder::write_retracts() {
  const Step up{
      MoveStep{MoveKind::feed, {std::nullopt, std::nullopt, safe_height_}, position_feed_}};
  const auto back_to = [&](const Vec& place) {
    return Step{MoveStep{MoveKind::feed, {place[0], place[1], place[2]}, position_feed_}};
  };
  program_.retreats[Retreat::up] = {up};
  program_.retreats[Retreat::back_across] = {back_to(left_), up};
  program_.retreats[Retreat::back_over] = {back_to(above_), up};
  program_.retreats[Retreat::out_of_a_touch] = {back_to(stand_off_), back_to(above_), up};
}

// ------------------------------------------------------------------------------------- tables

Value CycleBuilder::stay_value(const Standing& at, const std::string& name,
                               const std::function<Value(const Stay&)>& value) const {
  if (!at.looped()) return value(at.segment->stays[at.known_stay]);
  Value first = value(at.first());
  const bool uniform =
      std::all_of(at.segment->stays.begin(), at.segment->stays.end(),
                  [&](const Stay& stay) { return *value(stay).number() == *first.number(); });
  if (uniform) return first;
  return element(Table{table_name(at, name), static_cast<int>(at.segment->stays.size())}, at.stay);
}

/// Entries the program never reads are left out.
void CycleBuilder::write_stay_table(const Standing& at, const std::string& name,
                                    const std::function<Value(const Stay&)>& value,
                                    const std::function<bool(const Stay&)>& is_read) {
  if (stay_value(at, name, value).number() != nullptr) return;
  const int size = static_cast<int>(at.segment->stays.size());
  const Table table = steps_.table(table_name(at, name), size);
  for (int i = 0; i < size; ++i) {
    const Stay& stay = at.segment->stays[i];
    if (is_read && !is_read(stay)) continue;
    steps_.set_element(table, count(i), value(stay),
                       fmt::format("{} at station {}", name, stay.number));
  }
}

/// Different touches of one visit over all stays of a segment; stays that touch alike share rows.
std::vector<CycleTouch> CycleBuilder::touch_rows(const Standing& at,
                                                 std::vector<int>* starts) const {
  const auto same = [](const CycleTouch& a, const CycleTouch& b) {
    return (a.direction - b.direction).norm() < 1e-9 && (a.share - b.share).norm() < 1e-9;
  };
  std::vector<CycleTouch> rows;
  for (const Stay& stay : at.segment->stays) {
    const std::vector<CycleTouch>& touches = stay.visits[at.visit].touches;
    const auto found = std::search(rows.begin(), rows.end(), touches.begin(), touches.end(), same);
    if (starts != nullptr) starts->push_back(static_cast<int>(found - rows.begin()));
    if (found == rows.end()) rows.insert(rows.end(), touches.begin(), touches.end());
  }
  return rows;
}

Value CycleBuilder::touch_value(const Standing& at, int column, const Value& touch,
                                int known_touch) const {
  if (!at.looped()) {
    const auto& touches = at.segment->stays[at.known_stay].visits[at.visit].touches;
    return Value(column_of(touches[known_touch], column));
  }
  std::vector<int> starts;
  const std::vector<CycleTouch> rows = touch_rows(at, &starts);
  const double first = column_of(rows.front(), column);
  if (std::all_of(rows.begin(), rows.end(),
                  [&](const CycleTouch& row) { return column_of(row, column) == first; })) {
    return Value(first);
  }
  const Value start = stay_value(at, "first touch of " + target_of(at).name, [&](const Stay& stay) {
    return count(starts[&stay - &at.first()]);
  });
  return element(Table{visit_table_name(at, column_names[column]), static_cast<int>(rows.size())},
                 start + touch);
}

Value3 CycleBuilder::touch_direction(const Standing& at, int first_column, const Value& touch,
                                     int known_touch) const {
  Value3 v;
  for (int i = 0; i < 3; ++i) v[i] = touch_value(at, first_column + i, touch, known_touch);
  return v;
}

/// Touch by touch, so that a reader finds all of one touch together.
void CycleBuilder::write_touch_tables(const Standing& at, const std::vector<CycleTouch>& rows) {
  std::vector<std::pair<int, Table>> tables;
  std::string names;
  for (int column = 0; column < 6; ++column) {
    if (touch_value(at, column, count(0), -1).number() != nullptr) continue;
    tables.emplace_back(column, steps_.table(visit_table_name(at, column_names[column]),
                                             static_cast<int>(rows.size())));
    names += std::string(names.empty() ? "" : ", ") + column_names[column];
  }
  steps_.remark("touches of " + target_of(at).name + ": " + names +
                ". Out: from the centre to the stylus. Share: of its excess, in the centre");
  for (std::size_t row = 0; row < rows.size(); ++row) {
    steps_.remark(fmt::format("touch {}", row + 1));
    for (const auto& [column, table] : tables) {
      steps_.set_element(table, count(static_cast<int>(row)), Value(column_of(rows[row], column)));
    }
  }
}

void CycleBuilder::write_tables() {
  Standing at;
  for (const Segment& segment : layout_.segments) {
    at.segment = &segment;
    if (in_loop(segment)) {
      steps_.heading(fmt::format("TABLES OF PART {}", at.segment_number));
      for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
        write_stay_table(at, fmt::format("angle of {}", machine_.rotary[i].letter),
                         [&](const Stay& stay) { return angle(deg_from_rad(stay.angles_rad[i])); });
      }
      if (std::any_of(segment.stays.begin(), segment.stays.end(),
                      [](const Stay& stay) { return stay.proof != TurnProof::none; })) {
        steps_.remark(
            "proof of turn, where a wrong turn could not be felt on the way down: 1 = feel first "
            "that the place is empty, 2 = the operator looks");
        write_stay_table(at, "proof of turn", proof_value);
      }
      for (int i = 0; i < 3; ++i) {
        if (!uses_proof(segment, TurnProof::feel)) continue;
        write_stay_table(
            at, empty_names[i], [i](const Stay& stay) { return length(stay.empty_shown_mm[i]); },
            [](const Stay& stay) { return stay.proof == TurnProof::feel; });
      }
      for (at.visit = 0; at.visit < segment.stays.front().visits.size(); ++at.visit) {
        std::vector<int> starts;
        const std::vector<CycleTouch> rows = touch_rows(at, &starts);
        write_stay_table(at, "first touch of " + target_of(at).name,
                         [&](const Stay& stay) { return count(starts[&stay - &at.first()]); });
        write_touch_tables(at, rows);
      }
    }
    ++at.segment_number;
  }
}

// -------------------------------------------------------------------------------- self-finding

/// Everything found from a wrong angle would be carried to the wrong place.
void CycleBuilder::stand_at_first_station(const Stay& first) {
  for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
    steps_.add(StandsAtStep{machine_.rotary[i].letter, angle(deg_from_rad(first.angles_rad[i])),
                            fmt::format("axis {} is not at station 1", machine_.rotary[i].letter)});
  }
}

/// Where to stand is told in numbers: along a pin nothing else shows it. No words such as "above":
/// the spindle may be horizontal.
OperatorRequest CycleBuilder::jog_request(const Standing& at) const {
  const Eigen::Vector3d start_mm = start_position_mm(machine_, plan_);
  const std::string& name = target_of(at).name;
  return told({"test the probe by hand now, it must show a trigger. Jog the stylus to X ",
               ShownLength{start_mm.x()}, " Y ", ShownLength{start_mm.y()}, ", within ",
               ShownLength{plan_.distances.rough},
               fmt::format(", over {} on the spindle side and along Z at most {} from it, with {}. "
                           "Then start",
                           name, length_text(plan_.distances.clearance), angles_text(at.first()))});
}

void CycleBuilder::find_first() {
  Standing at;
  at.segment = &layout_.segments.front();
  at.known_stay = 0;
  const CycleTarget& target = target_of(at);
  steps_.heading("FIND " + target.name + " FROM THE JOGGED POSITION");
  steps_.add(OperatorStopStep{jog_request(at)});
  stand_at_first_station(at.first());
  std::vector<Value> degrees;
  for (const double rad : at.first().angles_rad) degrees.push_back(angle(deg_from_rad(rad)));
  degrees.resize(machine_.rotary.size());
  geometry_.set_angles(degrees, stylus_diameter_);
  for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
    if (!machine_.rotary[i].clamp.empty()) steps_.add(ClampStep{machine_.rotary[i].clamp});
  }
  steps_.add(SkipStep{{std::nullopt, std::nullopt, Value(0.0) - clearance_ - search_},
                      find_feed_,
                      target.name + " not found below the start",
                      std::nullopt,
                      "",
                      Retreat::up,
                      true});
  read_trip_point();
  back_up();
  steps_.remark("all positions of the file move by what was found here");
  Value3 centre = geometry_.stylus(values(trip_));
  centre[2] = centre[2] - artefact_.at(target.artefact).reach;
  const Vec carried = steps_.vec("carried");
  geometry_.carry_back(carried, centre, carrier_of(target));
  steps_.set(shift_, minus(values(carried), values(target_at_[at.first_visit().target])));
  steps_.remark("nothing goes down beside it unless it is where the file says, in every direction");
  for (int i = 0; i < 3; ++i) {
    demand(absolute(shift_[i]), Comparison::less_equal, rough_,
           fmt::format("{} {} is not as in the file", target.name, linear_letters[i]));
  }
  for (const Vec& place : target_at_) steps_.set(place, plus(values(place), values(shift_)));
}

// ---------------------------------------------------------------------------- stations, visits

int CycleBuilder::unsure_stays(const Segment& segment) const {
  const int all = static_cast<int>(segment.stays.size());
  if (plan_.distances.rough <= 0.0) return 0;
  return segment.updates_centre ? std::min(all, segment.sums_usable_after) : all;
}

void CycleBuilder::run_segment(const Segment& segment) {
  const int number = static_cast<int>(&segment - layout_.segments.data()) + 1;
  const auto stays = static_cast<int>(segment.stays.size());
  steps_.heading(segment.axis >= 0
                     ? fmt::format("PART {}: {} STATIONS, AXIS {} TURNS", number, stays,
                                   machine_.rotary[segment.axis].letter)
                     : fmt::format("PART {}: STATION {}", number, segment.stays.front().number));
  up_to_safe_height();
  turn_others(segment);
  if (segment.updates_centre) start_sums();
  Standing at;
  at.segment = &segment;
  at.segment_number = number;
  steps_.repeat(steps_.variable("station index"), 0, count(stays), !in_loop(segment),
                [&](const Value& index, int known) {
                  at.stay = index;
                  at.known_stay = known;
                  run_stay(at);
                });
  standing_ = segment.stays.back().angles_rad;
  if (options_.solve_axis == segment.axis && segment.updates_centre && !solved_) {
    solve_on_control(segment);
  }
}

/// Spindle and the axes that do not turn in this segment.
void CycleBuilder::turn_others(const Segment& segment) {
  const Stay& first = segment.stays.front();
  if (flip_now_ != first.flip) {
    steps_.add(SpindleStep{first.flip ? 180.0 : 0.0});
    flip_now_ = first.flip;
  }
  for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
    const int axis = static_cast<int>(i);
    if (axis == segment.axis || (standing_ && (*standing_)[i] == first.angles_rad[i])) continue;
    turn_axis(axis, angle(deg_from_rad(first.angles_rad[i])));
  }
}

/// Every angle is reached from the same side, so that play in the drive does not show.
void CycleBuilder::turn_axis(int axis, const Value& to) {
  const RotaryAxis& rotary = machine_.rotary[axis];
  if (!rotary.unclamp.empty()) steps_.add(ClampStep{rotary.unclamp});
  if (plan_.distances.turn_run_up_deg != 0.0) {
    steps_.add(TurnStep{rotary.letter, to - angle(plan_.distances.turn_run_up_deg)});
  }
  steps_.add(TurnStep{rotary.letter, to});
  if (!rotary.clamp.empty()) steps_.add(ClampStep{rotary.clamp});
}

void CycleBuilder::run_stay(Standing at) {
  const Segment& segment = *at.segment;
  if (!at.looped()) {
    steps_.remark(fmt::format("STATION {}", segment.stays[at.known_stay].number));
  }
  if (at.known_stay != 0) up_to_safe_height();
  std::vector<Value> degrees;
  for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
    degrees.push_back(
        stay_value(at, fmt::format("angle of {}", machine_.rotary[i].letter),
                   [&](const Stay& stay) { return angle(deg_from_rad(stay.angles_rad[i])); }));
  }
  geometry_.set_angles(degrees, stylus_diameter_);
  const bool stands_there =
      segment.axis < 0 ||
      (at.known_stay > 0 && segment.stays[at.known_stay].angles_rad[segment.axis] ==
                                segment.stays[at.known_stay - 1].angles_rad[segment.axis]);
  if (!stands_there) turn_axis(segment.axis, geometry_.angle_deg(segment.axis));
  prove_turn(at);
  for (at.visit = 0; at.visit < segment.stays.front().visits.size(); ++at.visit) {
    if (at.visit > 0) up_to_safe_height();
    run_visit(at);
  }
}

/// Where a turn the wrong way would bring the shank or the holder to harm before the stylus could
/// feel it, the program finds out first.
void CycleBuilder::prove_turn(const Standing& at) {
  const Value proof = stay_value(at, "proof of turn", proof_value);
  const auto when = [&](TurnProof wanted, const std::function<void()>& body) {
    const Value number = count(static_cast<int>(wanted));
    std::optional<bool> known;
    if (proof.number() != nullptr) known = *proof.number() == *number.number();
    steps_.only_if(known, {proof, Comparison::equal, number}, body);
  };
  if (uses_proof(*at.segment, TurnProof::feel)) {
    when(TurnProof::feel, [&] { feel_empty_place(at); });
  }
  if (uses_proof(*at.segment, TurnProof::watch)) {
    when(TurnProof::watch, [&] {
      const std::string where = at.looped() ? std::string("the angles commanded")
                                            : angles_text(at.segment->stays[at.known_stay]);
      steps_.add(OperatorStopStep{look_at_axes_request(where)});
    });
  }
}

/// Watched, down to where the artefact would be met after a wrong turn.
void CycleBuilder::feel_empty_place(const Standing& at) {
  Value3 place;
  for (int i = 0; i < 3; ++i) {
    place[i] = stay_value(at, empty_names[i],
                          [i](const Stay& stay) { return length(stay.empty_shown_mm[i]); });
  }
  steps_.remark("a wrong turn could not be felt on the way: prove that this place is empty");
  steps_.set(left_, place);
  steps_.add(MoveStep{MoveKind::rapid, {left_[0], left_[1], std::nullopt}, {}});
  steps_.add(MoveStep{MoveKind::guarded, {std::nullopt, std::nullopt, left_[2]}, position_feed_});
  back_up();
}

void CycleBuilder::run_visit(Standing at) {
  const CycleTarget& target = target_of(at);
  const int index = at.first_visit().target;
  steps_.remark("where " + target.name + " should be now");
  geometry_.carry(predicted_, values(target_at_[index]), carrier_of(target));
  if (!options_.watched) feel_from_above(at);
  go_above(at);
  run_passes(at);
  const Segment& segment = *at.segment;
  if (at.visit == 0 && segment.updates_centre) {
    add_to_sums(at);
    const int usable = segment.sums_usable_after;
    const auto known =
        at.looped() ? std::nullopt : std::optional<bool>(at.known_stay + 1 >= usable);
    steps_.only_if(known, {sum_.at("n"), Comparison::greater_equal, count(usable)},
                   [&] { work_out_centre(at); });
  }
  steps_.remark("keep where it was found, seen with rotary at 0");
  geometry_.carry_back(target_at_[index], values(predicted_), carrier_of(target));
}

/// At the safe height over the first touch, then down to one lift above its travel plane.
void CycleBuilder::go_above(const Standing& at) {
  const ArtefactValues& a = artefact_.at(target_of(at).artefact);
  const Value3 out = touch_direction(at, 0, count(0), 0);
  const Value3 d = geometry_.in_machine(out);
  const Value rise = a.height - a.away * out[2] + lift_;
  const Value3 over = geometry_.shown(
      plus(plus(values(predicted_), times(a.away, d)), times(rise, geometry_.tool_axis())));
  steps_.set(left_, over);
  steps_.add(MoveStep{MoveKind::rapid, {left_[0], left_[1], std::nullopt}, {}});
  steps_.add(MoveStep{MoveKind::guarded, {std::nullopt, std::nullopt, left_[2]}, position_feed_});
}

/// Straight down from the safe height onto the artefact, all the way as a move that must trigger:
/// an axis that turned the wrong way, or an artefact that was moved, stops the program here and not
/// beside the artefact, where nothing watches.
void CycleBuilder::feel_from_above(const Standing& at) {
  const Stay& stay = at.segment->stays[at.known_stay];
  const CycleTarget& target = target_of(at);
  const bool found_already = plan_.self_find && stay.number == 1 && at.visit == 0;
  const PlannedTouch place{target.artefact, target.around_rad, 0.0, target.along_mm, target.out_mm};
  if (found_already ||
      objection_to_feeler(machine_, state_, plan_.distances, stay.angles_rad, stay.flip, place)) {
    return;
  }
  const ArtefactValues& a = artefact_.at(target.artefact);
  const Value3 from = geometry_.shown(values(predicted_));
  steps_.remark("nothing watches the ways on this control: feel first whether " + target.name +
                " is there");
  steps_.set(stand_off_, plus(from, {Value(), Value(), a.away}));
  steps_.add(MoveStep{MoveKind::rapid, {stand_off_[0], stand_off_[1], std::nullopt}, {}});
  steps_.set(look_to_[2], from[2] + a.look);
  steps_.add(SkipStep{{std::nullopt, std::nullopt, look_to_[2]},
                      Value(feeler_feed_factor) * find_feed_,
                      target.name + " not found from above",
                      std::nullopt,
                      "",
                      Retreat::up});
  read_trip_point();
  back_up();
  demand(absolute(Value(trip_[2]) - from[2] - a.reach), Comparison::less_equal,
         rough_ + search_ - length(missed_mm), target.name + " is not where it should be");
}

void CycleBuilder::run_passes(Standing at) {
  const int unsure = unsure_stays(*at.segment);
  const Variable passes = steps_.variable("passes");
  std::optional<int> known;
  if (!at.looped()) {
    known = at.known_stay < unsure ? finding_passes(plan_.distances) + 1 : 1;
  } else if (unsure == 0) {
    known = 1;
  } else {
    steps_.set(passes, count(1), "one pass, to measure");
    if (unsure == static_cast<int>(at.segment->stays.size())) {
      steps_.set(passes, count(finding_passes(plan_.distances) + 1),
                 "fast passes to find, then one to measure");
    } else {
      steps_.only_if(std::nullopt, {at.stay, Comparison::less, count(unsure)}, [&] {
        steps_.set(passes, count(finding_passes(plan_.distances) + 1),
                   "first stations: fast passes to find before");
      });
    }
  }
  const Variable pass = steps_.variable("pass");
  if (known) {
    for (int i = 1; i <= *known; ++i) {
      at.measures = i == *known;
      run_pass(at);
    }
    return;
  }
  at.in_measuring_pass = {pass, Comparison::equal, passes};
  steps_.repeat(pass, 1, Value(passes) + count(1), false, [&](const Value&, int) { run_pass(at); });
}

void CycleBuilder::run_pass(const Standing& at) {
  const Variable touch_limit = steps_.variable("touch limit");
  for (const Variable& part : shift_) steps_.set(part, length(0.0));
  if (!at.measures) {
    steps_.set(touch_limit, rough_ + search_ - length(missed_mm), "a finding pass may be far off");
    steps_.only_if(std::nullopt, at.in_measuring_pass,
                   [&] { steps_.set(touch_limit, limit_, "the measuring pass may not"); });
  } else {
    steps_.set(touch_limit, *at.measures ? limit_ : rough_ + search_ - length(missed_mm),
               *at.measures ? "measuring pass" : "finding pass");
  }
  const int touches = static_cast<int>(at.first_visit().touches.size());
  steps_.repeat(steps_.variable("touch index"), 0, count(touches), !at.looped(),
                [&](const Value& touch, int known) { run_touch(at, touch, known); });
  steps_.remark("the centre these touches show");
  steps_.set(predicted_, plus(values(predicted_), values(shift_)));
}

// ------------------------------------------------------------------------------------ touching

void CycleBuilder::run_touch(const Standing& at, const Value& touch, int known_touch) {
  const CycleTarget& target = target_of(at);
  const ArtefactValues& a = artefact_.at(target.artefact);
  Value3 out = touch_direction(at, 0, touch, known_touch);
  Value3 share = touch_direction(at, 3, touch, known_touch);
  if (at.looped()) {
    const Vec out_now = steps_.vec("out");
    steps_.set(out_now, out);
    out = {out[0].number() ? out[0] : Value(out_now[0]),
           out[1].number() ? out[1] : Value(out_now[1]),
           out[2].number() ? out[2] : Value(out_now[2])};
  }
  Value3 d = geometry_.in_machine(out);
  if (geometry_.head_turns()) {
    const Vec turned = steps_.vec("turned");
    steps_.set(turned, d);
    d = values(turned);
    share = geometry_.in_machine(share);
  }
  const Value3 from = geometry_.shown(values(predicted_));
  const Value rise = a.height - a.away * out[2];
  const Value3& up = geometry_.tool_axis();
  steps_.set(stand_off_, plus(from, times(a.away, d)));
  steps_.set(above_, plus(values(stand_off_), times(rise, up)));
  if (at.looped()) steps_.remark("over the stand-off, then down beside the surface");
  move(MoveKind::guarded, values(above_), Retreat::back_across);
  move(MoveKind::guarded, values(stand_off_), Retreat::back_over);
  if (at.looped()) steps_.remark("find fast");
  steps_.set(look_to_, plus(from, times(a.look, d)));
  steps_.add(SkipStep{{look_to_[0], look_to_[1], look_to_[2]},
                      find_feed_,
                      target.name + " not found",
                      values(stand_off_),
                      "probe triggered before it moved"});
  read_trip_point();
  if (at.looped()) steps_.remark("measuring pass: back off and touch again, slowly");
  steps_.only_if(at.measures, at.in_measuring_pass, [&] { measure_slowly(d, a.side); });
  if (at.looped()) steps_.remark("back the way it came, up, and compare with the prediction");
  move(MoveKind::feed, values(stand_off_));
  steps_.set(left_, plus(values(above_), times(lift_, up)));
  move(MoveKind::feed, values(left_));
  const Variable excess = steps_.variable("excess");
  steps_.set(excess, dot(d, minus(values(trip_), from)) - a.reach,
             "how much further out than predicted");
  demand(absolute(excess), Comparison::less_equal, Variable{"touch limit"},
         target.name + " is not where it should be");
  steps_.set(shift_, plus(values(shift_), times(excess, share)));
  steps_.only_if(at.measures, at.in_measuring_pass, [&] {
    demand(absolute(dot(d, values(trip_)) - Variable{"fast"}), Comparison::less_equal, agreement_,
           "fast and slow touch of " + target.name + " disagree");
    log_touch(at);
  });
}

std::vector<std::string> CycleBuilder::record_columns() const {
  std::vector<std::string> columns = {"touch", "station", "artefact"};
  for (const RotaryAxis& axis : machine_.rotary) columns.emplace_back(1, axis.letter);
  for (const char letter : linear_letters) columns.emplace_back(1, letter);
  columns.emplace_back("flip");
  columns.emplace_back("units");
  return columns;
}

/// Back off and touch again, slowly; `trip` is then the measured point.
void CycleBuilder::measure_slowly(const Value3& direction, double side) {
  const Value3 back = times(Value(side) * back_off_, direction);
  steps_.set(steps_.variable("fast"), dot(direction, values(trip_)), "the fast touch");
  steps_.set(backed_off_, plus(values(trip_), back));
  steps_.set(look_to_, minus(values(trip_), back));
  move(MoveKind::feed, values(backed_off_));
  steps_.add(SkipStep{{look_to_[0], look_to_[1], look_to_[2]},
                      measure_feed_,
                      "no trigger in the slow touch",
                      values(backed_off_),
                      "probe still triggered after backing off"});
  read_trip_point();
}

void CycleBuilder::log_touch(const Standing& at) {
  const Variable number = steps_.variable("touch number");
  LogStep log;
  if (at.looped() || options_.loops) {
    steps_.set(number, Value(number) + count(1));
    log.number = number;
  } else {
    log.number = count(++touches_written_);
  }
  log.at = values(trip_);
  const Value station = at.looped() ? at.stay + count(at.first().number)
                                    : count(at.segment->stays[at.known_stay].number);
  log.items = {{"", log.number, NumberKind::count},
               {"", station, NumberKind::count},
               {machine_.artefacts[target_of(at).artefact].name}};
  for (std::size_t i = 0; i < machine_.rotary.size(); ++i) {
    log.items.push_back({"", geometry_.angle_deg(static_cast<int>(i)), NumberKind::angle});
  }
  for (const Value& coordinate : log.at) log.items.push_back({"", coordinate, NumberKind::length});
  log.items.push_back({at.first().flip ? "1" : "0"});
  log.items.push_back({machine_.inch ? "inch" : "mm"});
  steps_.add(log);
}

// -------------------------------------------------------------------------- centres on the way

void CycleBuilder::start_sums() {
  steps_.remark("running sums for the axis centre start at nothing");
  for (const char* name : {"n", "cos", "sin", "u", "v", "uc+vs", "vc-us", "axial"}) {
    sum_[name] = steps_.variable(std::string("sum ") + name);
    steps_.set(sum_[name], Value(0.0));
  }
}

/// Running sums of one complex regression z = c + b e, e = exp(j angle), relative to the nominal
/// centre so that controls with few digits lose nothing. Work side: z is where the centre of the
/// artefact is; tool side: where the control stands with the stylus at that centre.
void CycleBuilder::add_to_sums(const Standing& at) {
  const int axis = at.segment->axis;
  const Line& line = state_.axis_lines[axis];
  const CrossPair pair = cross_pair(line.direction);
  const bool work = machine_.rotary[axis].side == AxisSide::work;
  const Eigen::Vector3d reference =
      work ? line.point_mm : Eigen::Vector3d(target_of(at).at_mm - line.point_mm);
  const Value3 place = work ? values(predicted_) : minus(values(predicted_), geometry_.arm());
  const Value3 from = minus(place, lengths(reference));
  const Variable u = steps_.variable("across 1");
  const Variable v = steps_.variable("across 2");
  steps_.remark("add it to the running sums of the axis centre");
  steps_.set(u, dot(pair.first, from), "from nominal centre, first direction across");
  steps_.set(v, dot(pair.second, from), "the same, second direction");
  const auto add = [&](const char* name, const Value& value) {
    steps_.set(sum_.at(name), Value(sum_.at(name)) + value);
  };
  const PlanarSums<Value> more =
      planar_summands<Value>(geometry_.turn_cosine(axis), geometry_.turn_sine(axis), u, v);
  add("n", count(1));
  add("cos", more.cosines);
  add("sin", more.sines);
  add("u", more.x);
  add("v", more.y);
  add("uc+vs", more.along);
  add("vc-us", more.across);
  add("axial", dot(line.direction, values(predicted_)));
  if (options_.solve_axis != axis) return;
  const int stays = static_cast<int>(at.segment->stays.size());
  const Value index = at.looped() ? at.stay : count(at.known_stay);
  steps_.set_element(steps_.table("measured 1", stays), index, u);
  steps_.set_element(steps_.table("measured 2", stays), index, v);
}

/// Names of the variables that hold what the sums give.
const char* name_of(PlanarPart part) {
  switch (part) {
    case PlanarPart::spread: return "spread of angles";
    case PlanarPart::arm_x: return "spoke 1";
    case PlanarPart::arm_y: return "spoke 2";
    case PlanarPart::centre_x: return "centre 1";
    case PlanarPart::centre_y: return "centre 2";
  }
  return "";
}

void CycleBuilder::work_out_centre(const Standing& at) {
  const int axis = at.segment->axis;
  const Line& line = state_.axis_lines[axis];
  const CrossPair pair = cross_pair(line.direction);
  steps_.remark("axis centre from the sums: place = centre + spoke turned");
  const PlanarSolution<Value> solved =
      planar_solution(PlanarSums<Value>{sum_.at("n"), sum_.at("cos"), sum_.at("sin"), sum_.at("u"),
                                        sum_.at("v"), sum_.at("uc+vs"), sum_.at("vc-us")},
                      [&](PlanarPart part, const Value& value) -> Value {
                        const Variable kept = steps_.variable(name_of(part));
                        steps_.set(kept, value);
                        return kept;
                      });
  if (machine_.rotary[axis].side == AxisSide::work) {
    Value3 centre = lengths(line.point_mm);
    for (int i = 0; i < 3; ++i) {
      centre[i] = centre[i] + Value(tidy(pair.first[i])) * solved.centre_x +
                  Value(tidy(pair.second[i])) * solved.centre_y;
    }
    geometry_.set_centre(axis, centre);
    return;
  }
  // Tool side: the spoke is the axis line seen from the shown position, less the inner arm.
  const Value3& inner = geometry_.inner_arm(axis);
  const Value along1 = solved.arm_x + dot(pair.first, inner);
  const Value along2 = solved.arm_y + dot(pair.second, inner);
  Value3 centre = lengths(line.direction * line.direction.dot(line.point_mm));
  for (int i = 0; i < 3; ++i) {
    centre[i] =
        centre[i] + Value(tidy(pair.first[i])) * along1 + Value(tidy(pair.second[i])) * along2;
  }
  steps_.set(shift_, geometry_.shown(values(predicted_)));
  geometry_.set_centre(axis, centre);
  geometry_.work_out_arm();
  steps_.set(predicted_, geometry_.stylus(values(shift_)));
}

// -------------------------------------------------------------------------- centre on control

/// The centre from all stations of the segment, its spread, its distance from the machine file's.
void CycleBuilder::solve_on_control(const Segment& segment) {
  const RotaryAxis& axis = machine_.rotary[segment.axis];
  const CrossPair pair = cross_pair(state_.axis_lines[segment.axis].direction);
  solved_ = true;
  steps_.heading(fmt::format("CENTRE OF {} WORKED OUT BY THE CONTROL", axis.letter));
  up_to_safe_height();
  const int stays = static_cast<int>(segment.stays.size());
  const Table u = steps_.table("measured 1", stays), v = steps_.table("measured 2", stays);
  const Variable radius = steps_.variable("radius");
  const Variable largest = steps_.variable("largest radius");
  const Variable smallest = steps_.variable("smallest radius");
  steps_.set(largest, length(0.0));
  steps_.set(smallest, length(100000.0));
  const Value c1 = Variable{"centre 1"}, c2 = Variable{"centre 2"};
  steps_.repeat(steps_.variable("station index"), 0, count(stays), !in_loop(segment),
                [&](const Value& index, int) {
                  const Variable du = steps_.variable("across 1"), dv = steps_.variable("across 2");
                  steps_.set(du, element(u, index) - c1);
                  steps_.set(dv, element(v, index) - c2);
                  steps_.set(radius, square_root(du * du + dv * dv));
                  // Larger and smaller of two numbers without a branch: (a + b +- |a - b|) / 2.
                  steps_.set(largest, (largest + radius + absolute(largest - radius)) / Value(2.0));
                  steps_.set(smallest,
                             (smallest + radius - absolute(smallest - radius)) / Value(2.0));
                });
  show_centre(axis, pair);
  const Variable moved = steps_.variable("centre moved by");
  demand(moved, Comparison::less_equal, length(options_.centre_limit_mm),
         fmt::format("centre of {} moved further than allowed", axis.letter));
  if (options_.set_offset) offer_offset(segment.axis, pair);
}

int machine_axis_of(const Eigen::Vector3d& direction) {
  for (int i = 0; i < 3; ++i) {
    if (std::abs(direction[i]) > 0.5) return i;
  }
  return 2;
}

void CycleBuilder::show_centre(const RotaryAxis& axis, const CrossPair& pair) {
  const Value c1 = Variable{"centre 1"}, c2 = Variable{"centre 2"};
  const int first = machine_axis_of(pair.first), second = machine_axis_of(pair.second);
  const Eigen::Vector3d& nominal = axis.centre_mm;
  const auto show = [&](int i, const Value& c) {
    const Variable shown = steps_.variable(fmt::format("new centre {}", linear_letters[i]));
    steps_.set(shown, length(nominal[i]) + c,
               fmt::format("centre of {}, {}", axis.letter, linear_letters[i]));
  };
  show(first, c1);
  show(second, c2);
  steps_.set(steps_.variable("quoted at"), Value(sum_.at("axial")) / Value(sum_.at("n")),
             fmt::format("quoted at this {}", linear_letters[static_cast<int>(*axis.along)]));
  steps_.set(steps_.variable("radius spread"),
             Value(Variable{"largest radius"}) - Variable{"smallest radius"},
             "largest minus smallest radius");
  steps_.set(steps_.variable("centre moved by"), square_root(c1 * c1 + c2 * c2),
             "distance from the centre of the machine file");
  const auto shown = [&](int i) -> std::vector<RequestPart> {
    return {std::string(1, linear_letters[i]) + " in ",
            ShownVariable{fmt::format("new centre {}", linear_letters[i])}, ", was ",
            ShownLength{nominal[i]}};
  };
  std::vector<RequestPart> text = {fmt::format("centre of {}: ", axis.letter)};
  for (const int i : {first, second}) {
    const std::vector<RequestPart> parts = shown(i);
    text.insert(text.end(), parts.begin(), parts.end());
    text.emplace_back("; ");
  }
  text.insert(text.end(), {"spread in ", ShownVariable{"radius spread"}, ", moved by ",
                           ShownVariable{"centre moved by"}});
  steps_.add(OperatorStopStep{told(std::move(text))});
}

/// Nothing is written to the control's offsets before the operator has seen old and new.
void CycleBuilder::offer_offset(int axis, const CrossPair& pair) {
  const int system = *options_.set_offset;
  const int first = machine_axis_of(pair.first), second = machine_axis_of(pair.second);
  const char a = linear_letters[first], b = linear_letters[second];
  const auto old_and_new = [&](char letter) -> std::vector<RequestPart> {
    return {std::string(1, letter) + " old ", ShownOrigin{system, letter}, " new ",
            ShownVariable{fmt::format("new centre {}", letter)}};
  };
  std::vector<RequestPart> text = {fmt::format("start writes work offset {}: ", system)};
  for (const char letter : {a, b}) {
    const std::vector<RequestPart> parts = old_and_new(letter);
    text.insert(text.end(), parts.begin(), parts.end());
    text.emplace_back(letter == a ? ", " : "; reset to keep the old");
  }
  steps_.add(OperatorStopStep{told(std::move(text))});
  SetOffsetStep set;
  set.system = system;
  set.origin[first] = Variable{fmt::format("new centre {}", a)};
  set.origin[second] = Variable{fmt::format("new centre {}", b)};
  steps_.add(set);
  steps_.remark(
      fmt::format("centre of {} written to work offset {}", machine_.rotary[axis].letter, system));
}

// --------------------------------------------------------------------------------------- whole

Expected<ControlProgram> CycleBuilder::build() {
  check();
  if (!problems_.empty()) return tl::make_unexpected(problems_);
  write_header();
  write_parameters();
  write_derived();
  steps_.add(SpindleStep{});
  steps_.add(SpindleStep{0.0});
  flip_now_ = false;
  if (plan_.self_find) find_first();
  steps_.add(LogFileStep{true, record_columns()});
  for (const Segment& segment : layout_.segments) run_segment(segment);
  steps_.heading("END");
  up_to_safe_height();
  steps_.add(LogFileStep{false, {}});
  return std::move(program_);
}

}  // namespace

Expected<ControlProgram> make_cycle(const Machine& machine, const Plan& plan,
                                    const CycleOptions& options) {
  if (plan.stations.empty() || plan.touch_count() == 0) {
    return failure({ProblemNumber::cannot_plan,
                    "this plan has no touches",
                    {},
                    "plan it again with `pivotrace plan`"});
  }
  return CycleBuilder(machine, plan, options).build();
}

}  // namespace pivotrace
