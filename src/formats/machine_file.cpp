#include "pivotrace/formats/machine_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>

#include "base/words.h"
#include "formats/conditions_reader.h"
#include "formats/plain_toml.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/machine/ball_grade.h"
#include "pivotrace/machine/length_datum.h"

namespace pivotrace {

namespace {

using formats::Need;
using formats::Sign;
using formats::TomlTable;

constexpr int most_axes_per_side = 2;
constexpr double per_um_per_m = 1e-6;
constexpr std::array<const char*, 3> linear_letters = {"X", "Y", "Z"};
constexpr std::array<const char*, 3> linear_planes = {"XY", "YZ", "ZX"};

Range rad_range(const Range& degrees) {
  return {rad_from_deg(degrees.low), rad_from_deg(degrees.high)};
}

/// Moves `point` along the unit vector `direction` into the plane direction . p = offset.
void move_into_plane(Eigen::Vector3d& point, const Eigen::Vector3d& direction, double offset) {
  point += (offset - direction.dot(point)) * direction;
}

/// One pass over the file. Goes on after a problem, so that all of them are reported together.
class MachineParser {
 public:
  explicit MachineParser(const std::string& file) : problems_(file) {}

  Expected<Machine> parse(const toml::table& root) {
    TomlTable top(root, "", problems_);
    if (!formats::read_opening(top, formats::Units::required)) return problems_.as_failure();
    machine_.inch = formats::in_inches(top);
    read_blocks(top);
    if (!problems_.empty()) return problems_.as_failure();
    return machine_;
  }

 private:
  void read_blocks(TomlTable& top) {
    machine_.name = name_of(top).value_or("");
    if (auto linear = top.table("linear", Need::required)) read_linear(*linear);
    read_rotary_axes(top.tables("rotary", Need::required));
    if (auto probe = top.table("probe", Need::required)) read_probe(*probe);
    read_class(top);
    if (auto bounds = top.table("bounds", Need::optional)) read_bounds(*bounds);
    refer_tool_side_to_stylus_centre();
    read_artefacts(top.tables("artefact", Need::required));
    read_obstacles(top.tables("obstacle", Need::optional));
    // Read again by conditions_file.cpp; here for its faults.
    if (auto conditions = top.table("conditions", Need::optional)) {
      formats::read_conditions(*conditions);
    }
    // How the unit is fastened stands in the same file but is read by mounting_file.cpp.
    for (const char* key : {"foot", "key"}) top.tables(key, Need::optional);
    top.table("mounting", Need::optional);
    top.refuse_unknown_keys();
  }

  /// Names are printed on one line, in tables and in program comments.
  std::optional<std::string> name_of(TomlTable& table) {
    auto name = table.text("name", Need::required);
    if (!name) return std::nullopt;
    const bool printable = std::none_of(name->begin(), name->end(), [](char letter) {
      return static_cast<unsigned char>(letter) < 0x20 || letter == 0x7F;
    });
    if (printable && !name->empty() && trimmed(*name).size() == name->size()) return name;
    table.report("name", ProblemNumber::out_of_range,
                 "a name must be one line of text that neither starts nor ends with a space",
                 "give it a short name, for example \"ball\"");
    return std::nullopt;
  }

  // --- [linear] ---------------------------------------------------------------------------------

  void read_linear(TomlTable& linear) {
    LinearAxes& axes = machine_.linear;
    if (auto limits = linear.table("limits", Need::required)) read_travel(*limits);
    if (const auto sigma = linear.length_mm("station_sigma", Need::optional, Sign::not_negative)) {
      axes.station_sigma_mm = *sigma;
      axes.station_sigma_stated = true;
    }
    if (auto scale = linear.table("scale_u_um_per_m", Need::optional)) {
      axes.scale_u = read_um_per_m(*scale, linear_letters);
    }
    if (auto squareness = linear.table("squareness_u_um_per_m", Need::optional)) {
      axes.squareness_u_rad = read_um_per_m(*squareness, linear_planes);
    }
    axes.rapid_mm_per_min =
        linear.length_mm("rapid", Need::optional, Sign::positive).value_or(axes.rapid_mm_per_min);
    axes.acceleration_mm_per_s2 = linear.length_mm("acceleration", Need::optional, Sign::positive)
                                      .value_or(axes.acceleration_mm_per_s2);
    linear.refuse_unknown_keys();
  }

