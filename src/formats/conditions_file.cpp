#include "pivotrace/formats/conditions_file.h"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <cmath>

#include "base/iso_time.h"
#include "base/number_text.h"
#include "base/words.h"
#include "formats/conditions_reader.h"
#include "formats/plain_toml.h"
#include "formats/touch_preamble.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace {

namespace formats {

namespace {

const char* const date_advice = "write year-month-day, for example 2026-03-05";

std::optional<std::string> read_date(TomlTable& table, const char* key) {
  auto date = table.text(key, Need::optional);
  if (!date || seconds_from_iso(*date)) return date;
  table.report(key, ProblemNumber::out_of_range, fmt::format("`{}` is no date", key), date_advice);
  return std::nullopt;
}

std::optional<bool> read_word(TomlTable& table, const char* key, const char* when_true,
                              const char* when_false) {
  const auto word = table.choice(key, Need::optional, {when_true, when_false});
  if (!word) return std::nullopt;
  return *word == when_true;
}

using Report = std::function<void(std::string, std::string)>;

/// "ball = No. 17; pin = P 2": take(name, what) for each; nothing more after a part that is none.
void read_pairs(const char* key, std::string_view value, const char* example, const Report& report,
                const std::function<bool(std::string_view, std::string_view)>& take) {
  while (!value.empty()) {
    const std::size_t end = std::min(value.find(';'), value.size());
    const std::string_view one = value.substr(0, end);
    value.remove_prefix(std::min(end + 1, value.size()));
    const std::size_t equals = one.find('=');
    const std::string_view name = trimmed(one.substr(0, equals));
    const bool whole = equals != std::string_view::npos && !name.empty();
    if (!whole || !take(name, trimmed(one.substr(equals + 1)))) {
      report(fmt::format("`{}` has \"{}\", which cannot be read", key, excerpt(one)),
             fmt::format("write {}; several with semicolons between", example));
      return;
    }
  }
}

void read_artefacts(std::string_view value, Conditions& conditions, const Report& report) {
  const auto take = [&](std::string_view name, std::string_view which) {
    conditions.artefacts[std::string(name)] = std::string(which);
    return true;
  };
  read_pairs("artefacts", value, "the name in the machine file and which one it is: ball = No. 17",
             report, take);
}

void read_index_steps(std::string_view value, Conditions& conditions, const Report& report) {
  constexpr double most_deg = 180.0;
  const auto take = [&](std::string_view letter, std::string_view step) {
    const NumberReading reading = read_number(step);
    const bool good = letter.size() == 1 && letter.front() >= 'A' && letter.front() <= 'C' &&
                      reading.fault == NumberFault::none && reading.value > 0.0 &&
                      reading.value <= most_deg;
    if (good) conditions.index_step_rad[letter.front()] = rad_from_deg(reading.value);
    return good;
  };
  read_pairs("index_step_deg", value,
             "the letter of the axis and the pitch of its coupling in degrees: C = 5", report,
             take);
}

}  // namespace

Conditions read_conditions(TomlTable& table) {
  Conditions conditions;
  conditions.probe = table.text("probe", Need::optional);
  conditions.probe_calibrated = read_date(table, "probe_calibrated");
  conditions.tables_on = read_word(table, "tables", "on", "off");
  conditions.load_kg = table.number("load_kg", Need::optional, Sign::not_negative);
  conditions.warm_minutes = table.number("warm_minutes", Need::optional, Sign::not_negative);
  conditions.clamped = read_word(table, "axes_while_touched", "clamped", "free");
  conditions.tables_written = read_date(table, "tables_written");
  conditions.rollover =
      table.choice("rollover", Need::optional, {rollover_words.begin(), rollover_words.end()});
  const auto pairs = [&](const char* key, const auto& read) {
    const auto text = table.text(key, Need::optional);
    if (!text) return;
    read(*text, conditions, [&](std::string what, std::string advice) {
      table.report(key, ProblemNumber::out_of_range, std::move(what), std::move(advice));
    });
  };
  pairs("index_step_deg", read_index_steps);
  pairs("artefacts", read_artefacts);
  table.refuse_unknown_keys();
  return conditions;
}

const std::vector<std::string>& condition_keys() {
  static const std::vector<std::string> keys = {
      "probe",          "probe_calibrated",   "tables",         "load_kg",
      "warm_minutes",   "axes_while_touched", "tables_written", "rollover",
      "index_step_deg", "artefacts"};
  return keys;
}

namespace {

/// One line of a record.
class ConditionLine {
 public:
  ConditionLine(const std::string& key, std::string_view value, const Report& report)
      : key_(key), value_(value), report_(report) {}

