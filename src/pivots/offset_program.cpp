#include "pivotrace/pivots/offset_program.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

#include "base/cautions.h"
#include "base/number_text.h"
#include "pivotrace/control/emit.h"
#include "pivots/offset_setting.h"

namespace pivotrace {

namespace {

using Value3OrNothing = std::array<std::optional<Value>, 3>;

/// One coordinate of the new origin.
struct OriginWord {
  char letter = '?';
  double value_mm = not_run;
  double U95_mm = not_run;
};

struct Origin {
  std::string what;   ///< one line for the header comment
  std::string where;  ///< the plane it is quoted at, or what the point is
  std::vector<OriginWord> words;
};

Expected<Origin> no_origin(const std::string& what, const std::string& advice) {
  return failure({ProblemNumber::no_such_value, what, {}, advice});
}

std::string letters_of(const std::vector<const AxisResult*>& axes) {
  std::string text;
  for (const AxisResult* axis : axes)
    text += fmt::format("{}{}", text.empty() ? "" : ", ", axis->letter);
  return text;
}

std::vector<const AxisResult*> estimated_work_axes(const FitResult& result) {
  std::vector<const AxisResult*> axes;
  for (const AxisResult& axis : result.axes) {
    if (axis.estimated && axis.side == AxisSide::work) axes.push_back(&axis);
  }
  return axes;
}

Expected<const AxisResult*> chosen_axis(const FitResult& result, std::optional<char> letter) {
  const std::vector<const AxisResult*> axes = estimated_work_axes(result);
  const auto refuse = [](const std::string& what, const std::string& advice) {
    return failure({ProblemNumber::no_such_value, what, {}, advice});
  };
  if (axes.empty()) {
    return refuse("this result has no measured axis on the work side to put an origin on",
                  "pivot lengths of a tool-side axis go out as a table: --form csv");
  }
  if (!letter) {
    if (axes.size() == 1) return axes.front();
    return refuse(fmt::format("this result has several measured axes: {}", letters_of(axes)),
                  "say whose centre becomes the origin, for example --axis " +
                      std::string(1, axes.front()->letter));
  }
  const auto found = std::find_if(axes.begin(), axes.end(),
                                  [&](const AxisResult* axis) { return axis->letter == *letter; });
  if (found == axes.end()) {
    return refuse(fmt::format("axis {} is not a measured work-side axis of this result", *letter),
                  "measured on the work side: " + letters_of(axes));
  }
  return *found;
}

Expected<Origin> centre_origin(const AxisResult& axis, LengthUnit unit) {
  Origin origin;
  origin.what = fmt::format("centre of rotary axis {}", axis.letter);
  if (axis.along) {
    origin.where = fmt::format(
        "quoted at {} = {} {}, machine coordinates", "XYZ"[static_cast<int>(*axis.along)],
        fixed_text(shown_value(QuantityKind::length, axis.quoted_at_mm, unit),
                   unit == LengthUnit::inch ? program_decimals_inch : program_decimals_mm),
        unit_word(QuantityKind::length, unit));
  } else {
    origin.where = "quoted in the plane the machine file states";
  }
  for (const NamedEstimate& coordinate : axis.centre) {
    if (!std::isfinite(coordinate.estimate.value) ||
        !std::isfinite(coordinate.estimate.U95_absolute)) {
      return no_origin(fmt::format("the {} of the {} centre was not determined",
                                   direction_text(coordinate.name), axis.letter),
                       "measure it, or set this offset by hand");
    }
    origin.words.push_back({"XYZ"[component(coordinate.name)], coordinate.estimate.value,
                            coordinate.estimate.U95_absolute});
  }
  return origin;
}

Expected<Origin> foot_origin(const FitResult& result, char on, char towards) {
  for (const AxisPairResult& pair : result.axis_pairs) {
    const bool forward = pair.first == on && pair.second == towards;
    const bool backward = pair.first == towards && pair.second == on;
    if (!forward && !backward) continue;
    const std::array<Estimate, 3>& foot = forward ? pair.foot_on_first : pair.foot_on_second;
    Origin origin;
    origin.what = fmt::format("point on rotary axis {} nearest to rotary axis {}", on, towards);
    origin.where = "foot of the common normal, machine coordinates, all rotary axes at 0";
    for (int i = 0; i < 3; ++i) {
      if (pair.parallel || !std::isfinite(foot[i].value) || !std::isfinite(foot[i].U95_absolute)) {
        return no_origin(
            fmt::format("axes {} and {} run parallel: they have no nearest point", on, towards),
            "use the centre of one axis instead: leave out --foot");
      }
      origin.words.push_back({"XYZ"[i], foot[i].value, foot[i].U95_absolute});
    }
    return origin;
  }
  return no_origin(fmt::format("this result has no axis pair {} and {}", on, towards),
                   "both axes must have been measured in one survey");
}

Value3OrNothing origin_values(const Origin& origin) {
  Value3OrNothing values;
  for (const OriginWord& word : origin.words) values[word.letter - 'X'] = length(word.value_mm);
  return values;
}

std::string u95_line(const Origin& origin, LengthUnit unit) {
  std::string text = "U95, 95 percent uncertainty:";
  for (const OriginWord& word : origin.words) {
    text += fmt::format(
        " {} {} {}", word.letter,
        uncertainty_text(shown_value(QuantityKind::length, word.U95_mm, unit),
                         unit == LengthUnit::inch ? program_decimals_inch : program_decimals_mm),
        unit_word(QuantityKind::length, unit));
  }
  return text;
}

std::string left_alone(const Origin& origin) {
  std::string text;
  for (const char letter : std::string("XYZ")) {
    const bool written = std::any_of(origin.words.begin(), origin.words.end(),
                                     [&](const OriginWord& word) { return word.letter == letter; });
    if (!written) text += fmt::format("{}{}", text.empty() ? "" : " and ", letter);
  }
  return text;
}

std::vector<std::string> header(const FitResult& result, const Origin& origin,
                                const std::string& offset, const OffsetProgramOptions& options) {
  std::vector<std::string> lines = {
      "sets work offset " + offset + ", by pivotrace " + result.version,
      "machine: " + result.machine_name,
      "origin: " + origin.what,
      origin.where,
      "written: " + options.date,
      measured_line(result),
      u95_line(origin, options.unit),
      caution(wrong_value_caution),
      only_this_set_up,
      "Write down the old offset first: this program replaces it and keeps no copy.",
      "It acts at once if this offset is the active one: the next move uses the new origin.",
      "A shift of the program origin in force adds to the new origin."};
  const bool writes_z = std::any_of(origin.words.begin(), origin.words.end(),
                                    [](const OriginWord& word) { return word.letter == 'Z'; });
  if (writes_z) {
    lines.emplace_back(
        "Z counts as this control showed it while probing: to the centre of the stylus ball, or to "
        "its lowest point where length_datum says tip. If machine Z on this control is that of the "
        "spindle nose, allow for the probe length before use.");
  }
  const std::string untouched = left_alone(origin);
  if (!untouched.empty()) {
    lines.push_back(fmt::format(
        "{} of this offset stays as it is: the axis line does not determine it.", untouched));
  }
  return lines;
}

ControlProgram program_of(const FitResult& result, const ControlSheet& sheet, const Origin& origin,
                          int number, const OffsetProgramOptions& options) {
  const std::string offset = work_offset_name(sheet, number);
  ControlProgram program = offset_setting("work offset from a measured axis", result, options.unit,
                                          header(result, origin, offset, options), offset);
  program.steps.push_back(Step{SetOffsetStep{number, origin_values(origin)}});
  return program;
}

}  // namespace

std::string work_offset_word(int work_offset) {
  return work_offset <= 6 ? fmt::format("G{}", 53 + work_offset)
                          : fmt::format("G59.{}", work_offset - 6);
}

std::string work_offset_name(const ControlSheet& sheet, int work_offset) {
  const auto meaning =
      static_cast<Meaning>(static_cast<int>(Meaning::work_offset_1) + work_offset - 1);
  const std::string word = sheet.word(meaning);
  return word.empty() ? fmt::format("offset {}", work_offset)
                      : fmt::format("{} = offset {}", word, work_offset);
}

Problems refuse_simulated(const FitResult& result, bool allowed) {
  if (!result.simulated || allowed) return {};
  return {
      {ProblemNumber::not_usable,
       "this result is simulated: its touches come from a rehearsal or a simulation, not from a "
       "machine",
       {},
       "measure the machine; to see what would be written all the same, add --simulated"}};
}

Expected<int> writable_offset(const ControlSheet& sheet, std::optional<int> number) {
  const OffsetRules& rules = sheet.offsets;
  const std::string range = fmt::format("use {} to {}", rules.first_system, rules.last_system);
  if (!number) {
    return failure({ProblemNumber::bad_argument,
                    "which work offset? It is not named, and none is taken by itself",
                    {},
                    range + ", for example --work-offset 2"});
  }
  const bool known = *number >= std::max(first_work_offset, rules.first_system) &&
                     *number <= std::min(last_work_offset, rules.last_system);
  if (known) return *number;
  return failure(
      {ProblemNumber::bad_argument,
       fmt::format("the control sheet `{}` writes no work offset {}", sheet.name, *number),
       {},
       range});
}

Expected<std::string> offset_program(const FitResult& result, const ControlSheet& sheet,
                                     const OffsetProgramOptions& options) {
  Problems reasons = reasons_not_to_write(result);
  for (Problem& problem : refuse_simulated(result, options.simulated_allowed)) {
    reasons.push_back(std::move(problem));
  }
  if (!reasons.empty()) return tl::make_unexpected(std::move(reasons));
  const Expected<int> number = writable_offset(sheet, options.work_offset);
  if (!number) return tl::make_unexpected(number.error());
  const Expected<const AxisResult*> axis = chosen_axis(result, options.axis);
  if (!axis) return tl::make_unexpected(axis.error());
  const Expected<Origin> origin = options.foot_towards
                                      ? foot_origin(result, (*axis)->letter, *options.foot_towards)
                                      : centre_origin(**axis, options.unit);
  if (!origin) return tl::make_unexpected(origin.error());
  return emit(program_of(result, sheet, *origin, *number, options), sheet)
      .map([](const EmittedProgram& program) { return program.text; });
}

}  // namespace pivotrace
