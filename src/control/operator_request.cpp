#include "pivotrace/control/operator_request.h"

#include <fmt/format.h>

#include <cmath>
#include <map>
#include <utility>

#include "base/double_chars.h"
#include "pivotrace/control/control_sheet.h"

namespace pivotrace {

namespace {

/// No marks but letters and digits: a control may not print others.
const std::vector<std::pair<OperatorTask, std::string>>& forms() {
  static const std::vector<std::pair<OperatorTask, std::string>> table = {
      {OperatorTask::turn_spindle, "turn the spindle to {degrees} deg"},
      {OperatorTask::look_at_axes, "look whether the machine stands at {where}"},
      {OperatorTask::look_for_trigger, "start only if the probe has triggered"},
      {OperatorTask::type_position, "type machine X into {X} Y into {Y} Z into {Z} then start"},
      {OperatorTask::look_at_value, "start only if {X} is not below 0"},
  };
  return table;
}

std::string form_of(OperatorTask task) {
  for (const auto& [known, form] : forms()) {
    if (known == task) return form;
  }
  return "";
}

std::optional<double> number_in(const std::string& text) {
  double number = 0.0;
  const char* last = text.data() + text.size();
  const auto read = double_from_chars(text.data(), last, number);
  const bool whole = read.ec == std::errc() && read.ptr == last && std::isfinite(number);
  return whole ? std::optional(number) : std::nullopt;
}

std::optional<OperatorRequest> read_as(OperatorTask task, const std::string& form,
                                       const std::string& text) {
  const auto found = match_form("{before}" + form + "{after}", text);
  if (!found) return std::nullopt;
  OperatorRequest request;
  request.task = task;
  if (task == OperatorTask::turn_spindle) {
    const std::optional<double> degrees = number_in(found->at("degrees"));
    if (!degrees) return std::nullopt;
    request.degrees = *degrees;
  }
  if (task == OperatorTask::type_position) {
    request.variables = {found->at("X"), found->at("Y"), found->at("Z")};
  }
  if (task == OperatorTask::look_at_value) request.variables[0] = found->at("X");
  return request;
}

}  // namespace

OperatorRequest told(std::vector<RequestPart> text) {
  OperatorRequest request;
  request.text = std::move(text);
  return request;
}

OperatorRequest spindle_request(double degrees) {
  OperatorRequest request = told({TaskWords{}, " and hold it there, then start"});
  request.task = OperatorTask::turn_spindle;
  request.degrees = degrees;
  return request;
}

OperatorRequest look_at_axes_request(const std::string& where) {
  OperatorRequest request = told({TaskWords{}, ", if not do not start"});
  request.task = OperatorTask::look_at_axes;
  request.where = where;
  return request;
}

OperatorRequest look_for_trigger_request() {
  OperatorRequest request = told({TaskWords{}, ", else find out why and do not start"});
  request.task = OperatorTask::look_for_trigger;
  return request;
}

OperatorRequest type_position_request(const std::array<std::string, 3>& variable_names) {
  OperatorRequest request = told({TaskWords{}});
  request.task = OperatorTask::type_position;
  request.variables = variable_names;
  return request;
}

OperatorRequest look_at_value_request(const std::string& variable_name, const std::string& wrong) {
  OperatorRequest request = told({TaskWords{}, ", else stop here: " + wrong});
  request.task = OperatorTask::look_at_value;
  request.variables[0] = variable_name;
  return request;
}

std::string task_words(const OperatorRequest& request, const std::array<std::string, 3>& spelled) {
  return fill_form(form_of(request.task), {{"degrees", fmt::format("{:.0f}", request.degrees)},
                                           {"where", request.where},
                                           {"X", spelled[0]},
                                           {"Y", spelled[1]},
                                           {"Z", spelled[2]}});
}

OperatorRequest read_request(const std::string& text) {
  for (const auto& [task, form] : forms()) {
    if (const auto request = read_as(task, form, text)) return *request;
  }
  return {};
}

}  // namespace pivotrace