  void number(std::optional<double>& into) const {
    const NumberReading reading = read_number(value_);
    if (reading.fault == NumberFault::none && reading.value >= 0.0) {
      into = reading.value;
    } else {
      refuse("is", "give a number, 0 or more");
    }
  }

  void date(std::optional<std::string>& into) const {
    if (seconds_from_iso(value_)) {
      into = std::string(value_);
    } else {
      report_(fmt::format("`# {}:` is \"{}\", which is no date", key_, excerpt(value_)),
              date_advice);
    }
  }

  void word(std::optional<bool>& into, const char* when_true, const char* when_false) const {
    const std::string given = lower_case(value_);
    if (given == when_true || given == when_false) {
      into = given == when_true;
    } else {
      refuse("cannot be", fmt::format("it is {} or {}", when_true, when_false));
    }
  }

  void rollover(std::optional<std::string>& into) const {
    const std::string given = lower_case(value_);
    if (std::ranges::find(rollover_words, given) != rollover_words.end()) {
      into = given;
    } else {
      refuse("cannot be", fmt::format("it is {}", fmt::join(rollover_words, ", ")));
    }
  }

 private:
  void refuse(const char* verb, std::string advice) const {
    report_(fmt::format("`# {}:` {} \"{}\"", key_, verb, excerpt(value_)), std::move(advice));
  }

  const std::string& key_;
  std::string_view value_;
  const Report& report_;
};

}  // namespace

void read_condition(const std::string& key, std::string_view value, Conditions& conditions,
                    const std::function<void(std::string, std::string)>& report) {
  const ConditionLine line(key, value, report);
  if (key == "probe") {
    conditions.probe = std::string(value);
  } else if (key == "probe_calibrated") {
    line.date(conditions.probe_calibrated);
  } else if (key == "tables") {
    line.word(conditions.tables_on, "on", "off");
  } else if (key == "tables_written") {
    line.date(conditions.tables_written);
  } else if (key == "load_kg") {
    line.number(conditions.load_kg);
  } else if (key == "warm_minutes") {
    line.number(conditions.warm_minutes);
  } else if (key == "axes_while_touched") {
    line.word(conditions.clamped, "clamped", "free");
  } else if (key == "rollover") {
    line.rollover(conditions.rollover);
  } else if (key == "index_step_deg") {
    read_index_steps(value, conditions, report);
  } else {
    read_artefacts(value, conditions, report);
  }
}

}  // namespace formats

Expected<Conditions> conditions_of_machine(std::string_view text, const std::string& name) {
  const auto root = formats::parse_toml(text, name);
  if (!root) return tl::make_unexpected(root.error());
  ProblemList problems(name);
  formats::TomlTable top(*root, "", problems);
  Conditions conditions;
  if (auto table = top.table("conditions", formats::Need::optional)) {
    conditions = formats::read_conditions(*table);
  }
  if (!problems.empty()) return problems.as_failure();
  return conditions;
}

Conditions conditions_of_record(std::string_view text) {
  constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF";
  ProblemList elsewhere("");
  const bool marked = text.substr(0, byte_order_mark.size()) == byte_order_mark;
  return formats::read_touch_preamble(text, marked ? byte_order_mark.size() : 0, elsewhere)
      .conditions;
}

}  // namespace pivotrace
