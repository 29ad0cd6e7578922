#include "pivotrace/report/history_text.h"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <chrono>
#include <cmath>

#include "base/number_text.h"
#include "base/wrapped_text.h"
#include "report/change_columns.h"

namespace pivotrace {

namespace {

using report::ChangeColumns;

constexpr std::size_t drawing_columns = 24;

std::string date_text(double time_s) {
  const std::chrono::sys_days day = std::chrono::floor<std::chrono::days>(
      std::chrono::sys_seconds(std::chrono::seconds(std::llround(time_s))));
  const std::chrono::year_month_day date(day);
  return fmt::format("{:04}-{:02}-{:02}", static_cast<int>(date.year()),
                     static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()));
}

std::string heading(const History& history) {
  std::string text =
      fmt::format("Machine \"{}\": {} results", history.machine_name, history.epochs.size());
  if (history.epochs.empty()) return text + "\n";
  return text + fmt::format(", {} to {}\n", date_text(history.epochs.front().time_s),
                            date_text(history.epochs.back().time_s));
}

/// The last results as bars between the smallest and the largest of them; more results than columns: the
/// last of each group.
std::string drawn(const std::vector<HistoryPoint>& points) {
  constexpr std::array<const char*, 8> bars = {"▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"};
  if (points.empty()) return "";
  const auto [low, high] = std::ranges::minmax(points, {}, &HistoryPoint::value);
  const double span = high.value - low.value;
  const std::size_t columns = std::min(points.size(), drawing_columns);
  std::string text;
  for (std::size_t column = 1; column <= columns; ++column) {
    const HistoryPoint& point = points[points.size() * column / columns - 1];
    const double part = span > 0.0 ? (point.value - low.value) / span : 0.5;
    text += bars[static_cast<std::size_t>(std::min(7.0, std::floor(8.0 * part)))];
  }
  return text + std::string(drawing_columns - columns, ' ');
}

std::string trend_text(const ValueHistory& value, const ChangeColumns& columns) {
  if (value.trend.results < 3) return "-";
  return fmt::format("{} +-{}", columns.change(value.name, value.trend.per_month),
                     columns.size(value.name, value.trend.U95));
}

bool cried(const ValueHistory& value) {
  return std::ranges::any_of(value.points, &HistoryPoint::alarm);
}

std::string state_text(const ValueHistory& value) {
  std::string text;
  const auto add = [&](const std::string& word) { text += (text.empty() ? "" : ", ") + word; };
  if (!value.jumps.empty())
    add(value.jumps.size() == 1 ? "jumped" : fmt::format("{} jumps", value.jumps.size()));
  if (value.trend.creeps) add("creeps");
  if (text.empty() && cried(value)) add("restless");
  return text.empty() ? "steady" : text;
}

std::string row(const std::string& name, const std::string& last, const std::string& U95,
                const std::string& trend, const std::string& picture, const std::string& state) {
  std::string text =
      fmt::format("  {:<16} {:>11} {:>8}  {:>15}  {}  {}", name, last, U95, trend, picture, state);
  return text.erase(text.find_last_not_of(' ') + 1) + "\n";
}

std::string unit_row(const ValueName& name, const ChangeColumns& columns) {
  const std::string small = columns.change_unit(name);
  return row("", columns.value_unit(name), small, small, std::string(drawing_columns, ' '), "");
}

std::string table(const History& history, const ChangeColumns& columns) {
  std::string text = row("value", "last", "U95", "per month",
                         fmt::format("{:<{}}", "over time", drawing_columns), "");
  bool first = true;
  bool angle = false;
  for (const ValueHistory& value : history.values) {
    if (first || is_angle(value.name) != angle) text += unit_row(value.name, columns);
    first = false;
    angle = is_angle(value.name);
    const HistoryPoint& last = value.points.back();
    text += row(text_of(value.name), columns.value(value.name, last.value),
                columns.size(value.name, last.U95), trend_text(value, columns), drawn(value.points),
                state_text(value));
  }
  return text;
}

const Epoch& epoch_at(const History& history, const ValueHistory& value, std::size_t point) {
  return history.epochs[value.points[point].epoch];
}

std::string jump_text(const History& history, const ValueHistory& value, const Jump& jump,
                      const ChangeColumns& columns) {
  return fmt::format("{} jumped by {} {}, U95 {}, between {} and {}", text_of(value.name),
                     columns.change(value.name, jump.size), columns.change_unit(value.name),
                     columns.size(value.name, jump.U95),
                     date_text(epoch_at(history, value, jump.before).time_s),
                     date_text(epoch_at(history, value, jump.before + 1).time_s));
}

std::string events(const History& history, const ChangeColumns& columns) {
  std::string text;
  for (const ValueHistory& value : history.values) {
    for (const Jump& jump : value.jumps)
      text += wrapped(jump_text(history, value, jump, columns), "  - ", 4);
    if (value.trend.creeps) {
      text += wrapped(
          fmt::format("{} creeps by {} {} a month, U95 {}, over the last {} results",
                      text_of(value.name), columns.change(value.name, value.trend.per_month),
                      columns.change_unit(value.name), columns.size(value.name, value.trend.U95),
                      value.trend.results),
          "  - ", 4);
    }
    if (value.scatter > 1.0) {
      text += wrapped(
          fmt::format("{} scatters {} times more than the results state; U95 above is enlarged "
                      "by that",
                      text_of(value.name), fixed_text(value.scatter, 1)),
          "  - ", 4);
    }
  }
  for (const AxisHistory& axis : history.axes) {
    const auto first = std::ranges::find(axis.alarm, true);
    if (first == axis.alarm.end()) continue;
    const std::size_t at = axis.epochs[static_cast<std::size_t>(first - axis.alarm.begin())];
    text +=
        wrapped(fmt::format("the chart of all values of axis {} together first gave an alarm at {}",
                            axis.letter, date_text(history.epochs[at].time_s)),
                "  - ", 4);
  }
  return text.empty() ? "NOTHING JUMPED, NOTHING CREEPS as far as these results can show.\n"
                      : "WHAT HAPPENED\n" + text;
}

/// The earliest date of all values that have a limit, or why there is none.
std::string next_check(const History& history) {
  using Kind = NextCheck::Kind;
  const ValueHistory* earliest = nullptr;
  bool limited = false;
  bool enough = false;
  for (const ValueHistory& value : history.values) {
    if (value.next.kind == Kind::no_limit) continue;
    limited = true;
    if (value.next.kind == Kind::overdue) {
      return fmt::format("NEXT CHECK: now. {} with its U95 is already beyond the limit.",
                         text_of(value.name));
    }
    enough = enough || value.next.kind != Kind::not_enough_results;
    const bool dated = value.next.kind == Kind::by_date;
    if (dated && (earliest == nullptr || value.next.time_s < earliest->next.time_s))
      earliest = &value;
  }
  if (!limited) {
    return "NEXT CHECK: no date, because no limit was given (--within LENGTH or --limits FILE).";
  }
  if (!enough)
    return "NEXT CHECK: no date: not enough results since the last jump (three are needed).";
  if (earliest == nullptr) {
    return fmt::format("NEXT CHECK: within {:.0f} months; no value reaches its limit before.",
                       horizon_months);
  }
  return fmt::format(
      "NEXT CHECK: before {}. By then drift and U95 of {} together may reach the limit.",
      date_text(earliest->next.time_s), text_of(earliest->name));
}

std::string other_text(const CompareNote& what) {
  using Kind = CompareNote::Kind;
  switch (what.kind) {
    case Kind::probe_not_stated:
      return "and the newest do not both say which probe was used and when it was calibrated: its "
             "errors are counted in each";
    case Kind::other_probe: return "were made with another probe: its errors are their own";
    case Kind::other_calibration:
      return "were made before the probe was calibrated anew: its errors are their own";
    case Kind::other_load:
      return "carried another load: shifts between surveys are taken twice as large there";
    case Kind::other_warmth:
      return "were made in another warmth of the machine: shifts between surveys are taken twice "
             "as large there";
    case Kind::other_clamping: return "were touched clamped or free otherwise: index errors differ";
    case Kind::other_rollover: return "reached their angles another way round: index errors differ";
    case Kind::other_coupling:
      return fmt::format("had a toothed coupling of another pitch on axis {}: index errors differ",
                         what.axis);
    default: return "";
  }
}

/// "3 results (2026-01-02 to 2026-03-02)"
std::string which_text(const History& history, const std::vector<std::size_t>& epochs) {
  const std::string first = date_text(history.epochs[epochs.front()].time_s);
  if (epochs.size() == 1) return fmt::format("1 result ({})", first);
  return fmt::format("{} results ({} to {})", epochs.size(), first,
                     date_text(history.epochs[epochs.back()].time_s));
}

std::string chart_note(const History& history, const ChangeColumns& columns) {
  return fmt::format(
      "charts: weighted means (newest result {}), each value beyond {} of its own deviations; one "
      "false "
      "alarm of a chart in {:.0f} results on average; between two surveys {} per coordinate is "
      "allowed for",
      fixed_text(history.design.weight, 2), fixed_text(history.design.limit, 3), history.run_length,
      columns.small(history.between_surveys_mm));
}

}  // namespace

