#include "pivotrace/formats/truth_file.h"

#include <fmt/format.h>

#include <Eigen/Geometry>
#include <algorithm>

#include "base/words.h"
#include "formats/plain_toml.h"
#include "pivotrace/base/length.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/geometry/rotation.h"

namespace pivotrace {

namespace {

using formats::Need;
using formats::Sign;
using formats::TomlTable;

constexpr double per_um_per_m = 1e-6;
constexpr std::array<const char*, 3> linear_letters = {"X", "Y", "Z"};

class TruthParser {
 public:
  /// Without a machine (nullptr) names are taken as they stand.
  TruthParser(const std::string& file, const Machine* machine)
      : problems_(file),
        machine_(machine),
        truth_(machine != nullptr ? nominal_truth(*machine) : RehearsalTruth{}) {}

  Expected<RehearsalTruth> parse(const toml::table& root) {
    TomlTable top(root, "", problems_);
    if (!formats::format_is_known(top)) return problems_.as_failure();
    top.text("name", Need::optional);
    read_machine_name(top);
    const auto units = top.choice("units", Need::required, {"mm", "inch"});
    top.set_mm_per_length(units == "inch" ? mm_per_inch : 1.0);
    for (TomlTable& axis : top.tables("axis", Need::optional)) read_axis(axis);
    for (TomlTable& artefact : top.tables("artefact", Need::optional)) read_artefact(artefact);
    if (auto linear = top.table("linear", Need::optional)) read_linear(*linear);
    if (auto stylus = top.table("stylus", Need::optional)) read_stylus(*stylus);
    if (auto trigger = top.table("trigger", Need::optional)) read_trigger(*trigger);
    if (auto drift = top.table("drift", Need::optional)) read_drift(*drift);
    top.refuse_unknown_keys();
    if (!problems_.empty()) return problems_.as_failure();
    return truth_;
  }

  const TruthOutline& outline() const { return outline_; }

 private:
  void read_machine_name(TomlTable& top) {
    const auto stated = top.text("machine", Need::optional);
    if (!stated) return;
    outline_.machine_name = *stated;
    if (machine_ == nullptr || lower_case(*stated) == lower_case(machine_->name)) {
      return;
    }
    top.report("machine", ProblemNumber::other_machine,
               fmt::format("this truth was made for \"{}\", the machine file describes \"{}\"",
                           *stated, machine_->name),
               "use the machine file that belongs to this truth, or correct `machine`");
  }

  /// True when `name` was described in an earlier block of the same kind: reported here.
  bool repeated(TomlTable& block, const char* key, const std::string& name,
                std::vector<std::string>& earlier) {
    const bool again = std::find(earlier.begin(), earlier.end(), name) != earlier.end();
    if (again) {
      block.report(key, ProblemNumber::duplicate_name,
                   fmt::format("\"{}\" is described in an earlier block already", name),
                   "put everything about it into one block");
    } else {
      earlier.push_back(name);
    }
    return again;
  }

  void read_axis(TomlTable& block) {
    const int axis = axis_named(block);
    const auto off = block.point_mm("centre_off", Need::optional);
    const Eigen::Vector3d lean_rad = read_lean(block);
    const auto turn = block.choice("positive_turn", Need::optional, {"right-hand", "left-hand"});
    const auto reversal = block.number("reversal_arcsec", Need::optional);
    const std::vector<IndexError> errors = read_index_errors(block);
    block.refuse_unknown_keys();
    if (axis < 0) return;
    Line& line = truth_.survey.state.axis_lines[axis];
    if (off) line.point_mm += *off;
    line.direction = leant(line.direction, lean_rad);
    if (turn) {
      truth_.survey.state.turns[axis] =
          *turn == "left-hand" ? TurnSense::left_hand : TurnSense::right_hand;
    }
    if (reversal) truth_.survey.reversal_rad[axis] = rad_from_arcsec(*reversal);
    for (IndexError error : errors) {
      error.axis = axis;
      truth_.index_errors.push_back(error);
    }
  }

  int axis_named(TomlTable& block) {
    const auto letter = block.text("letter", Need::required);
    if (!letter) return -1;
    if (repeated(block, "letter", *letter, outline_.axes) || machine_ == nullptr) return -1;
    const int axis = letter->size() == 1 ? machine_->rotary_index(letter->front()) : -1;
    if (axis >= 0) {
      block.retitle("[[axis]] " + *letter);
    } else {
      block.report("letter", ProblemNumber::unknown_name,
                   fmt::format("the machine has no rotary axis \"{}\"", *letter),
                   "use a letter of the machine file");
    }
    return axis;
  }

  static Eigen::Vector3d read_lean(TomlTable& block) {
    Eigen::Vector3d lean_rad = Eigen::Vector3d::Zero();
    if (auto lean = block.table("lean_deg", Need::optional)) {
      for (int i = 0; i < 3; ++i) {
        lean_rad[i] = rad_from_deg(lean->number(linear_letters[i], Need::optional).value_or(0.0));
      }
      lean->refuse_unknown_keys();
    }
    return lean_rad;
  }

  static Eigen::Vector3d leant(const Eigen::Vector3d& direction, const Eigen::Vector3d& lean_rad) {
    const double angle = lean_rad.norm();
    if (angle == 0.0) return direction;
    const Eigen::Vector3d about = lean_rad / angle;
    return turned<double>(direction, about, angle).normalized();
  }

