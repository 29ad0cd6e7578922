#include "pivotrace/control/proof.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <map>
#include <optional>
#include <sstream>

#include "base/cautions.h"
#include "base/double_chars.h"
#include "control/step_recorder.h"
#include "pivotrace/base/length.h"
#include "pivotrace/control/slots.h"

namespace pivotrace {

namespace {

/// Functions must be right to this, the decimals of the record aside: 0.05 um over 1 mm. Common practice, no
/// source.
constexpr double function_accuracy = 5e-5;
/// What a screen shows may differ from a variable by this [program units]: one and a half of its last decimal
/// (three of mm, four of inches: common practice, no source).
constexpr double screen_step_mm = 0.0015;
constexpr double screen_step_inch = 0.00015;
/// A slow probe move that stops at all stops within this [mm]: common practice, no source.
constexpr double stopping_mm = 1.0;
/// Nearer than this the axis is where it was: common practice, no source.
constexpr double nothing_moved_mm = 0.01;

/// A value the record must hold, or a range it must lie in.
struct Check {
  std::string name;   ///< as it stands in the record: letters and digits
  std::string slots;  ///< what it stands for
  double low = 0.0;
  double high = 0.0;
};

/// The checks of a sheet and the program that makes them, built together so that they agree.
class ProofBuilder {
 public:
  ProofBuilder(const ControlSheet& sheet, const ProofRequest& request)
      : sheet_(sheet), request_(request), steps_(program_) {
    write_head();
    write_values();
    write_functions();
    if (sheet.branches.can_jump()) {
      write_comparisons();
    } else if (!sheet.stops.demand.empty()) {
      demand_comparisons();
    }
    if (sheet.branches.can_loop()) write_loops();
    if (!sheet.variables.index_open.empty()) write_table();
    write_stop();
    write_positions();
    if (request.skip) write_skip();
    write_end();
    program_.record_lines = static_cast<int>(checks_.size());
  }

  const ControlProgram& program() const { return program_; }
  const std::vector<Check>& checks() const { return checks_; }
  const std::vector<std::string>& by_eye() const { return by_eye_; }

 private:
  double unit_mm() const { return request_.inch ? mm_per_inch : 1.0; }

  void write_head() {
    program_.kind = ProgramKind::proof;
    program_.title = "proof of the control sheet " + sheet_.name;
    program_.inch = request_.inch;
    program_.header = {
        "it moves nothing until the last part, one slow probe move in free air",
        "CAUTION: stylus and axes well away from everything before the start.", rules_come_first,
        "Take the record, or the listing of the variables, back to pivotrace check --proof."};
    by_eye_ = {"text.*: whether remarks and lines look as the control wants them",
               "stops.operator_stop: whether it waits, and shows its text"};
    steps_.add(LogFileStep{true, {"number", "check", "value"}});
  }

  /// Writes a value to the record, and down that it must lie between two bounds.
  void record(const std::string& name, const std::string& slots, const Value& value, double low,
              double high) {
    checks_.push_back({name, slots, low, high});
    const Variable kept = steps_.variable("kept for the record");
    steps_.set(kept, value);
    LogStep line;
    line.number = count(static_cast<int>(checks_.size()));
    line.at = {Value(kept), Value(0.0), Value(0.0)};
    line.items = {
        {"", line.number, NumberKind::count}, {name}, {"", Value(kept), NumberKind::plain}};
    steps_.add(line);
  }
  void record_near(const std::string& name, const std::string& slots, const Value& value,
                   double expected, double within = function_accuracy) {
    const double allowed = within + rounding();
    record(name, slots, value, expected - allowed, expected + allowed);
  }
  /// Half the last decimal of the record.
  double rounding() const {
    return sheet_.log.available() ? 0.5 * std::pow(10.0, -sheet_.log.decimals) : 0.0;
  }

  Variable held(const std::string& name, double number) {
    const Variable variable = steps_.variable(name);
    steps_.set(variable, Value(number));
    return variable;
  }