  void read_travel(TomlTable& limits) {
    for (std::size_t i = 0; i < linear_letters.size(); ++i) {
      const auto range = limits.range(linear_letters[i], Need::required);
      if (!range) continue;
      const double unit = limits.mm_per_length();
      machine_.linear.travel_mm[i] = {range->low * unit, range->high * unit};
    }
    limits.refuse_unknown_keys();
  }

  static std::array<double, 3> read_um_per_m(TomlTable& table,
                                             const std::array<const char*, 3>& keys) {
    std::array<double, 3> values = {0, 0, 0};
    for (std::size_t i = 0; i < keys.size(); ++i) {
      values[i] =
          table.number(keys[i], Need::optional, Sign::not_negative).value_or(0.0) * per_um_per_m;
    }
    table.refuse_unknown_keys();
    return values;
  }

  // --- what is assumed, and how far it may be off ------------------------------------------------

  /// Sets the standard uncertainty of the stylus centre where [probe] was silent.
  void read_class(TomlTable& top) {
    if (const auto word = top.choice("class", Need::optional, {"precise", "usual", "light"})) {
      machine_.class_stated = true;
      machine_.machine_class = *word == "precise" ? MachineClass::precise
                               : *word == "light" ? MachineClass::light
                                                  : MachineClass::usual;
    }
    if (const auto dof = top.number("sigma_dof", Need::optional, Sign::positive)) {
      machine_.sigma_dof = *dof;
    }
    for (int k = 0; k < 3; ++k) {
      if (machine_.probe.offset_u_stated[static_cast<std::size_t>(k)]) continue;
      machine_.probe.offset_u_mm[k] = assumed_offset_u_mm(machine_.machine_class);
    }
  }

  void read_bounds(TomlTable& table) {
    StatedBounds& bounds = machine_.bounds;
    const auto number = [&](const char* key, double unit) -> std::optional<double> {
      const auto stated = table.number(key, Need::optional, Sign::not_negative);
      if (!stated) return std::nullopt;
      return *stated * unit;
    };
    bounds.lobing_mm = table.length_mm("lobing", Need::optional, Sign::not_negative);
    bounds.drift_per_run_mm = table.length_mm("drift_per_run", Need::optional, Sign::not_negative);
    bounds.squareness_rad = number("squareness_um_per_m", per_um_per_m);
    bounds.scale = number("scale_um_per_m", per_um_per_m);
    bounds.place_mm = table.length_mm("place", Need::optional, Sign::not_negative);
    bounds.index_wave_rad = number("index_wave_arcsec", rad_from_arcsec(1.0));
    bounds.between_surveys_mm =
        table.length_mm("between_surveys", Need::optional, Sign::not_negative);
    table.refuse_unknown_keys();
  }

  // --- [[rotary]] -------------------------------------------------------------------------------

  void read_rotary_axes(std::vector<TomlTable> blocks) {
    axes_are_clear_ = !blocks.empty();
    for (TomlTable& block : blocks) {
      const std::size_t before = machine_.rotary.size();
      read_rotary_axis(block);
      if (machine_.rotary.size() > before) refuse_third_axis(block);
    }
  }

  void read_rotary_axis(TomlTable& block) {
    RotaryAxis axis;
    const auto letter = block.choice("letter", Need::required, {"A", "B", "C"});
    if (letter) {
      axis.letter = letter->front();
      block.retitle("[[rotary]] " + *letter);
    }
    const auto side = block.choice("carries", Need::required, {"work", "tool"});
    axes_are_clear_ = axes_are_clear_ && letter && side;
    axis.side = side == "tool" ? AxisSide::tool : AxisSide::work;
    const auto turn = block.choice("positive_turn", Need::required, {"right-hand", "left-hand"});
    axis.positive_turn = turn == "left-hand" ? TurnSense::left_hand : TurnSense::right_hand;
    const bool has_direction = read_axis_direction(block, axis);
    read_centre(block, axis, has_direction);
    if (const auto limits = block.range("limits", Need::required)) {
      axis.travel_rad = rad_range(*limits);
    }
    if (const auto sigma = block.number("index_sigma_arcsec", Need::optional, Sign::not_negative)) {
      axis.index_sigma_rad = rad_from_arcsec(*sigma);
      axis.index_sigma_stated = true;
    }
    if (const auto sigma =
            block.number("index_repeat_sigma_arcsec", Need::optional, Sign::not_negative)) {
      axis.index_repeat_sigma_rad = rad_from_arcsec(*sigma);
    }
    if (const auto sigma =
            block.length_mm("axis_motion_sigma", Need::optional, Sign::not_negative)) {
      axis.axis_motion_sigma_mm = *sigma;
      axis.axis_motion_sigma_stated = true;
    }
    if (const auto speed = block.number("speed_deg_per_s", Need::optional, Sign::positive)) {
      axis.speed_rad_per_s = rad_from_deg(*speed);
    }
    read_clamps(block, axis);
    block.refuse_unknown_keys();
    if (letter) keep_axis(block, axis);
  }

