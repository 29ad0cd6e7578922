#include "pivotrace/report/value_template.h"

#include <fmt/format.h>

#include <kainjow/mustache.hpp>
#include <map>
#include <set>

#include "base/cautions.h"
#include "base/number_text.h"

namespace pivotrace {

namespace {

namespace mustache = kainjow::mustache;

std::string number_of(const PivotValue& value, double amount, const TemplateOptions& options) {
  const bool inch = options.unit == LengthUnit::inch && value.quantity != QuantityKind::angle;
  return fixed_text(shown_value(value.quantity, amount, options.unit),
                    options.decimals + (inch ? 1 : 0));
}

std::string U95_of(const PivotValue& value, const TemplateOptions& options) {
  const bool inch = options.unit == LengthUnit::inch && value.quantity != QuantityKind::angle;
  return uncertainty_text(shown_value(value.quantity, value.U95, options.unit),
                          options.decimals + (inch ? 1 : 0));
}

/// The names a template may use, each with its text. The library's own context leaves out unknown
/// names without a word and splits names at their dots; this one does neither.
class NameBook final : public mustache::basic_context<std::string> {
 public:
  void set(const std::string& name, const std::string& text) {
    entries_.insert_or_assign(name, mustache::data(text));
  }
  void set_list(const std::string& name, mustache::data list) {
    entries_.insert_or_assign(name, std::move(list));
  }
  const std::set<std::string>& unknown() const { return unknown_; }

  void push(const mustache::data* data) override { sections_.push_back(data); }
  void pop() override { sections_.pop_back(); }
  const mustache::data* get(const std::string& name) const override {
    for (auto section = sections_.rbegin(); section != sections_.rend(); ++section) {
      if (const mustache::data* found = (*section)->get(name)) return found;
    }
    const auto entry = entries_.find(name);
    if (entry != entries_.end()) return &entry->second;
    unknown_.insert(name);
    return nullptr;
  }
  const mustache::data* get_partial(const std::string& name) const override {
    unknown_.insert("> " + name);
    return nullptr;
  }

 private:
  std::map<std::string, mustache::data> entries_;
  std::vector<const mustache::data*> sections_;
  mutable std::set<std::string> unknown_;
};

void add_value(NameBook& names, mustache::data& list, const PivotValue& value,
               const TemplateOptions& options) {
  const std::string number = number_of(value, value.value, options);
  const std::string U95 = U95_of(value, options);
  const std::string unit = unit_word(value.quantity, options.unit);
  const std::string symbol = iso_symbol(value.name);
  // Templates written before there was one spelling go on working.
  for (const std::string& name : {text_of(value.name), former_text_of(value.name)}) {
    names.set(name, number);
    names.set(name + ".opposite", number_of(value, -value.value, options));
    names.set(name + ".U95", U95);
    names.set(name + ".unit", unit);
    names.set(name + ".meaning", value.meaning);
    names.set(name + ".symbol", symbol);
  }
  mustache::data entry;
  entry.set("name", text_of(value.name));
  entry.set("number", number);
  entry.set("U95", U95);
  entry.set("unit", unit);
  entry.set("meaning", value.meaning);
  entry.set("symbol", symbol);
  list.push_back(entry);
}

Problems unknown_names(const NameBook& names, const std::vector<PivotValue>& values,
                       const TemplateOptions& options) {
  Problems problems;
  for (const std::string& name : names.unknown()) {
    const Expected<PivotValue> nearest = find_pivot_value(values, name);
    problems.push_back({ProblemNumber::no_such_value,
                        fmt::format("the template asks for {{{{{}}}}}, which there is not", name),
                        {options.file, 0, 0},
                        nearest ? "" : nearest.error().front().advice});
  }
  return problems;
}

}  // namespace

bool shows_caution(const std::string& filled) {
  return filled.find(wrong_value_caution) != std::string::npos;
}

Expected<std::string> fill_template(const FitResult& result, const std::string& text,
                                    const TemplateOptions& options) {
  const Expected<std::vector<PivotValue>> values = pivot_values(result);
  if (!values) return tl::make_unexpected(values.error());
  mustache::mustache form(text);
  if (!form.is_valid()) {
    return failure({ProblemNumber::cannot_parse,
                    "this template is broken: " + form.error_message(),
                    {options.file, 0, 0},
                    "each {{#list}} needs its {{/list}} and each {{ its }}"});
  }
  form.set_custom_escape([](const std::string& plain) { return plain; });
  NameBook names;
  names.set("machine", result.machine_name);
  names.set("measured", result.started);
  names.set("fitted", result.made);
  names.set("written", options.date);
  names.set("units", unit_word(QuantityKind::length, options.unit));
  names.set("coordinates", coordinates_note);
  names.set("caution", result.simulated
                           ? fmt::format("{} {}", simulated_notice, wrong_value_caution)
                           : std::string(wrong_value_caution));
  mustache::data list{mustache::data::type::list};
  for (const PivotValue& value : *values) add_value(names, list, value, options);
  names.set_list("value", list);
  std::string filled = form.render(names);
  const Problems problems = unknown_names(names, *values, options);
  if (!problems.empty()) return tl::make_unexpected(problems);
  return filled;
}

}  // namespace pivotrace
