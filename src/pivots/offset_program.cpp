#include "pivotrace/pivots/offset_program.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <sstream>

#include "base/number_text.h"

namespace pivotrace {

namespace {

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

Expected<Origin> centre_origin(const AxisResult& axis) {
  Origin origin;
  origin.what = fmt::format("centre of rotary axis {}", axis.letter);
  if (axis.along) {
    origin.where =
        fmt::format("quoted at {} = {} mm, machine coordinates",
                    "XYZ"[static_cast<int>(*axis.along)], fixed_text(axis.quoted_at_mm, 4));
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

std::string g10_line(const Origin& origin, const OffsetProgramOptions& options) {
  const bool inch = options.unit == LengthUnit::inch;
  std::string line = fmt::format("G10 L2 P{}", options.work_offset);
  for (const OriginWord& word : origin.words) {
    line += fmt::format(" {}{}", word.letter,
                        fixed_text(inch ? word.value_mm / mm_per_inch : word.value_mm,
                                   inch ? program_decimals_inch : program_decimals_mm));
  }
  return line + "\n";
}

std::string u95_line(const Origin& origin) {
  std::string text = "U95, 95 percent uncertainty:";
  for (const OriginWord& word : origin.words) {
    text += fmt::format(" {} {} mm", word.letter, uncertainty_text(word.U95_mm, 4));
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

void add_header(std::string& program, const FitResult& result, const Origin& origin,
                const OffsetProgramOptions& options) {
  const std::string offset =
      fmt::format("{} = P{}", work_offset_word(options.work_offset), options.work_offset);
  program += comment_lines(
      fmt::format("WORK OFFSET {} FROM A MEASURED AXIS, by pivotrace {}", offset, result.version));
  program += comment_lines("machine: " + result.machine_name);
  program += comment_lines("origin: " + origin.what);
  program += comment_lines(origin.where);
  program += comment_lines("written: " + options.date);
  program +=
      comment_lines("measured: " + (result.started.empty() ? "time not stated" : result.started) +
                    ", fitted: " + result.made);
  program += comment_lines(u95_line(origin));
}

void add_cautions(std::string& program, const Origin& origin, const OffsetProgramOptions& options) {
  program += comment_lines("CAUTION: a wrong offset can wreck tool, part and machine.");
  program += comment_lines(
      "Only for the machine named above and the set-up measured. Follow the machine manual and "
      "local safety rules. A qualified person checks the first run: no part, high up, slow.");
  program += comment_lines("Write down the old offset first: G10 replaces it and keeps no copy.");
  program += comment_lines(
      "G10 L2 acts at once if this offset is the active one: the next move uses the new origin.");
  program += comment_lines(
      "A G92 shift in force adds to the new origin. M2 at the end clears G92 and selects G54.");
  const bool writes_z = std::any_of(origin.words.begin(), origin.words.end(),
                                    [](const OriginWord& word) { return word.letter == 'Z'; });
  if (writes_z) {
    program += comment_lines(
        "Z counts as this control showed it while probing: to the centre of the stylus ball, or to "
        "its lowest point where length_datum says tip. If machine Z on this control is that of the "
        "spindle nose, allow for the probe length before use.");
  }
  const std::string untouched = left_alone(origin);
  if (!untouched.empty()) {
    program += comment_lines(fmt::format(
        "{} of this offset stays as it is: the axis line does not determine it.", untouched));
  }
  if (options.unit == LengthUnit::inch) program += comment_lines("This program is in inches.");
}

}  // namespace

std::string work_offset_word(int work_offset) {
  return work_offset <= 6 ? fmt::format("G{}", 53 + work_offset)
                          : fmt::format("G59.{}", work_offset - 6);
}

std::string comment_safe(const std::string& text) {
  std::string safe;
  for (const char c : text) {
    const auto byte = static_cast<unsigned char>(c);
    if (c == '(') {
      safe += '[';
    } else if (c == ')') {
      safe += ']';
    } else if (c == '\n' || c == '\r' || c == '\t') {
      safe += ' ';
    } else if (c == '%') {
      safe += '/';
    } else if ((byte & 0xC0U) == 0x80U) {
      continue;  // the rest of a UTF-8 character whose first byte became '?'
    } else {
      safe += (byte >= 0x20 && byte < 0x7F) ? c : '?';
    }
  }
  return safe;
}

std::string comment_lines(const std::string& text) {
  constexpr std::size_t room = longest_program_line - 2;
  std::istringstream words(comment_safe(text));
  std::string lines;
  std::string line;
  const auto flush = [&] {
    if (!line.empty()) lines += "(" + line + ")\n";
    line.clear();
  };
  for (std::string word; words >> word;) {
    while (word.size() > room) {
      flush();
      line = word.substr(0, room);
      word.erase(0, room);
      flush();
    }
    if (!line.empty() && line.size() + 1 + word.size() > room) flush();
    line += (line.empty() ? "" : " ") + word;
  }
  flush();
  return lines;
}

Expected<std::string> offset_program(const FitResult& result, const OffsetProgramOptions& options) {
  Problems reasons = reasons_not_to_write(result);
  if (!reasons.empty()) return tl::make_unexpected(std::move(reasons));
  if (options.work_offset < first_work_offset || options.work_offset > last_work_offset) {
    return failure({ProblemNumber::bad_argument,
                    fmt::format("there is no work offset P{}", options.work_offset),
                    {},
                    "use 1 for G54 up to 6 for G59, and 7 to 9 for G59.1 to G59.3"});
  }
  const Expected<const AxisResult*> axis = chosen_axis(result, options.axis);
  if (!axis) return tl::make_unexpected(axis.error());
  const Expected<Origin> origin = options.foot_towards
                                      ? foot_origin(result, (*axis)->letter, *options.foot_towards)
                                      : centre_origin(**axis);
  if (!origin) return tl::make_unexpected(origin.error());

  std::string program;
  add_header(program, result, *origin, options);
  add_cautions(program, *origin, options);
  // In G91 some controls add what G10 says to the old offset.
  program += options.unit == LengthUnit::inch ? "G90 G20\n" : "G90 G21\n";
  program += fmt::format("(MSG, READ THE COMMENTS. CYCLE START SETS {})\n",
                         work_offset_word(options.work_offset));
  program += "M0\n";
  program += g10_line(*origin, options);
  program += "M2\n";
  return program;
}

}  // namespace pivotrace
