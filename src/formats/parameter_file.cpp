#include "pivotrace/formats/parameter_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <cctype>
#include <cmath>

#include "base/cautions.h"
#include "base/number_text.h"
#include "base/problem_list.h"
#include "base/words.h"
#include "pivotrace/base/length.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/touch_file.h"
#include "pivotrace/machine/kinematics.h"
#include "pivotrace/machine/length_datum.h"

namespace pivotrace {

namespace {

/// The words of one line and where they start.
struct Word {
  std::string_view text;
  int column = 1;
};

std::vector<Word> words_of(std::string_view line) {
  std::vector<Word> words;
  std::size_t at = 0;
  while (at < line.size()) {
    const std::size_t start = line.find_first_not_of(" \t\r,", at);
    if (start == std::string_view::npos) break;
    const std::size_t end = std::min(line.find_first_of(" \t\r,", start), line.size());
    words.push_back({line.substr(start, end - start), static_cast<int>(start) + 1});
    at = end;
  }
  return words;
}

bool is_whole_number(std::string_view text) {
  return !text.empty() && text.size() <= 9 && std::all_of(text.begin(), text.end(), [](char c) {
    return std::isdigit(static_cast<unsigned char>(c)) != 0;
  });
}

template <class Visit>
void each_line(std::string_view text, Visit visit) {
  int line = 0;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find('\n', at), text.size());
    visit(text.substr(at, end - at), ++line);
    at = end + 1;
  }
}

/// The program leaves the plan's number first and the number of touches after it: where they stand, a
/// complete run before any other.
std::optional<ResultVariables> results_in(const std::map<int, double>& parameters,
                                          const Plan& plan) {
  const int identity = identity_number_of(plan);
  std::optional<ResultVariables> found;
  for (const auto& [number, value] : parameters) {
    const auto count = parameters.find(number + 1);
    if (std::lround(value) != identity || count == parameters.end()) continue;
    const bool complete = std::lround(count->second) == plan.touch_count();
    if (!found || complete) found = ResultVariables{number, number + 1, number + 2};
    if (complete) break;
  }
  return found;
}

tl::unexpected<Problems> no_results(const std::string& name, const Plan& plan) {
  return failure({ProblemNumber::missing_key,
                  fmt::format("no variable in this file holds the number of this plan, {}",
                              identity_number_of(plan)),
                  {name, 0, 0},
                  "give the listing of all variables the remarks of the program name, after the "
                  "program of this plan has run. An RS274/NGC control saves only parameters its "
                  "file lists: add the rows of `pivotrace cycle --parameter-rows`, and run again"});
}

class ParameterSurvey {
 public:
  ParameterSurvey(const std::map<int, double>& parameters, const std::string& name,
                  const Machine& machine, const Plan& plan, const ResultVariables& results)
      : parameters_(parameters),
        problems_(name),
        machine_(machine),
        plan_(plan),
        results_(results),
        state_(nominal_state(machine)) {
    survey_.file = name;
    survey_.machine_name = machine.name;
  }

  Expected<Survey> read() {
    if (!belongs_to_plan()) return problems_.as_failure();
    for (const PlannedStation& station : plan_.stations) read_station(station);
    if (!problems_.empty()) return problems_.as_failure();
    return std::move(survey_);
  }

 private:
  std::optional<double> parameter(int number) {
    const auto found = parameters_.find(number);
    if (found != parameters_.end()) return found->second;
    if (!missing_said_) {
      missing_said_ = true;
      problems_.add(ProblemNumber::missing_key, 0, 0,
                    fmt::format("parameter {} is not in this file", number),
                    "the control saves only parameters its file lists: add the rows that "
                    "`pivotrace cycle --parameter-rows` writes, and run the program again");
    }
    return std::nullopt;
  }

  bool belongs_to_plan() {
    const auto identity = parameter(results_.identity);
    const auto count = parameter(results_.count);
    if (!identity || !count) return false;
    if (std::lround(*identity) != identity_number_of(plan_)) {
      problems_.add(
          ProblemNumber::other_machine, 0, 0,
          fmt::format("these touches were made by the program of plan number {:.0f}, this "
                      "is plan number {}",
                      *identity, identity_number_of(plan_)),
          "name the plan the program was made from");
      return false;
    }
    if (*count < 1.0) {
      problems_.add(ProblemNumber::no_data, 0, 0, "the program made no touch",
                    "run the program to its end");
      return false;
    }
    if (std::lround(*count) != plan_.touch_count()) {
      problems_.add(
          ProblemNumber::out_of_range, 0, 0,
          fmt::format("the program made {:.0f} of {} touches", *count, plan_.touch_count()),
          "it did not run to its end: find out why, and run it again");
      return false;
    }
    return true;
  }