  void write_values() {
    steps_.heading("NUMBERS AND ARITHMETIC");
    const Variable a = held("a", 3.5), b = held("b", -1.25), c = held("c", 2.0);
    record_near("set", "assignment, numbers, variables", a, 3.5);
    record_near("negative", "numbers with a sign", b, -1.25);
    record_near("small", "decimals of bare factors", held("small", 0.0625), 0.0625);
    record_near("add", "operators.add", a + b, 2.25);
    record_near("subtract", "operators.subtract", a - b, 4.75);
    record_near("multiply", "operators.multiply", a * b, -4.375);
    record_near("divide", "operators.divide", b / c, -0.625);
    record_near("order", "precedence, brackets", (a + b * c) / (a - b) * c, 2.0 / 4.75);
    record_near("chain", "left to right, brackets", a - (b - c) - c, 4.75);
  }

  void write_functions() {
    steps_.heading("FUNCTIONS");
    const Variable thirty = held("thirty", 30.0), minus = held("minus", -7.5);
    record_near("sine", "functions.sine, in degrees", sine(thirty), 0.5);
    record_near("cosine", "functions.cosine, in degrees", cosine(thirty), std::sqrt(0.75));
    record_near("root", "functions.square-root", square_root(Value(thirty)), std::sqrt(30.0));
    record_near("absolute", "functions.absolute", absolute(minus), 7.5);
  }

  /// One bit for every condition that was found true.
  void write_comparisons() {
    steps_.heading("CONDITIONS AND JUMPS");
    const Variable low = held("low", 1.0), high = held("high", 2.0), again = held("again", 1.0);
    const auto bit = [&](const std::string& name, Comparison comparison, int expected) {
      const Variable bits = held("bits", 0.0);
      const auto add = [&](const Value& left, const Value& right, double worth) {
        steps_.only_if(std::nullopt, {left, comparison, right},
                       [&] { steps_.set(bits, Value(bits) + Value(worth)); });
      };
      add(low, high, 1.0);
      add(low, again, 2.0);
      add(high, low, 4.0);
      record_near(name, "comparisons, branches", bits, expected);
    };
    bit("less", Comparison::less, 1);
    bit("lessOrEqual", Comparison::less_equal, 3);
    bit("greater", Comparison::greater, 4);
    bit("greaterOrEqual", Comparison::greater_equal, 6);
    if (!sheet_.expressions.comparisons.contains(Comparison::equal)) return;
    if (!sheet_.expressions.comparisons.contains(Comparison::not_equal)) return;
    bit("equal", Comparison::equal, 2);
    bit("notEqual", Comparison::not_equal, 5);
  }

  /// Without jumps a condition only stops: each must hold here, so a wrong one ends the proof.
  void demand_comparisons() {
    steps_.heading("CONDITIONS");
    const Variable low = held("low", 1.0), high = held("high", 2.0), again = held("again", 1.0);
    const auto demand = [&](const Value& left, Comparison comparison, const Value& right) {
      if (!sheet_.expressions.comparisons.contains(comparison)) return;
      steps_.add(DemandStep{{left, comparison, right},
                            "condition " + key_of(comparison) + " does not hold"});
    };
    demand(low, Comparison::less, high);
    demand(low, Comparison::less_equal, high);
    demand(low, Comparison::less_equal, again);
    demand(high, Comparison::greater, low);
    demand(high, Comparison::greater_equal, low);
    demand(low, Comparison::greater_equal, again);
    demand(low, Comparison::equal, again);
    demand(low, Comparison::not_equal, high);
  }

  void write_loops() {
    steps_.heading("LOOPS");
    const Variable rounds = held("rounds", 0.0);
    const auto loop = [&](const std::string& counter, auto body) {
      steps_.repeat(steps_.variable(counter), 0, count(3), false, body);
    };
    loop("outer", [&](const Value&, int) {
      if (sheet_.branches.while_levels < 2) return steps_.set(rounds, Value(rounds) + Value(3.0));
      loop("inner", [&](const Value&, int) { steps_.set(rounds, Value(rounds) + Value(1.0)); });
    });
    record_near("loop", "branches.while_begin, while_end, while_levels", rounds, 9.0);
  }

  void write_table() {
    steps_.heading("COMPUTED VARIABLE NUMBERS");
    const Table table = steps_.table("table", 3);
    const Variable index = held("index", 2.0);
    steps_.set_element(table, count(0), Value(10.0));
    steps_.set_element(table, count(2), Value(30.0));
    record_near("index", "variables.index_open, index_close, table", element(table, index), 30.0);
    steps_.set_element(table, Value(index) - count(1), Value(20.0));
    record_near("indexSet", "variables.index_open, set", element(table, count(1)), 20.0);
  }