std::string left_out_text(const LeftOutOfHistory& left_out) {
  using Why = LeftOutOfHistory::Why;
  switch (left_out.why) {
    case Why::unreadable: return "cannot be read: " + left_out.detail;
    case Why::other_machine: return fmt::format("is of another machine, \"{}\"", left_out.detail);
    case Why::not_usable: return "says of itself that it is not usable";
    case Why::no_date: return "does not say when the survey was made";
    case Why::duplicate: return "comes from the same touch record as " + left_out.detail;
    case Why::no_values: return "holds no value that could be followed";
    case Why::other_tables:
      return "was measured with other compensation in the control than the newest: another "
             "quantity";
  }
  return "";
}

std::vector<std::string> condition_texts(const History& history) {
  std::vector<std::string> texts;
  for (const OtherConditions& other : history.conditions) {
    texts.push_back(which_text(history, other.epochs) + " " + other_text(other.what));
  }
  return texts;
}

std::string history_text(const History& history, LengthUnit unit) {
  const ChangeColumns columns(unit);
  std::string text = heading(history);
  if (!history.epochs.empty()) {
    text += "\n" + table(history, columns) + "\n" + events(history, columns);
    text += wrapped(next_check(history), "", 2);
    for (const std::string& line : condition_texts(history)) text += wrapped(line, "  note: ", 8);
    text += wrapped(chart_note(history, columns), "  note: ", 8);
  }
  for (const LeftOutOfHistory& file : history.left_out) {
    text += wrapped(file.file + " " + left_out_text(file), "  left out: ", 12);
  }
  return text;
}

}  // namespace pivotrace