  static std::vector<IndexError> read_index_errors(TomlTable& block) {
    std::vector<IndexError> errors;
    for (TomlTable& entry : block.tables("index_error", Need::optional)) {
      const auto at_deg = entry.number("at_deg", Need::required);
      const auto error_arcsec = entry.number("error_arcsec", Need::required);
      entry.refuse_unknown_keys();
      if (!at_deg || !error_arcsec) continue;
      errors.push_back({-1, rad_from_deg(*at_deg), rad_from_arcsec(*error_arcsec)});
    }
    return errors;
  }

  void read_artefact(TomlTable& block) {
    const auto name = block.text("name", Need::required);
    const auto off = block.point_mm("off", Need::optional);
    const auto diameter = block.length_mm("diameter", Need::optional, Sign::positive);
    const Eigen::Vector3d lean_rad = read_lean(block);
    const bool known = name && !repeated(block, "name", *name, outline_.artefacts);
    const int index = known && machine_ != nullptr ? machine_->artefact_index(*name) : -1;
    if (known && machine_ != nullptr && index < 0) {
      block.report("name", ProblemNumber::unknown_name,
                   fmt::format("the machine file has no artefact \"{}\"", *name),
                   "use a name of the machine file");
    }
    if (index >= 0) refuse_what_it_lacks(block, machine_->artefacts[index]);
    block.refuse_unknown_keys();
    if (index < 0) return;
    ArtefactPlace& place = truth_.survey.state.artefacts[index];
    if (off) place.point_mm += *off;
    if (diameter) place.radius_mm = 0.5 * *diameter;
    place.direction = leant(place.direction, lean_rad);
  }

  static void refuse_what_it_lacks(TomlTable& block, const Artefact& artefact) {
    if (artefact.kind == ArtefactKind::flat) {
      block.refuse("diameter", "a flat has no diameter");
    }
    if (artefact.kind == ArtefactKind::ball) {
      block.refuse("lean_deg", "a ball is round: use `off` to put it elsewhere");
    }
  }

  void read_linear(TomlTable& linear) {
    Eigen::Matrix3d& error = truth_.survey.linear_error;
    if (auto scale = linear.table("scale_um_per_m", Need::optional)) {
      for (int i = 0; i < 3; ++i) {
        error(i, i) = scale->number(linear_letters[i], Need::optional).value_or(0.0) * per_um_per_m;
      }
      scale->refuse_unknown_keys();
    }
    if (auto squareness = linear.table("squareness_um_per_m", Need::optional)) {
      const auto read = [&](const char* key) {
        return squareness->number(key, Need::optional).value_or(0.0) * per_um_per_m;
      };
      error(0, 1) = read("XY");
      error(1, 2) = read("YZ");
      error(0, 2) = read("ZX");
      squareness->refuse_unknown_keys();
    }
    if (const auto origin = linear.point_mm("origin", Need::optional)) {
      truth_.survey.linear_origin_mm = *origin;
    }
    linear.refuse_unknown_keys();
  }

  void read_stylus(TomlTable& stylus) {
    if (const auto diameter = stylus.length_mm("diameter", Need::optional, Sign::positive)) {
      truth_.survey.state.stylus_radius_mm = 0.5 * *diameter;
    }
    if (const auto offset = stylus.point_mm("offset", Need::optional)) {
      truth_.survey.state.stylus_offset_mm = *offset;
    }
    stylus.refuse_unknown_keys();
  }

  void read_trigger(TomlTable& trigger) {
    truth_.survey.lobing_amplitude_mm = trigger.length_mm("lobing", Need::optional).value_or(0.0);
    truth_.survey.lobing_phase_rad =
        rad_from_deg(trigger.number("lobing_phase_deg", Need::optional).value_or(0.0));
    truth_.trigger_delay_s =
        trigger.number("delay_s", Need::optional, Sign::not_negative).value_or(0.0);
    trigger.refuse_unknown_keys();
  }

  void read_drift(TomlTable& drift) {
    if (const auto per_hour = drift.point_mm("per_hour", Need::optional)) {
      truth_.survey.drift_mm_per_hour = *per_hour;
    }
    drift.refuse_unknown_keys();
  }

  ProblemList problems_;
  const Machine* machine_;
  RehearsalTruth truth_;
  TruthOutline outline_;
};

}  // namespace

Expected<RehearsalTruth> parse_truth(std::string_view text, const std::string& name,
                                     const Machine& machine) {
  const Expected<toml::table> root = formats::parse_toml(text, name);
  if (!root) return tl::make_unexpected(root.error());
  return TruthParser(name, &machine).parse(*root);
}

Expected<TruthOutline> outline_truth(std::string_view text, const std::string& name) {
  const Expected<toml::table> root = formats::parse_toml(text, name);
  if (!root) return tl::make_unexpected(root.error());
  TruthParser parser(name, nullptr);
  const Expected<RehearsalTruth> read = parser.parse(*root);
  if (!read) return tl::make_unexpected(read.error());
  return parser.outline();
}

Expected<RehearsalTruth> read_truth(const std::string& path, const Machine& machine,
                                    FileCalls& disk) {
  const Expected<std::string> text = read_file(path, disk);
  if (!text) return tl::make_unexpected(text.error());
  return parse_truth(*text, path, machine);
}

}  // namespace pivotrace