  void write_stop() {
    steps_.heading("VARIABLES ACROSS A STOP");
    const Variable kept = held("kept over the stop", 17.25);
    steps_.add(
        OperatorStopStep{told({"this text must be shown and the program must wait, then "
                               "start"})});
    record_near("stop", "variables.working, kept over a stop", kept, 17.25);
    if (sheet_.stops.value_in_text.empty()) return;
    steps_.add(OperatorStopStep{
        told({"this text must show 17.25: ", ShownVariable{kept.name}, ", then start"})});
    by_eye_.emplace_back("stops.value_in_text: a stop must show 17.25");
  }

  bool tells_position() const {
    const auto& numbers = sheet_.position.machine_position;
    return numbers.contains('X') && numbers.contains('Y') && numbers.contains('Z');
  }

  /// What the screen shows, typed by a person, beside what the variables hold.
  void write_positions() {
    if (!tells_position()) return;
    steps_.heading("POSITION VARIABLES BESIDE THE SCREEN");
    const std::array<std::string, 3> names = {"screen X", "screen Y", "screen Z"};
    for (const std::string& name : names) steps_.set(steps_.variable(name), Value(0.0));
    steps_.add(OperatorStopStep{type_position_request(names)});
    const double within = request_.inch ? screen_step_inch : screen_step_mm;
    for (std::size_t i = 0; i < 3; ++i) {
      const char letter = "XYZ"[i];
      record_near(std::string("machine") + letter, "position.machine_position, units",
                  machine_value(MachineValue::machine_position, letter) - Variable{names[i]}, 0.0,
                  within);
    }
    show_rotary();
  }

  void show_rotary() {
    std::vector<RequestPart> text = {"compare with the screen: "};
    for (const char letter : request_.rotary) {
      if (!sheet_.position.machine_position.contains(letter)) continue;
      const Variable shown = steps_.variable(std::string("shown ") + letter);
      steps_.set(shown, machine_value(MachineValue::machine_position, letter));
      text.insert(text.end(), {std::string(1, letter) + " in ", ShownVariable{shown.name}, " "});
      by_eye_.push_back(fmt::format("position.machine_position.{}: beside the screen", letter));
    }
    if (text.size() > 1) steps_.add(OperatorStopStep{told(std::move(text))});
  }

  /// One slow probe move in free air, triggered by hand.
  void write_skip() {
    steps_.heading("ONE SLOW PROBE MOVE IN FREE AIR");
    steps_.add(OperatorStopStep{
        told({"the next move goes slowly along X, ", ShownLength{request_.skip_mm},
              ": free air all the way? Trigger the probe by hand while it moves"})});
    const Variable start = steps_.variable("start X");
    const bool tells = tells_position();
    if (tells) steps_.set(start, machine_value(MachineValue::machine_position, 'X'));
    steps_.add(SkipStep{{length(request_.skip_mm), std::nullopt, std::nullopt},
                        feed(request_.skip_feed_mm_per_min),
                        "the probe was not triggered",
                        std::nullopt,
                        "",
                        Retreat::none,
                        true});
    if (!tells || trip_source(sheet_) != TripSource::variables) {
      by_eye_.emplace_back("skip.trip_variable: no position to compare it with");
      return;
    }
    const Variable trip = steps_.variable("trip X");
    steps_.set(trip, machine_value(MachineValue::trip_point, 'X'));
    const double travel = request_.skip_mm / unit_mm();
    record("trip", "skip, skip.trip_variable, skip.trip_point", trip - Value(start),
           nothing_moved_mm / unit_mm(), travel - nothing_moved_mm / unit_mm());
    record("atRest", "the control stops at a trigger",
           machine_value(MachineValue::machine_position, 'X') - trip, -screen_step_mm,
           stopping_mm / unit_mm());
  }

  void write_end() {
    steps_.heading("END: THE LAST ALARM IS MEANT");
    program_.retreats[Retreat::none] = {};
    program_.retreats[Retreat::up] = {};
    steps_.add(LogFileStep{false, {}});
    const bool can_stop = sheet_.branches.can_jump() || !sheet_.stops.demand.empty() ||
                          sheet_.stops.root_of_negative_stops;
    if (!can_stop) return;
    const Variable wrong = held("wrong on purpose", 1.0);
    steps_.add(DemandStep{{wrong, Comparison::less_equal, Value(0.0)},
                          "this alarm is meant: the proof ends here"});
    by_eye_.emplace_back("stops.alarm: the program must end with the alarm that says it is meant");
  }