  void read_station(const PlannedStation& planned) {
    Station station;
    station.label = planned.label;
    station.angles_rad = planned.angles_rad;
    station.first_touch = static_cast<int>(survey_.touches.size());
    for (const PlannedTouch& touch : planned.touches) read_touch(planned, touch);
    station.touch_count = static_cast<int>(survey_.touches.size()) - station.first_touch;
    survey_.stations.push_back(std::move(station));
  }

  void read_touch(const PlannedStation& station, const PlannedTouch& planned) {
    const int index = static_cast<int>(survey_.touches.size());
    Touch touch;
    touch.label = std::to_string(index + 1);
    touch.station = static_cast<int>(survey_.stations.size());
    touch.artefact = planned.artefact;
    touch.flip = station.flip;
    for (int axis = 0; axis < 3; ++axis) {
      const auto value = parameter(results_.first_touch + 3 * index + axis);
      touch.shown_mm[axis] = value.value_or(0.0) * (machine_.inch ? mm_per_inch : 1.0);
    }
    touch.shown_mm = shown_inside(machine_, machine_.probe.stylus_radius_mm(), touch.shown_mm);
    touch.approach =
        place_touch(machine_, state_, plan_.distances, station.angles_rad, planned).approach();
    survey_.touches.push_back(std::move(touch));
  }

  const std::map<int, double>& parameters_;
  ProblemList problems_;
  const Machine& machine_;
  const Plan& plan_;
  const ResultVariables& results_;
  MachineState state_;
  Survey survey_;
  bool missing_said_ = false;
};

}  // namespace

Expected<std::map<int, double>> parse_parameters(std::string_view text, const std::string& name) {
  ProblemList problems(name);
  std::map<int, double> parameters;
  each_line(text, [&](std::string_view line, int number) {
    const std::vector<Word> words = words_of(line);
    if (words.size() < 2 || !is_whole_number(words[0].text)) return;
    const NumberReading reading = read_number(words[1].text);
    if (reading.fault != NumberFault::none) {
      problems.add(ProblemNumber::cannot_parse, number, words[1].column,
                   fmt::format("\"{}\" is no number", excerpt(words[1].text)),
                   "a parameter file holds a number and its value in every line");
      return;
    }
    const int key = std::stoi(std::string(words[0].text));
    if (!parameters.emplace(key, reading.value).second) {
      problems.add(ProblemNumber::duplicate_name, number, words[0].column,
                   fmt::format("parameter {} stands here twice", key), "keep one of the two lines");
    }
  });
  if (parameters.empty() && problems.empty()) {
    problems.add(ProblemNumber::no_data, 0, 0, "there is no parameter in this file",
                 "give the parameter file of the control");
  }
  if (!problems.empty()) return problems.as_failure();
  return parameters;
}

bool looks_like_parameters(std::string_view text) {
  int rows = 0;
  bool all = true;
  each_line(text, [&](std::string_view line, int) {
    const std::vector<Word> words = words_of(line);
    if (words.empty()) return;
    const bool row = words.size() == 2 && is_whole_number(words[0].text) &&
                     line.find(',') == std::string_view::npos;
    // The published interpreter's own file starts with a line of column titles.
    if (!row && rows > 0) all = false;
    rows += row ? 1 : 0;
  });
  return all && rows > 3;
}

Expected<Survey> survey_from_parameters(const std::map<int, double>& parameters,
                                        const std::string& name, const Machine& machine,
                                        const Plan& plan, const ResultVariables& results) {
  return ParameterSurvey(parameters, name, machine, plan, results).read();
}

Expected<Survey> parse_planned_touches(std::string_view text, const std::string& name,
                                       const Machine& machine, const Plan& plan) {
  if (!looks_like_parameters(text)) return parse_survey(text, name, machine);
  const auto parameters = parse_parameters(text, name);
  if (!parameters) return tl::make_unexpected(parameters.error());
  std::optional<ResultVariables> results = results_in(*parameters, plan);
  if (!results && parameters->contains(ngc_results.identity)) results = ngc_results;
  if (!results) return no_results(name, plan);
  Expected<Survey> survey = survey_from_parameters(*parameters, name, machine, plan, *results);
  if (survey) survey->simulated = text.starts_with(simulated_heading);
  return survey;
}

std::string parameter_rows(const Plan& plan, const ResultVariables& results) {
  std::string rows = caution(parameter_file_caution) + "\n";
  const int last = results.first_touch + 3 * plan.touch_count() - 1;
  for (int number = results.identity; number <= last; ++number) {
    rows += fmt::format("{}\t0.000000\n", number);
  }
  return rows;
}

}  // namespace pivotrace
