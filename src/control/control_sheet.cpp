#include "pivotrace/control/control_sheet.h"

#include <algorithm>

namespace pivotrace {

namespace {

/// G54 to G59.3 of RS274/NGC (NISTIR 6556).
constexpr int most_work_offsets = 9;
/// More no double tells apart over the travel of a machine.
constexpr int most_decimals = 9;

class Complaints {
 public:
  explicit Complaints(const ControlSheet& sheet) : sheet_(sheet) {}

  void when(bool wrong, const std::string& what, const std::string& advice) {
    const auto said = [&](const Problem& problem) { return problem.what == what; };
    if (!wrong || std::any_of(problems_.begin(), problems_.end(), said)) return;
    problems_.push_back({ProblemNumber::bad_control_sheet, what, {sheet_.file, 0, 0}, advice});
  }
  Problems take() { return std::move(problems_); }

 private:
  const ControlSheet& sheet_;
  Problems problems_;
};

bool has_blank(const std::string& form, const std::string& blank) {
  return form.find('{' + blank + '}') != std::string::npos;
}

void check_words(const ControlSheet& sheet, Complaints& complaints) {
  for (const Meaning needed : {Meaning::feed, Meaning::rapid, Meaning::skip}) {
    complaints.when(sheet.word(needed).empty() && !sheet.is_open("words." + key_of(needed)),
                    "there is no word for " + key_of(needed),
                    "add `" + key_of(needed) + "` under [words]");
  }
  const auto none_for = [&](Meaning unit) {
    return sheet.word(unit).empty() && !sheet.is_open("words." + key_of(unit));
  };
  complaints.when(none_for(Meaning::millimetres) && none_for(Meaning::inches),
                  "there is no word for units", "add `millimetres` or `inches` under [words]");
  for (const auto& line : sheet.setup) {
    for (const Meaning meaning : line) {
      complaints.when(sheet.word(meaning).empty() && !sheet.is_open("words." + key_of(meaning)),
                      "the set-up asks for " + key_of(meaning) + ", which has no word",
                      "add it under [words] or take it out of `setup`");
    }
  }
}

void check_forms(const ControlSheet& sheet, Complaints& complaints) {
  const auto need = [&](const std::string& form, const std::string& key, const std::string& blank) {
    complaints.when(!form.empty() && !has_blank(form, blank),
                    "`" + key + "` has no {" + blank + "}",
                    "write it as in routines/demo-control.toml");
  };
  need(sheet.assignment.form, "assignment.form", "variable");
  need(sheet.assignment.form, "assignment.form", "value");
  need(sheet.branches.jump, "branches.jump", "label");
  need(sheet.branches.jump_if, "branches.jump_if", "label");
  need(sheet.branches.jump_if, "branches.jump_if", "condition");
  need(sheet.branches.label, "branches.label", "label");
  need(sheet.branches.while_begin, "branches.while_begin", "condition");
  need(sheet.stops.demand, "stops.demand", "condition");
  need(sheet.stops.alarm, "stops.alarm", "text");
  need(sheet.log.value_item, "log.value_item", "variable");
  need(sheet.log.text_item, "log.text_item", "text");
  need(sheet.offsets.form, "offsets.form", "system");
  need(sheet.offsets.form, "offsets.form", "axes");
  complaints.when(sheet.assignment.form.empty() && !sheet.is_open("assignment.form"),
                  "there is no way to set a variable",
                  "add `form` under [assignment], as in routines/demo-control.toml");
}

void check_skip(const ControlSheet& sheet, Complaints& complaints) {
  complaints.when(sheet.skip.min_distance_mm < 0.0, "the shortest skip move is negative",
                  "give `min_distance_mm` as 0 or more");
}

void check_offsets(const ControlSheet& sheet, Complaints& complaints) {
  const int own = sheet.offsets.own_system;
  complaints.when(own < 0 || own > most_work_offsets, "`own_system` is no work offset",
                  "give 1 to 9, or 0 for none");
  if (own < 1 || own > most_work_offsets) return;
  complaints.when(sheet.offsets.form.empty(), "`own_system` needs a line that writes work offsets",
                  "give `form` under [offsets]");
  const auto meaning = static_cast<Meaning>(static_cast<int>(Meaning::work_offset_1) + own - 1);
  complaints.when(sheet.word(meaning).empty(), "there is no word that selects `own_system`",
                  "add `" + key_of(meaning) + "` under [words]");
}

void check_decimals(const ControlSheet& sheet, Complaints& complaints) {
  const NumberRules& numbers = sheet.numbers;
  const LogRules& log = sheet.log;
  for (const int decimals :
       {numbers.decimals_mm, numbers.decimals_inch, numbers.decimals_deg, numbers.decimals_feed,
        numbers.decimals_factor, log.decimals, log.decimals_inch}) {
    complaints.when(decimals < 0 || decimals > most_decimals, "decimals must lie between 0 and 9",
                    "give what the control can read");
  }
}

void check_ranges(const ControlSheet& sheet, Complaints& complaints) {
  const VariableRules& rules = sheet.variables;
  const auto inside = [&](const VariableRange& range, const std::string& key) {
    if (sheet.is_open(key) || sheet.is_open("variables.readable")) return;
    complaints.when(range.first > range.last || range.first < rules.readable.first ||
                        range.last > rules.readable.last,
                    "`" + key + "` is empty or not within `readable`",
                    "give [first, last] within the numbers this control has");
  };
  inside(rules.working, "variables.working");
  inside(rules.table, "variables.table");
  if (rules.results) inside(*rules.results, "variables.results");
  complaints.when(!sheet.log.available() && !rules.results && !sheet.is_open("log.begin") &&
                      !sheet.is_open("variables.results"),
                  "touches can neither be logged nor left in variables",
                  "describe [log], or give `results` under [variables]");
}

}  // namespace

Problems ControlSheet::validate() const {
  Complaints complaints(*this);
  check_words(*this, complaints);
  check_forms(*this, complaints);
  check_skip(*this, complaints);
  check_ranges(*this, complaints);
  check_offsets(*this, complaints);
  check_decimals(*this, complaints);
  return complaints.take();
}

std::string ControlSheet::word(Meaning meaning) const {
  const auto found = words.find(meaning);
  return found == words.end() || found->second.empty() ? std::string() : found->second.front();
}

bool ControlSheet::is_open(const std::string& slot) const {
  return std::find(open.begin(), open.end(), slot) != open.end();
}

}  // namespace pivotrace