  const ControlSheet& sheet_;
  const ProofRequest& request_;
  ControlProgram program_;
  StepRecorder steps_;
  std::vector<Check> checks_;
  std::vector<std::string> by_eye_;
};

std::vector<std::string> split(const std::string& line, const std::string& separator) {
  std::vector<std::string> parts;
  std::size_t at = 0;
  while (true) {
    const std::size_t end = separator.empty() ? line.find(' ', at) : line.find(separator, at);
    parts.push_back(line.substr(at, end == std::string::npos ? end : end - at));
    if (end == std::string::npos) return parts;
    at = end + std::max<std::size_t>(1, separator.size());
  }
}

std::optional<double> number_of(std::string text, const std::string& decimal_mark) {
  std::erase_if(text, [](char c) { return c == ' ' || c == '\r' || c == '\t'; });
  if (const std::size_t mark = decimal_mark.empty() ? std::string::npos : text.find(decimal_mark);
      mark != std::string::npos) {
    text.replace(mark, decimal_mark.size(), ".");
  }
  double number = 0.0;
  const char* last = text.data() + text.size();
  const auto read = double_from_chars(text.data(), last, number);
  const bool good = read.ec == std::errc() && read.ptr == last && std::isfinite(number);
  return good ? std::optional(number) : std::nullopt;
}

/// The values of a record, by the number of their line.
std::map<int, double> record_values(const ControlSheet& sheet, std::string_view text) {
  std::map<int, double> values;
  std::istringstream lines{std::string(text)};
  for (std::string line; std::getline(lines, line);) {
    const std::vector<std::string> parts = split(line, sheet.log.separator);
    if (parts.size() != 3) continue;
    const auto number = number_of(parts[0], sheet.log.decimal_mark);
    const auto value = number_of(parts[2], sheet.log.decimal_mark);
    if (number && value) values[static_cast<int>(std::lround(*number))] = *value;
  }
  return values;
}

/// The same from a listing: every line of the record stands in three variables.
std::map<int, double> listed_values(const ControlSheet& sheet, std::string_view text) {
  std::map<int, double> values;
  if (!sheet.variables.results) return values;
  const int first = sheet.variables.results->first + 2;
  std::istringstream lines{std::string(text)};
  for (std::string line; std::getline(lines, line);) {
    std::istringstream words(line);
    int number = 0;
    double value = 0.0;
    if (!(words >> number >> value) || number < first || (number - first) % 3 != 0) continue;
    values[(number - first) / 3 + 1] = value;
  }
  return values;
}

}  // namespace

bool ProofReading::holds() const {
  return !lines.empty() && std::all_of(lines.begin(), lines.end(), [](const ProofLine& line) {
    return line.verdict == ProofVerdict::holds;
  });
}

Expected<EmittedProgram> proof_program(const ControlSheet& sheet, const ProofRequest& request) {
  return emit(ProofBuilder(sheet, request).program(), sheet);
}

Expected<ProofReading> read_proof(const ControlSheet& sheet, std::string_view text,
                                  const std::string& name, const ProofRequest& request) {
  const ProofBuilder proof(sheet, request);
  const std::map<int, double> found =
      sheet.log.available() ? record_values(sheet, text) : listed_values(sheet, text);
  if (found.empty()) {
    return failure({ProblemNumber::no_data,
                    "nothing of a proof is in this file",
                    {name, 0, 0},
                    "give the record, or the listing of variables, that the program of "
                    "`pivotrace cycle --proof` left"});
  }
  ProofReading reading;
  reading.by_eye = proof.by_eye();
  int number = 0;
  for (const Check& check : proof.checks()) {
    ProofLine line;
    line.slot = check.name + ": " + check.slots;
    line.expected = 0.5 * (check.low + check.high);
    if (const auto value = found.find(++number); value != found.end()) {
      line.found = value->second;
      const bool inside = value->second >= check.low && value->second <= check.high;
      line.verdict = inside ? ProofVerdict::holds : ProofVerdict::fails;
    }
    reading.lines.push_back(line);
  }
  return reading;
}

}  // namespace pivotrace