  void keep_axis(TomlTable& block, const RotaryAxis& axis) {
    if (machine_.rotary_index(axis.letter) >= 0) {
      block.report("letter", ProblemNumber::duplicate_name,
                   fmt::format("there are two rotary axes {}", axis.letter),
                   "give each [[rotary]] block a letter of its own");
      return;
    }
    machine_.rotary.push_back(axis);
  }

  void refuse_third_axis(TomlTable& block) {
    const AxisSide side = machine_.rotary.back().side;
    const auto count = std::count_if(machine_.rotary.begin(), machine_.rotary.end(),
                                     [side](const RotaryAxis& axis) { return axis.side == side; });
    if (count <= most_axes_per_side) return;
    block.report("carries", ProblemNumber::out_of_range,
                 fmt::format("this is the third rotary axis that carries the {}",
                             side == AxisSide::work ? "work" : "tool"),
                 "at most two rotary axes per side can be described");
  }

  static bool read_axis_direction(TomlTable& block, RotaryAxis& axis) {
    const bool both = block.has("along") && block.has("direction");
    const bool neither = !block.has("along") && !block.has("direction");
    const auto along = block.choice("along", Need::optional, {"X", "Y", "Z"});
    const auto direction = block.direction("direction", Need::optional);
    if (both) {
      block.report("direction", ProblemNumber::out_of_range,
                   fmt::format("{} has both `along` and `direction`", block.title()),
                   "keep `along` for an axis along X, Y or Z, `direction` for a slanted one");
      return false;
    }
    if (neither) {
      block.report_here(ProblemNumber::missing_key,
                        fmt::format("{} does not say which way it points", block.title()),
                        "add `along = \"X\"` (or Y, Z), or for a slanted axis `direction = [..]`");
      return false;
    }
    if (along) {
      const int index = along->front() - 'X';
      axis.along = static_cast<LinearAxis>(index);
      axis.direction = Eigen::Vector3d::Unit(index);
    }
    if (direction) axis.direction = *direction;
    return along || direction;
  }

  static void read_centre(TomlTable& block, RotaryAxis& axis, bool has_direction) {
    const auto centre = block.point_mm("centre", Need::required);
    const auto quote_at = block.length_mm("quote_at", Need::optional);
    if (!centre || !has_direction) return;
    axis.centre_mm = *centre;
    const double own = axis.direction.dot(*centre);
    axis.quote_at_mm = quote_at.value_or(own);
    if (std::abs(axis.quote_at_mm - own) > quote_tolerance_mm) {
      report_quote(block, axis, own);
    } else {
      move_into_plane(axis.centre_mm, axis.direction, axis.quote_at_mm);
    }
  }

  static void report_quote(TomlTable& block, const RotaryAxis& axis, double own_mm) {
    const double unit = block.mm_per_length();
    const std::string what =
        axis.along ? fmt::format("the {} of `centre`", "XYZ"[static_cast<int>(*axis.along)])
                   : std::string("`centre` . `direction`");
    block.report(
        "quote_at", ProblemNumber::out_of_range,
        fmt::format("`quote_at` is {}, but {} is {}", axis.quote_at_mm / unit, what, own_mm / unit),
        "the centre must lie in the plane it is quoted at: correct one of the two, or "
        "leave `quote_at` out");
  }

  static void read_clamps(TomlTable& block, RotaryAxis& axis) {
    axis.clamp = program_word(block, "clamp");
    axis.unclamp = program_word(block, "unclamp");
    if (block.has("clamp") == block.has("unclamp")) return;
    const char* missing = block.has("clamp") ? "unclamp" : "clamp";
    block.report_here(
        ProblemNumber::missing_key,
        fmt::format("{} has one of `clamp` and `unclamp` without the other", block.title()),
        fmt::format("add `{} = \"...\"`: turning a clamped axis can damage it", missing));
  }

