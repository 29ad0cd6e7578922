#include "control/request_text.h"

#include <array>
#include <variant>

namespace pivotrace::control {

std::string RequestText::value_shown(const ShownVariable& variable) const {
  const std::string& form = sheet_.stops.value_in_text;
  const std::string spelled = speller_.variable(variable.name);
  return form.empty() ? spelled : fill_form(form, {{"variable", spelled}});
}

std::string RequestText::values_beside(const OperatorRequest& request) const {
  if (sheet_.stops.value_in_text.empty()) return "";
  std::string values;
  for (const RequestPart& part : request.text) {
    if (const auto* variable = std::get_if<ShownVariable>(&part)) {
      values += " " + speller_.variable(variable->name) + " " + value_shown(*variable);
    }
  }
  return values;
}

std::string RequestText::shown(const ShownLength& length) const {
  return speller_.number(length.mm, NumberKind::length);
}

std::string RequestText::shown(const ShownOrigin& origin) const {
  const PositionRules& position = sheet_.position;
  const auto first = position.work_origin_1.find(origin.letter);
  if (first == position.work_origin_1.end()) return speller_.plain_text("see offset page");
  return speller_.variable(first->second + (origin.system - 1) * position.work_origin_step);
}

/// The words of a task stand for what the operator does: nothing of them may be lost.
std::string RequestText::task(const OperatorRequest& request) const {
  if (request.variables[0].empty()) return speller_.plain_text(task_words(request, {}));
  std::array<std::string, 3> spelled;
  for (std::size_t i = 0; i < 3 && !request.variables[i].empty(); ++i) {
    spelled[i] = speller_.variable(request.variables[i]);
  }
  return speller_.in_case(task_words(request, spelled));
}

std::string RequestText::text(const OperatorRequest& request, bool shows_values) const {
  struct PartText {
    const RequestText& owner;
    const OperatorRequest& request;
    bool shows_values;
    std::string operator()(const std::string& words) const {
      return owner.speller_.plain_text(words);
    }
    std::string operator()(const TaskWords&) const { return owner.task(request); }
    std::string operator()(const ShownVariable& variable) const {
      return shows_values ? owner.value_shown(variable) : owner.speller_.variable(variable.name);
    }
    std::string operator()(const NamedVariable& variable) const {
      return owner.speller_.variable(variable.name);
    }
    std::string operator()(const ShownLength& length) const { return owner.shown(length); }
    std::string operator()(const ShownOrigin& origin) const { return owner.shown(origin); }
  };
  std::string all;
  for (const RequestPart& part : request.text) {
    all += std::visit(PartText{*this, request, shows_values}, part);
  }
  return all;
}

}  // namespace pivotrace::control
