#include "pivotrace/pivots/reseat.h"

#include <fmt/format.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <cmath>
#include <nlohmann/json.hpp>

#include "base/number_text.h"
#include "base/wrapped_text.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/pivots/index_angles.h"
#include "pivots/fitted_machine.h"

namespace pivotrace {

namespace {

/// A lean left in the part beyond this is worth a warning: common practice, no source.
constexpr double lean_worth_telling_mm_per_300 = 0.01;
constexpr double same_angle_rad = 1e-9;

class Reseating {
 public:
  Reseating(const FitResult& result, const ReseatRequest& request)
      : request_(request), fitted_(result), last_(fitted_.last_work_axis()) {}

  ReseatRow row(const RotaryAngles& angles_rad) const {
    ReseatRow row;
    row.angles_rad = angles_rad;
    row.offset_mm = offset(fitted_.fitted(), angles_rad);
    const Eigen::MatrixXd covariance = fitted_.covariance_of(
        [&](const MachineState& state) { return Eigen::VectorXd(offset(state, angles_rad)); });
    row.U95_mm = fitted_.coverage_factor() * covariance.diagonal().cwiseMax(0.0).cwiseSqrt();
    row.lean_left_rad = lean_left(angles_rad);
    return row;
  }

 private:
  Eigen::Vector3d offset(const MachineState& state, const RotaryAngles& angles_rad) const {
    const Eigen::Vector3d carried = carried_from_machine(
        fitted_.machine(), state, last_, request_.taught_mm, request_.taught_at_rad);
    return machine_from_carried(fitted_.machine(), state, last_, carried, angles_rad);
  }

  Eigen::Matrix3d turn_since_taught(const MachineState& state,
                                    const RotaryAngles& angles_rad) const {
    return machine_from_carried_rotation(fitted_.machine(), state, last_, angles_rad) *
           machine_from_carried_rotation(fitted_.machine(), state, last_, request_.taught_at_rad)
               .transpose();
  }

  double lean_left(const RotaryAngles& angles_rad) const {
    const Eigen::Matrix3d real = turn_since_taught(fitted_.fitted(), angles_rad);
    const Eigen::Matrix3d expected = turn_since_taught(fitted_.nominal(), angles_rad);
    return Eigen::AngleAxisd(Eigen::Matrix3d(real * expected.transpose())).angle();
  }