  /// Goes into programs as it stands, so it must not be able to end a line or start a comment.
  static std::string program_word(TomlTable& block, const char* key) {
    const auto word = block.text(key, Need::optional);
    if (!word) return {};
    const bool plain = !word->empty() && std::all_of(word->begin(), word->end(), [](char letter) {
      return letter >= ' ' && letter <= '~' &&
             std::string_view("();%").find(letter) == std::string_view::npos;
    });
    if (plain) return *word;
    block.report(key, ProblemNumber::out_of_range,
                 fmt::format("`{}` must be a plain program word", key),
                 "write it as in a program, for example \"M10\": no brackets, semicolons, percent "
                 "signs or line breaks");
    return {};
  }

  // --- [probe] ----------------------------------------------------------------------------------

  void read_probe(TomlTable& table) {
    Probe& probe = machine_.probe;
    probe.stylus_diameter_mm = table.length_mm("stylus_diameter", Need::required, Sign::positive)
                                   .value_or(probe.stylus_diameter_mm);
    probe.stylus_diameter_u_mm =
        table.length_mm("stylus_diameter_u", Need::optional, Sign::not_negative);
    refuse_large_uncertainty(table, "stylus_diameter_u", probe.stylus_diameter_u_mm,
                             probe.stylus_diameter_mm);
    probe.stylus_length_mm = table.length_mm("stylus_length", Need::optional, Sign::positive);
    read_gauge_length(table);
    probe.shank_diameter_mm = table.length_mm("shank_diameter", Need::optional, Sign::positive);
    if (auto holder = table.table("holder", Need::optional)) {
      probe.holder_diameter_mm = holder->length_mm("diameter", Need::required, Sign::positive);
      probe.holder_length_mm = holder->length_mm("length", Need::required, Sign::positive);
      holder->refuse_unknown_keys();
    }
    read_length_datum(table);
    if (const auto sigma = table.length_mm("touch_sigma", Need::optional, Sign::positive)) {
      probe.touch_sigma_mm = *sigma;
      probe.touch_sigma_stated = true;
    }
    probe.offset_u_stated = {false, false, false};
    if (auto offset = table.table("offset_u", Need::optional)) read_offset_u(*offset);
    table.refuse_unknown_keys();
  }

  void read_gauge_length(TomlTable& table) {
    Probe& probe = machine_.probe;
    probe.gauge_length_mm = table.length_mm("gauge_length", Need::optional, Sign::positive);
    if (!probe.gauge_length_mm || !probe.stylus_length_mm) return;
    if (*probe.gauge_length_mm >= *probe.stylus_length_mm) return;
    table.report("gauge_length", ProblemNumber::out_of_range,
                 "`gauge_length` is shorter than `stylus_length`: the gauge line would lie inside "
                 "the stylus",
                 "give the length of the whole probe, from the centre of the stylus ball to the "
                 "gauge line of the spindle");
  }

  void read_length_datum(TomlTable& table) {
    if (!table.has("length_datum")) {
      table.report_here(ProblemNumber::missing_key, "`length_datum` of [probe] is missing",
                        "add `length_datum = \"centre\"` when the Z shown belongs to the centre of "
                        "the stylus ball, \"tip\" when it belongs to its lowest point");
    }
    const auto datum = table.choice("length_datum", Need::optional, {"centre", "tip"});
    machine_.probe.length_datum = datum == "tip" ? LengthDatum::tip : LengthDatum::centre;
  }

  void read_offset_u(TomlTable& offset) {
    for (std::size_t i = 0; i < linear_letters.size(); ++i) {
      const auto u = offset.length_mm(linear_letters[i], Need::optional, Sign::not_negative);
      machine_.probe.offset_u_mm[static_cast<Eigen::Index>(i)] = u.value_or(0.0);
      machine_.probe.offset_u_stated[i] = u.has_value();
    }
    offset.refuse_unknown_keys();
  }

  static void refuse_large_uncertainty(TomlTable& table, const char* key,
                                       const std::optional<double>& u_mm, double value_mm) {
    if (!u_mm || *u_mm < value_mm) return;
    table.report(key, ProblemNumber::out_of_range,
                 fmt::format("`{}` is as large as the diameter itself", key),
                 "give the standard uncertainty of the diameter, in the units of this file");
  }

