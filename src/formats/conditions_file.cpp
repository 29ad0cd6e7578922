#include "pivotrace/formats/conditions_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/iso_time.h"
#include "base/number_text.h"
#include "base/words.h"
#include "formats/conditions_reader.h"
#include "formats/plain_toml.h"
#include "formats/touch_preamble.h"

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

/// "ball = No. 17; pin = P 2"
void read_artefacts(std::string_view value, Conditions& conditions,
                    const std::function<void(std::string, std::string)>& report) {
  while (!value.empty()) {
    const std::size_t end = std::min(value.find(';'), value.size());
    const std::string_view one = value.substr(0, end);
    value.remove_prefix(std::min(end + 1, value.size()));
    const std::size_t equals = one.find('=');
    const std::string_view name = trimmed(one.substr(0, equals));
    if (equals == std::string_view::npos || name.empty()) {
      report(fmt::format("`artefacts` has \"{}\", which does not say which artefact is which",
                         excerpt(one)),
             "write the name in the machine file and which one it is: ball = No. 17; several with "
             "semicolons between");
      return;
    }
    conditions.artefacts[std::string(name)] = std::string(trimmed(one.substr(equals + 1)));
  }
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
  if (const auto artefacts = table.text("artefacts", Need::optional)) {
    read_artefacts(*artefacts, conditions, [&](std::string what, std::string advice) {
      table.report("artefacts", ProblemNumber::out_of_range, std::move(what), std::move(advice));
    });
  }
  table.refuse_unknown_keys();
  return conditions;
}

const std::vector<std::string>& condition_keys() {
  static const std::vector<std::string> keys = {
      "probe",        "probe_calibrated",   "tables",   "load_kg",
      "warm_minutes", "axes_while_touched", "artefacts"};
  return keys;
}

void read_condition(const std::string& key, std::string_view value, Conditions& conditions,
                    const std::function<void(std::string, std::string)>& report) {
  const auto number = [&](std::optional<double>& into) {
    const NumberReading reading = read_number(value);
    if (reading.fault == NumberFault::none && reading.value >= 0.0) {
      into = reading.value;
    } else {
      report(fmt::format("`# {}:` is \"{}\"", key, excerpt(value)), "give a number, 0 or more");
    }
  };
  const auto word = [&](std::optional<bool>& into, const char* when_true, const char* when_false) {
    const std::string given = lower_case(value);
    if (given == when_true || given == when_false) {
      into = given == when_true;
    } else {
      report(fmt::format("`# {}:` cannot be \"{}\"", key, excerpt(value)),
             fmt::format("it is {} or {}", when_true, when_false));
    }
  };
  if (key == "probe") {
    conditions.probe = std::string(value);
  } else if (key == "probe_calibrated") {
    if (seconds_from_iso(value)) {
      conditions.probe_calibrated = std::string(value);
    } else {
      report(fmt::format("`# probe_calibrated:` is \"{}\", which is no date", excerpt(value)),
             date_advice);
    }
  } else if (key == "tables") {
    word(conditions.tables_on, "on", "off");
  } else if (key == "load_kg") {
    number(conditions.load_kg);
  } else if (key == "warm_minutes") {
    number(conditions.warm_minutes);
  } else if (key == "axes_while_touched") {
    word(conditions.clamped, "clamped", "free");
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