  const ReseatRequest& request_;
  FittedMachine fitted_;
  int last_;
};

/// An axis nobody measured may only stand at 0, where it does nothing.
Problems unmeasured_turns(const FitResult& result, const ReseatRequest& request) {
  Problems problems;
  for (std::size_t i = 0; i < result.axes.size() && i < max_rotary_axes; ++i) {
    if (result.axes[i].estimated || result.axes[i].side != AxisSide::work) continue;
    const auto turned = [&](const RotaryAngles& angles) {
      return std::abs(angles[i]) > same_angle_rad;
    };
    if (!turned(request.taught_at_rad) &&
        std::none_of(request.targets.begin(), request.targets.end(), turned)) {
      continue;
    }
    problems.push_back(
        {ProblemNumber::no_such_value,
         fmt::format("axis {} was not measured in this survey, so offsets at other angles than 0 "
                     "cannot be told",
                     result.axes[i].letter),
         {},
         "measure it too, or leave it at 0"});
  }
  return problems;
}

void add_warnings(const FitResult& result, ReseatTable& table) {
  if (table.offsets_run_out) {
    const auto first_without =
        std::find_if(table.rows.begin(), table.rows.end(),
                     [](const ReseatRow& row) { return row.work_offset == 0; });
    table.warnings.push_back(fmt::format(
        "work offsets run out: P{} is the last, {} of {} positions have none (from {} on)",
        last_work_offset, table.rows.end() - first_without, table.rows.size(),
        angles_text(result, first_without->angles_rad)));
  }
  double worst = 0.0;
  for (const ReseatRow& row : table.rows) worst = std::max(worst, row.lean_left_rad);
  if (mm_per_300_from_rad(worst) > lean_worth_telling_mm_per_300) {
    table.warnings.push_back(fmt::format(
        "a work offset shifts but cannot lean: up to {} mm over 300 mm of lean stays in the part; "
        "`pivotrace shim` tells how to align the unit",
        fixed_text(mm_per_300_from_rad(worst), 4)));
  }
  for (const AxisResult& axis : result.axes) {
    if (axis.side != AxisSide::work || !axis.estimated || axis.turn_confirmed) continue;
    table.warnings.push_back(
        fmt::format("the touches could not tell which way axis {} turns: the sense is that of the "
                    "machine file; try one offset by hand before use",
                    axis.letter));
  }
}

double shown_length(double mm, LengthUnit unit) {
  return unit == LengthUnit::inch ? mm / mm_per_inch : mm;
}

int decimals_of(LengthUnit unit) {
  return unit == LengthUnit::inch ? program_decimals_inch : program_decimals_mm;
}

std::string offset_words(const ReseatRow& row) {
  return row.work_offset == 0
             ? std::string("none left")
             : fmt::format("P{} {}", row.work_offset, work_offset_word(row.work_offset));
}

std::string xyz_text(const Eigen::Vector3d& p_mm, LengthUnit unit) {
  return fmt::format("X {} Y {} Z {}", fixed_text(shown_length(p_mm.x(), unit), decimals_of(unit)),
                     fixed_text(shown_length(p_mm.y(), unit), decimals_of(unit)),
                     fixed_text(shown_length(p_mm.z(), unit), decimals_of(unit)));
}

/// A name that stays on its line.
std::string one_line(std::string text) {
  std::replace_if(
      text.begin(), text.end(), [](char c) { return c == '\n' || c == '\r'; }, ' ');
  return text;
}

}  // namespace

Expected<ReseatTable> reseat(const FitResult& result, const ReseatRequest& request) {
  Problems problems = reasons_not_to_write(result);
  if (problems.empty()) problems = unmeasured_turns(result, request);
  if (request.targets.empty()) {
    problems.push_back({ProblemNumber::bad_argument,
                        "no index angles are asked for",
                        {},
                        "say at which: --at A=0,90,180,270 or --at A=0..270/90"});
  }
  if (request.first_offset < first_work_offset || request.first_offset > last_work_offset) {
    problems.push_back({ProblemNumber::bad_argument,
                        fmt::format("there is no work offset P{}", request.first_offset),
                        {},
                        "use 1 for G54 up to 6 for G59, and 7 to 9 for G59.1 to G59.3"});
  }
  if (!request.taught_mm.allFinite()) {
    problems.push_back({ProblemNumber::bad_argument,
                        "the taught work offset is not three numbers",
                        {},
                        "give X, Y and Z in machine coordinates"});
  }
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  const Reseating reseating(result, request);
  ReseatTable table;
  for (const RotaryAngles& angles : request.targets) {
    ReseatRow row = reseating.row(angles);
    const int number = request.first_offset + static_cast<int>(table.rows.size());
    row.work_offset = number <= last_work_offset ? number : 0;
    table.offsets_run_out = table.offsets_run_out || row.work_offset == 0;
    table.rows.push_back(row);
  }
  add_warnings(result, table);
  return table;
}

std::string reseat_text(const FitResult& result, const ReseatRequest& request,
                        const ReseatTable& table) {
  const std::string unit = unit_word(QuantityKind::length, request.unit);
  const int decimals = decimals_of(request.unit);
  std::string text = fmt::format("Work offsets of machine \"{}\", machine coordinates, {}\n",
                                 result.machine_name, unit);
  text += fmt::format("taught at {}: {}\n", angles_text(result, request.taught_at_rad),
                      xyz_text(request.taught_mm, request.unit));
  std::size_t widest = 5;
  for (const ReseatRow& row : table.rows) {
    widest = std::max(widest, angles_text(result, row.angles_rad).size());
  }
  text += fmt::format("{:<9} {:<{}} {:>11} {:>11} {:>11} {:>8} {:>9}\n", "offset", "index", widest,
                      "X", "Y", "Z", "U95", "lean");
  for (const ReseatRow& row : table.rows) {
    text +=
        fmt::format("{:<9} {:<{}}", offset_words(row), angles_text(result, row.angles_rad), widest);
    for (int i = 0; i < 3; ++i) {
      text += fmt::format(" {:>11}",
                          fixed_text(shown_length(row.offset_mm[i], request.unit), decimals));
    }
    text +=
        fmt::format(" {:>8} {:>9}\n",
                    uncertainty_text(shown_length(row.U95_mm.maxCoeff(), request.unit), decimals),
                    fixed_text(mm_per_300_from_rad(row.lean_left_rad), 4));
  }
  text += wrapped(
      "U95 is that of the worst coordinate, from the axis lines alone; the uncertainty of the "
      "taught "
      "offset itself comes on top. Lean: mm over 300 mm that stay in the part.",
      "", 0);
  text += wrapped(taught_offset_caution, "", 0);
  text += wrapped(
      "CAUTION: a wrong offset can wreck tool, part and machine. Check the first run without a "
      "part, "
      "slowly, by the machine's manual and local safety rules.",
      "", 0);
  return text;
}

std::string reseat_csv(const FitResult& result, const ReseatRequest& request,
                       const ReseatTable& table) {
  const std::string unit = unit_word(QuantityKind::length, request.unit);
  std::string text = "# format: 1\n";
  text += fmt::format("# units: {}\n", unit);
  text += "# machine: " + one_line(result.machine_name) + "\n";
  text += "# written: " + request.date + "\n";
  text += "# caution: check the first run without a part, slowly\n";
  text += "offset,";
  for (const AxisResult& axis : result.axes) {
    if (axis.side == AxisSide::work) text += fmt::format("{}_deg,", axis.letter);
  }
  text += "X,Y,Z,U95_X,U95_Y,U95_Z,lean_mm_per_300\n";
  const int decimals = decimals_of(request.unit);
  for (const ReseatRow& row : table.rows) {
    text += row.work_offset == 0 ? "," : fmt::format("P{},", row.work_offset);
    for (std::size_t i = 0; i < result.axes.size(); ++i) {
      if (result.axes[i].side != AxisSide::work) continue;
      text += fixed_text(deg_from_rad(row.angles_rad[i]), 6) + ",";
    }
    for (int i = 0; i < 3; ++i) {
      text += fixed_text(shown_length(row.offset_mm[i], request.unit), decimals) + ",";
    }
    for (int i = 0; i < 3; ++i) {
      text += uncertainty_text(shown_length(row.U95_mm[i], request.unit), decimals) + ",";
    }
    text += fixed_text(mm_per_300_from_rad(row.lean_left_rad), 6) + "\n";
  }
  return text;
}

std::string reseat_json(const FitResult& result, const ReseatRequest& request,
                        const ReseatTable& table) {
  nlohmann::ordered_json json;
  json["format"] = "pivotrace-reseat-1";
  json["machine"] = result.machine_name;
  json["units"] = unit_word(QuantityKind::length, request.unit);
  json["written"] = request.date;
  json["rows"] = nlohmann::ordered_json::array();
  for (const ReseatRow& row : table.rows) {
    nlohmann::ordered_json entry;
    entry["work_offset"] = row.work_offset == 0 ? nlohmann::ordered_json(nullptr)
                                                : nlohmann::ordered_json(row.work_offset);
    for (std::size_t i = 0; i < result.axes.size(); ++i) {
      if (result.axes[i].side != AxisSide::work) continue;
      entry["angles_deg"][std::string(1, result.axes[i].letter)] = deg_from_rad(row.angles_rad[i]);
    }
    for (int i = 0; i < 3; ++i) {
      const std::string letter(1, "XYZ"[i]);
      entry["offset"][letter] = shown_length(row.offset_mm[i], request.unit);
      entry["U95"][letter] = shown_length(row.U95_mm[i], request.unit);
    }
    entry["lean_mm_per_300"] = mm_per_300_from_rad(row.lean_left_rad);
    json["rows"].push_back(entry);
  }
  json["warnings"] = table.warnings;
  return json.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
}

}  // namespace pivotrace