  /// See parse_machine: coordinates in a Machine refer to the stylus-ball centre.
  void refer_tool_side_to_stylus_centre() {
    if (machine_.probe.length_datum != LengthDatum::tip) return;
    for (RotaryAxis& axis : machine_.rotary) {
      if (axis.side != AxisSide::tool) continue;
      axis.centre_mm -=
          datum_to_centre_mm(machine_.probe.length_datum, machine_.probe.stylus_radius_mm());
      move_into_plane(axis.centre_mm, axis.direction, axis.quote_at_mm);
    }
  }

  // --- [[artefact]] and [[obstacle]] ------------------------------------------------------------

  void read_artefacts(std::vector<TomlTable> blocks) {
    for (TomlTable& block : blocks) {
      machine_.artefacts.push_back(read_artefact(block));
      borrows_.push_back(block.has("diameter_as"));
    }
    for (std::size_t i = 0; i < blocks.size(); ++i) {
      link_diameter(blocks[i], machine_.artefacts[i]);
      blocks[i].refuse_unknown_keys();
    }
  }

  Artefact read_artefact(TomlTable& block) {
    Artefact artefact;
    artefact.name = unique_name(block);
    const auto kind = block.choice("kind", Need::required, {"ball", "pin", "bore", "flat"});
    if (kind == "pin") artefact.kind = ArtefactKind::pin;
    if (kind == "bore") artefact.kind = ArtefactKind::bore;
    if (kind == "flat") artefact.kind = ArtefactKind::flat;
    artefact.carried_by = carrier(block);
    artefact.at_mm = block.point_mm("at", Need::required).value_or(artefact.at_mm);
    if (!kind) {
      ask_for_every_artefact_key(block);
    } else if (artefact.kind == ArtefactKind::ball) {
      read_ball(block, artefact);
    } else if (artefact.kind == ArtefactKind::flat) {
      read_flat(block, artefact);
    } else {
      read_cylinder(block, artefact);
    }
    return artefact;
  }

  /// With the kind unknown, no key can be called wrong: the kind must be mended first.
  static void ask_for_every_artefact_key(TomlTable& block) {
    for (const char* key :
         {"diameter", "diameter_u", "length", "size", "at_u", "direction_u_arcsec"}) {
      block.number(key, Need::optional);
    }
    block.text("diameter_as", Need::optional);
    block.text("grade", Need::optional);
    block.table("stem", Need::optional);
    block.vector("direction", Need::optional);
  }

  static void read_diameter(TomlTable& block, Artefact& artefact) {
    artefact.diameter_mm = block.length_mm("diameter", Need::optional, Sign::positive);
    artefact.diameter_u_mm = block.length_mm("diameter_u", Need::optional, Sign::not_negative);
    if (artefact.diameter_mm) {
      refuse_large_uncertainty(block, "diameter_u", artefact.diameter_u_mm, *artefact.diameter_mm);
    }
    if (block.has("diameter_u") && !block.has("diameter")) {
      block.report("diameter_u", ProblemNumber::missing_key,
                   fmt::format("{} has `diameter_u` but no `diameter`", block.title()),
                   "add the diameter it belongs to, or remove it");
    }
    block.text("diameter_as", Need::optional);
  }

  static void read_grade(TomlTable& block, Artefact& artefact) {
    const auto grade = block.choice("grade", Need::optional,
                                    {"G3", "G5", "G10", "G16", "G20", "G28", "G40", "G100"});
    if (!grade) return;
    artefact.form_deviation_mm = form_deviation_um(*grade).value_or(0.0) / 1000.0;
  }

  static void read_ball(TomlTable& block, Artefact& artefact) {
    read_diameter(block, artefact);
    read_grade(block, artefact);
    if (auto stem = block.table("stem", Need::optional)) read_stem(*stem, artefact);
    block.refuse("direction", "a ball has none; the direction of its stem stands inside `stem`");
    block.refuse("length", "a ball has none; the length of its stem stands inside `stem`");
    block.refuse("size", "the size of a ball is its `diameter`");
    block.refuse("direction_u_arcsec",
                 "a ball has no direction; `at_u` says how well it is placed");
    read_at_u(block, artefact);
  }

