// What a program asks of the operator: written by the emitter, read by whoever stands in for him.
#include <doctest/doctest.h>

#include <algorithm>
#include <cctype>

#include "pivotrace/control/operator_request.h"

namespace pivotrace {
namespace {

std::string written(const OperatorRequest& request) {
  std::string text;
  for (const RequestPart& part : request.text) {
    if (const auto* words = std::get_if<std::string>(&part)) text += *words;
    if (std::holds_alternative<TaskWords>(part)) text += task_words(request, {"#1", "#22", "#333"});
  }
  return text;
}

std::string in_capitals(std::string text) {
  std::transform(text.begin(), text.end(), text.begin(),
                 [](unsigned char c) { return static_cast<char>(std::toupper(c)); });
  return text;
}

/// As a control shows it: in capitals, without commas, a heading before it.
std::string on_screen(const OperatorRequest& request) {
  std::string text = in_capitals(written(request));
  std::replace(text.begin(), text.end(), ',', ' ');
  return "PART 2: 5 STATIONS " + text;
}

TEST_CASE("every task comes back from its own words, also as a poor screen shows them") {
  for (const OperatorRequest& request :
       {spindle_request(180.0), look_at_axes_request("A at 30 deg, C at 45 deg"),
        look_for_trigger_request(), type_position_request({"typed X", "typed Y", "typed Z"}),
        look_at_value_request("check", "the ball is not where it should be")}) {
    CAPTURE(written(request));
    CHECK(read_request(written(request)).task == request.task);
    CHECK(read_request(on_screen(request)).task == request.task);
  }
  CHECK(read_request(on_screen(spindle_request(180.0))).degrees == 180.0);
  const auto typed = read_request(on_screen(type_position_request({"a", "b", "c"})));
  const auto looked = read_request(on_screen(look_at_value_request("a", "no trigger")));
  CHECK(looked.variables[0] == "#1");
  CHECK(typed.variables == std::array<std::string, 3>{"#1", "#22", "#333"});
}

TEST_CASE("a text without a task is to be read, and a broken one asks for nothing") {
  CHECK(read_request("").task == OperatorTask::read);
  CHECK(read_request("test the probe by hand now").task == OperatorTask::read);
  CHECK(read_request("turn the spindle to some deg").task == OperatorTask::read);
  CHECK(read_request("turn the spindle to 1e999 deg").task == OperatorTask::read);
  CHECK(read_request("type machine X into #1 Y into #2").task == OperatorTask::read);
}

}  // namespace
}  // namespace pivotrace
