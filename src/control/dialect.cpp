#include "pivotrace/control/dialect.h"

namespace pivotrace {

namespace {

class Complaints {
 public:
  explicit Complaints(const Dialect& dialect) : dialect_(dialect) {}

  void when(bool wrong, const std::string& what, const std::string& advice) {
    if (!wrong) return;
    problems_.push_back({ProblemNumber::bad_dialect, what, {dialect_.file, 0, 0}, advice});
  }
  Problems take() { return std::move(problems_); }

 private:
  const Dialect& dialect_;
  Problems problems_;
};

bool has_blank(const std::string& form, const std::string& blank) {
  return form.find('{' + blank + '}') != std::string::npos;
}

void check_words(const Dialect& dialect, Complaints& complaints) {
  for (const Meaning needed : {Meaning::feed, Meaning::rapid, Meaning::skip}) {
    complaints.when(dialect.word(needed).empty(), "there is no word for " + key_of(needed),
                    "add `" + key_of(needed) + "` under [words]");
  }
  complaints.when(
      dialect.word(Meaning::millimetres).empty() && dialect.word(Meaning::inches).empty(),
      "there is no word for units", "add `millimetres` or `inches` under [words]");
  for (const auto& line : dialect.setup) {
    for (const Meaning meaning : line) {
      complaints.when(dialect.word(meaning).empty(),
                      "the set-up asks for " + key_of(meaning) + ", which has no word",
                      "add it under [words] or take it out of `setup`");
    }
  }
}

void check_forms(const Dialect& dialect, Complaints& complaints) {
  const auto need = [&](const std::string& form, const std::string& key, const std::string& blank) {
    complaints.when(!form.empty() && !has_blank(form, blank),
                    "`" + key + "` has no {" + blank + "}", "write it as in routines/macro.toml");
  };
  need(dialect.assignment.form, "assignment.form", "variable");
  need(dialect.assignment.form, "assignment.form", "value");
  need(dialect.branches.jump, "branches.jump", "label");
  need(dialect.branches.jump_if, "branches.jump_if", "label");
  need(dialect.branches.jump_if, "branches.jump_if", "condition");
  need(dialect.branches.label, "branches.label", "label");
  need(dialect.branches.while_begin, "branches.while_begin", "condition");
  need(dialect.stops.demand, "stops.demand", "condition");
  need(dialect.stops.alarm, "stops.alarm", "text");
  need(dialect.log.value_item, "log.value_item", "variable");
  need(dialect.log.text_item, "log.text_item", "text");
  need(dialect.offsets.form, "offsets.form", "system");
  need(dialect.offsets.form, "offsets.form", "axes");
  complaints.when(dialect.assignment.form.empty(), "there is no way to set a variable",
                  "add `form` under [assignment], as in routines/macro.toml");
}

void check_skip(const Dialect& dialect, Complaints& complaints) {
  for (const char letter : {'X', 'Y', 'Z'}) {
    complaints.when(!dialect.skip.trip_variable.contains(letter),
                    std::string("the trip point of ") + letter + " is held in no variable",
                    "add it under [skip.trip_variable]");
  }
  complaints.when(dialect.skip.min_distance_mm < 0.0, "the shortest skip move is negative",
                  "give `min_distance_mm` as 0 or more");
}

void check_ranges(const Dialect& dialect, Complaints& complaints) {
  const VariableRules& rules = dialect.variables;
  const auto inside = [&](const VariableRange& range, const std::string& key) {
    complaints.when(range.first > range.last || range.first < rules.readable.first ||
                        range.last > rules.readable.last,
                    "`" + key + "` is empty or not within `readable`",
                    "give [first, last] within the numbers this control has");
  };
  inside(rules.working, "variables.working");
  inside(rules.table, "variables.table");
  if (rules.results) inside(*rules.results, "variables.results");
  complaints.when(!dialect.log.available() && !rules.results,
                  "touches can neither be logged nor left in variables",
                  "describe [log], or give `results` under [variables]");
}

}  // namespace

Problems Dialect::validate() const {
  Complaints complaints(*this);
  check_words(*this, complaints);
  check_forms(*this, complaints);
  check_skip(*this, complaints);
  check_ranges(*this, complaints);
  complaints.when(numbers.decimals_mm < 0 || numbers.decimals_mm > 9 || numbers.decimals_inch < 0 ||
                      numbers.decimals_inch > 9 || numbers.decimals_deg < 0 ||
                      numbers.decimals_deg > 9,
                  "decimals must lie between 0 and 9", "give what the control can read");
  complaints.when(!refusals.empty() && !branches.can_jump() && stops.demand.empty(),
                  "a control without branches cannot test `refuse`",
                  "take out the [[refuse]] entries, or describe [branches]");
  return complaints.take();
}

std::string Dialect::word(Meaning meaning) const {
  const auto found = words.find(meaning);
  return found == words.end() || found->second.empty() ? std::string() : found->second.front();
}

}  // namespace pivotrace