  static void read_at_u(TomlTable& block, Artefact& artefact) {
    artefact.at_u_mm = block.length_mm("at_u", Need::optional, Sign::positive);
  }

  static void read_direction_u(TomlTable& block, Artefact& artefact) {
    const auto u = block.number("direction_u_arcsec", Need::optional, Sign::positive);
    if (u) artefact.direction_u_rad = rad_from_arcsec(*u);
  }

  static void read_stem(TomlTable& table, Artefact& artefact) {
    Stem stem;
    stem.direction = table.direction("direction", Need::required).value_or(stem.direction);
    stem.diameter_mm = table.length_mm("diameter", Need::required, Sign::positive).value_or(0.0);
    stem.length_mm = table.length_mm("length", Need::required, Sign::positive).value_or(0.0);
    table.refuse_unknown_keys();
    if (artefact.diameter_mm && stem.diameter_mm >= *artefact.diameter_mm) {
      table.report("diameter", ProblemNumber::out_of_range,
                   "the stem is as thick as the ball or thicker",
                   "check both diameters and their units");
    }
    artefact.stem = stem;
  }

  static void read_cylinder(TomlTable& block, Artefact& artefact) {
    read_diameter(block, artefact);
    artefact.direction = block.direction("direction", Need::required).value_or(artefact.direction);
    artefact.length_mm =
        block.length_mm("length", Need::required, Sign::positive).value_or(artefact.length_mm);
    read_at_u(block, artefact);
    read_direction_u(block, artefact);
    block.refuse("size", "the size of a pin or bore is its `diameter`");
    block.refuse("stem", "only a ball stands on a stem");
    block.refuse("grade", "only a ball has a grade");
  }

  static void read_flat(TomlTable& block, Artefact& artefact) {
    artefact.direction = block.direction("direction", Need::required).value_or(artefact.direction);
    artefact.size_mm =
        block.length_mm("size", Need::required, Sign::positive).value_or(artefact.size_mm);
    read_direction_u(block, artefact);
    block.refuse("at_u", "where a flat lies tells no angle; `direction_u_arcsec` does");
    block.refuse("diameter", "a flat has `size`, the diameter of the face that may be touched");
    block.refuse("diameter_u", "a flat has no diameter");
    block.refuse("diameter_as", "a flat has no diameter");
    block.refuse("length", "a flat has no length");
    block.refuse("stem", "only a ball stands on a stem");
    block.refuse("grade", "only a ball has a grade");
  }

  void link_diameter(TomlTable& block, Artefact& artefact) {
    if (!block.has("diameter_as") || artefact.kind == ArtefactKind::flat) return;
    const auto other_name = block.text("diameter_as", Need::optional);
    if (!other_name) return;
    const int other = machine_.artefact_index(*other_name);
    if (other < 0) {
      block.report("diameter_as", ProblemNumber::unknown_name,
                   fmt::format("there is no artefact \"{}\"", excerpt(*other_name)),
                   did_you_mean(*other_name, artefact_names()));
      return;
    }
    const Artefact& lender = machine_.artefacts[static_cast<std::size_t>(other)];
    std::string reason;
    if (lender.kind != artefact.kind) reason = "only artefacts of one kind can share a diameter";
    if (block.has("diameter")) reason = "it has a `diameter` of its own already";
    // Borrowing from a borrower would need a search for circles, and gains nothing.
    if (borrows_[static_cast<std::size_t>(other)]) {
      reason = "that artefact borrows its diameter itself: name the lender";
    }
    if (&lender == &artefact) reason = "an artefact cannot borrow its own diameter";
    if (!reason.empty()) {
      block.report(
          "diameter_as", ProblemNumber::out_of_range,
          fmt::format("`diameter_as` of {} cannot be used: {}", block.title(), reason),
          "keep either `diameter` or `diameter_as`, and name an artefact of the same kind");
      return;
    }
    artefact.diameter_as = other;
  }

  std::vector<std::string> artefact_names() const {
    std::vector<std::string> names;
    for (const Artefact& artefact : machine_.artefacts) names.push_back(artefact.name);
    return names;
  }

  /// Names of artefacts and obstacles together: a collision message must be able to tell them apart.
  std::string unique_name(TomlTable& block) {
    std::string name = name_of(block).value_or("");
    if (name.empty()) return name;
    const std::string kind = block.title();
    block.retitle(fmt::format("{} \"{}\"", kind, excerpt(name)));
    const auto [earlier, is_new] = names_.emplace(name, kind);
    if (!is_new) {
      block.report("name", ProblemNumber::duplicate_name,
                   fmt::format("the name \"{}\" is already used by an {} block above",
                               excerpt(name), earlier->second),
                   "give every artefact and obstacle a name of its own");
    }
    return name;
  }

  /// Index of the work-side axis named by `carried_by`, -1 for the bed and after a problem.
  int carrier(TomlTable& block) {
    const auto word = block.text("carried_by", Need::required);
    if (!word || *word == "bed") return -1;
    const int axis = word->size() == 1 ? machine_.rotary_index(word->front()) : -1;
    if (axis >= 0 && machine_.rotary[static_cast<std::size_t>(axis)].side == AxisSide::work) {
      return axis;
    }
    // Complaining about a letter that stands in a broken block would only mislead.
    if (!axes_are_clear_) return -1;
    if (axis >= 0) {
      block.report("carried_by", ProblemNumber::unknown_name,
                   fmt::format("axis {} carries the tool, so nothing can stand on it", *word),
                   "name an axis that carries the work, or \"bed\"");
    } else {
      block.report("carried_by", ProblemNumber::unknown_name,
                   fmt::format("`carried_by` is \"{}\", which is no rotary axis of this machine",
                               excerpt(*word)),
                   did_you_mean(*word, carriers()));
    }
    return -1;
  }

  std::vector<std::string> carriers() const {
    std::vector<std::string> words;
    for (const RotaryAxis& axis : machine_.rotary) {
      if (axis.side == AxisSide::work) words.emplace_back(1, axis.letter);
    }
    words.emplace_back("bed");
    return words;
  }

  void read_obstacles(std::vector<TomlTable> blocks) {
    for (TomlTable& block : blocks) machine_.obstacles.push_back(read_obstacle(block));
  }

  Obstacle read_obstacle(TomlTable& block) {
    Obstacle obstacle;
    obstacle.name = unique_name(block);
    obstacle.carried_by = carrier(block);
    const auto shape = block.choice("shape", Need::required, {"box", "cylinder"});
    obstacle.shape = shape == "cylinder" ? ObstacleShape::cylinder : ObstacleShape::box;
    const auto from = block.point_mm("from", Need::required);
    const auto to = block.point_mm("to", Need::required);
    if (shape == "box") {
      block.refuse("diameter", "a box has none, only its two corners `from` and `to`");
    } else {
      const Need need = shape ? Need::required : Need::optional;
      obstacle.diameter_mm = block.length_mm("diameter", need, Sign::positive).value_or(0.0);
    }
    block.refuse_unknown_keys();
    if (!from || !to || !shape) return obstacle;
    obstacle.from_mm = *from;
    obstacle.to_mm = *to;
    refuse_flat_obstacle(block, obstacle);
    return obstacle;
  }

  static void refuse_flat_obstacle(TomlTable& block, const Obstacle& obstacle) {
    const Eigen::Vector3d size = (obstacle.to_mm - obstacle.from_mm).cwiseAbs();
    const bool is_box = obstacle.shape == ObstacleShape::box;
    if (is_box ? size.minCoeff() > 0.0 : size.maxCoeff() > 0.0) return;
    block.report("to", ProblemNumber::out_of_range,
                 is_box ? "this box has no thickness: `from` and `to` share a coordinate"
                        : "this cylinder has no length: `from` and `to` are the same point",
                 is_box ? "give two opposite corners" : "give both ends of the cylinder's axis");
  }

  ProblemList problems_;
  Machine machine_;
  bool axes_are_clear_ = false;               ///< letter and side of every rotary block are known
  std::map<std::string, std::string> names_;  ///< name -> the kind of block that uses it
  std::vector<bool> borrows_;                 ///< per artefact: it has `diameter_as`
};

}  // namespace

Expected<Machine> parse_machine(std::string_view text, const std::string& name) {
  const Expected<toml::table> root = formats::parse_toml(text, name);
  if (!root) return tl::make_unexpected(root.error());
  return MachineParser(name).parse(*root);
}

Expected<Machine> read_machine(const std::string& path, FileCalls& disk) {
  const Expected<std::string> text = read_file(path, disk);
  if (!text) return tl::make_unexpected(text.error());
  return parse_machine(*text, path);
}

}  // namespace pivotrace
