#include "app/machine_guide.h"

#include <fmt/format.h>

#include <cmath>
#include <sstream>

#include "base/words.h"
#include "pivotrace/base/length.h"
#include "pivotrace/geometry/angle.h"

namespace pivotrace::app {

namespace {

/// Numbers between blanks or commas; fewer than there are words when one is no number.
std::vector<double> numbers_in(const std::string& answer) {
  std::string spaced = answer;
  for (char& c : spaced) c = c == ',' ? ' ' : c;
  std::istringstream words(spaced);
  std::vector<double> numbers;
  for (std::string word; words >> word;) {
    std::size_t read = 0;
    try {
      numbers.push_back(std::stod(word, &read));
    } catch (const std::exception&) {
      return {};
    }
    if (read != word.size() || !std::isfinite(numbers.back())) return {};
  }
  return numbers;
}

bool is_inch(const Answers& answers) { return answers.at("units") == "inch"; }

/// A length of `mm` in the units answered, as a setter would write it.
std::string length(double mm, const Answers& answers) {
  const double value = is_inch(answers) ? mm / mm_per_inch : mm;
  return fmt::format("{:g}", std::round(value * 1e5) / 1e5);
}

std::size_t index_of(const std::string& along) { return static_cast<std::size_t>(along[0] - 'X'); }

/// Above the axis, on the spindle side, where the ball is easy to reach.
std::string ball_place(const Answers& answers) {
  std::vector<double> place = numbers_in(answers.at("centre"));
  const double out = is_inch(answers) ? 60.0 / mm_per_inch : 60.0;
  place[answers.at("along") == "Z" ? 0 : 2] += out;
  return fmt::format("{:g} {:g} {:g}", place[0], place[1], place[2]);
}

std::string middle_of_travels(const Answers& answers) {
  std::string middle;
  for (const char* key : {"travel-x", "travel-y", "travel-z"}) {
    const std::vector<double> limits = numbers_in(answers.at(key));
    middle += fmt::format("{}{:g}", middle.empty() ? "" : " ", (limits[0] + limits[1]) / 2.0);
  }
  return middle;
}

/// One sigma of a coordinate, and how well the tool is known to sit on the spindle axis, in mm: common
/// practice, no source.
struct Device {
  double touch_mm = 0.0;
  double side_mm = 0.0;
  double length_mm = 0.0;
};

Device device_of(const std::string& word) {
  if (word == "edge-finder") return {0.010, 0.005, 0.010};
  if (word == "indicator") return {0.005, 0.002, 0.010};
  return {0.0005, 0.001, 0.003};
}

std::string list_of(const std::string& answer) {
  std::string list;
  for (const double number : numbers_in(answer)) {
    list += fmt::format("{}{}", list.empty() ? "" : ", ", number);
  }
  return list;
}

std::string text_in_quotes(const std::string& text) {
  std::string safe;
  for (const char c : text) safe += c == '"' || c == '\\' ? std::string("\\") + c : std::string{c};
  return '"' + safe + '"';
}

}  // namespace

const std::vector<Question>& machine_questions() {
  static const std::vector<Question> questions = {
      {"name", "What is the machine called?", "Touch records and results name it.", 0, {}},
      {"units",
       "Do you write mm or inch?",
       "It holds for every length you type here.",
       0,
       {"mm", "inch"}},
      {"travel-x",
       "From where to where does X travel, in machine coordinates?",
       "Positions outside are noticed, for example swapped units.",
       2,
       {}},
      {"travel-y", "From where to where does Y travel?", "The same for Y.", 2, {}},
      {"travel-z", "From where to where does Z travel?", "The same for Z.", 2, {}},
      {"letter",
       "Which letter has the rotary axis?",
       "Programs and records use it.",
       0,
       {"A", "B", "C"}},
      {"carries",
       "Does it carry the work or the tool?",
       "A table or chuck carries the work, a head the tool.",
       0,
       {"work", "tool"}},
      {"along",
       "Which linear axis does it lie along?",
       "The lean is measured from there.",
       0,
       {"X", "Y", "Z"}},
      {"turn",
       "Point the thumb of your LEFT hand along + of that linear axis and turn by a small + "
       "command. "
       "Does what it carries turn the way the fingers point (left-hand), or the other way "
       "(right-hand)?",
       "If it is wrong, the fit says so.",
       0,
       {"left-hand", "right-hand"}},
      {"centre",
       "Roughly where is the axis: X Y Z of a point on it, machine coordinates?",
       "A few mm off do no harm; a head counts from the position shown.",
       3,
       {}},
      {"turn-limits",
       "From where to where does it turn, in degrees?",
       "Only angles inside are planned.",
       2,
       {}},
      {"touched-with",
       "What do you measure with: probe, edge-finder or indicator?",
       "It says how far a reading scatters.",
       0,
       {"probe", "edge-finder", "indicator"}},
      {"stylus",
       "What is the diameter of the stylus ball or of the edge finder's tip?",
       "A touch lies half of it beside the surface.",
       1,
       {}},
      {"length-datum",
       "Does the Z shown belong to the centre of the stylus ball, or to its tip?",
       "A wrong guess is a wrong centre.",
       0,
       {"centre", "tip"}},
      {"ball",
       "What is the diameter of the ball that is touched?",
       "Its grade says how exact.",
       1,
       {}},
      {"ball-at",
       "Roughly where is its centre with the rotary axis at 0: X Y Z?",
       "50 to 150 mm off the axis is best.",
       3,
       {}},
  };
  return questions;
}

std::string default_answer(const Question& question, const Answers& so_far) {
  const std::string& key = question.key;
  if (key == "name") return "My machine";
  if (key == "units") return "mm";
  if (key == "travel-x") return length(-600.0, so_far) + " 0";
  if (key == "travel-y") return length(-400.0, so_far) + " 0";
  if (key == "travel-z") return length(-500.0, so_far) + " 0";
  if (key == "letter") return "A";
  if (key == "carries") return "work";
  if (key == "along") return std::string(1, static_cast<char>('X' + so_far.at("letter")[0] - 'A'));
  // ISO 841 counts the tool's motion: work that follows it turns left-hand.
  if (key == "turn") return so_far.at("carries") == "work" ? "left-hand" : "right-hand";
  if (key == "centre") {
    return so_far.at("carries") == "tool" ? "0 0 " + length(180.0, so_far)
                                          : middle_of_travels(so_far);
  }
  if (key == "turn-limits") return so_far.at("carries") == "work" ? "-360 360" : "-95 95";
  if (key == "touched-with") return "probe";
  if (key == "stylus") return length(6.0, so_far);
  if (key == "length-datum") return "centre";
  if (key == "ball") return length(25.4, so_far);
  return so_far.at("carries") == "tool" ? middle_of_travels(so_far) : ball_place(so_far);
}

std::string complaint(const Question& question, const std::string& answer) {
  if (question.numbers > 0) {
    const std::vector<double> numbers = numbers_in(answer);
    if (numbers.size() != question.numbers) {
      return fmt::format("{} number{} wanted, for example with blanks between", question.numbers,
                         question.numbers > 1 ? "s are" : " is");
    }
    if (question.numbers == 2 && numbers[0] >= numbers[1]) return "the smaller number comes first";
    if (question.numbers == 1 && numbers[0] <= 0.0) return "it must be above 0";
    return "";
  }
  if (answer.empty()) return "an answer is wanted";
  if (question.choices.empty()) return "";
  for (const std::string& choice : question.choices) {
    if (answer == choice) return "";
  }
  const auto near = nearest_word(answer, question.choices);
  return near ? "did you mean " + *near + "?" : "one of these: " + joined(question.choices);
}

Answers answers_of(const Machine& machine) {
  Answers answers = {{"name", machine.name}, {"units", machine.inch ? "inch" : "mm"}};
  const auto place = [&](const Eigen::Vector3d& mm) {
    return length(mm.x(), answers) + " " + length(mm.y(), answers) + " " + length(mm.z(), answers);
  };
  for (std::size_t k = 0; k < 3; ++k) {
    const auto& travel = machine.linear.travel_mm[k];
    answers[std::string("travel-") + "xyz"[k]] =
        length(travel.low, answers) + " " + length(travel.high, answers);
  }
  if (machine.rotary.empty() || machine.artefacts.empty()) return answers;
  const RotaryAxis& axis = machine.rotary.front();
  answers["letter"] = std::string(1, axis.letter);
  answers["carries"] = axis.side == AxisSide::tool ? "tool" : "work";
  if (axis.along) answers["along"] = std::string(1, "XYZ"[static_cast<std::size_t>(*axis.along)]);
  answers["turn"] = axis.positive_turn == TurnSense::left_hand ? "left-hand" : "right-hand";
  answers["centre"] = place(axis.centre_mm);
  answers["turn-limits"] = fmt::format("{:g} {:g}", deg_from_rad(axis.travel_rad.low),
                                       deg_from_rad(axis.travel_rad.high));
  answers["stylus"] = length(machine.probe.stylus_diameter_mm, answers);
  answers["length-datum"] = machine.probe.length_datum == LengthDatum::tip ? "tip" : "centre";
  const Artefact& ball = machine.artefacts.front();
  if (ball.diameter_mm) answers["ball"] = length(*ball.diameter_mm, answers);
  answers["ball-at"] = place(ball.at_mm);
  return answers;
}

std::string machine_text(const Answers& answers) {
  const auto at = [&](const char* key) { return answers.at(key); };
  const Device device = device_of(at("touched-with"));
  const std::vector<double> centre = numbers_in(at("centre"));
  std::string text = fmt::format(
      "# Made by questions and answers (pivotrace new). What each key means: pivotrace help files\n"
      "format = 1\nname = {}\nunits = \"{}\"\n\n[linear]\n"
      "limits = {{ X = [{}], Y = [{}], Z = [{}] }}   # machine coordinates\n\n"
      "[[rotary]]\nletter = \"{}\"\ncarries = \"{}\"\nalong = \"{}\"\npositive_turn = \"{}\"\n"
      "centre = [{}]\nquote_at = {}\nlimits = [{}]\n\n",
      text_in_quotes(at("name")), at("units"), list_of(at("travel-x")), list_of(at("travel-y")),
      list_of(at("travel-z")), at("letter"), at("carries"), at("along"), at("turn"),
      list_of(at("centre")), centre[index_of(at("along"))], list_of(at("turn-limits")));
  text += fmt::format(
      "[probe]                               # {}\nstylus_diameter = {}\nlength_datum = \"{}\"\n"
      "touch_sigma = {}\noffset_u = {{ X = {}, Y = {}, Z = {} }}\n\n",
      at("touched-with"), list_of(at("stylus")), at("length-datum"),
      length(device.touch_mm, answers), length(device.side_mm, answers),
      length(device.side_mm, answers), length(device.length_mm, answers));
  return text +
         fmt::format(
             "[[artefact]]\nname = \"ball\"\nkind = \"ball\"\ncarried_by = \"{}\"\nat = [{}]\n"
             "diameter = {}\n",
             at("carries") == "tool" ? "bed" : at("letter"), list_of(at("ball-at")),
             list_of(at("ball")));
}

std::string rows_to_fill(const Answers& answers) {
  const std::vector<double> limits = numbers_in(answers.at("turn-limits"));
  const double span = std::min(limits[1] - limits[0], 360.0);
  const double first = limits[1] - limits[0] >= 360.0 ? 0.0 : limits[0];
  const bool whole_turn = span == 360.0 && limits[1] >= 315.0;
  constexpr int rows = 8;
  std::string text = fmt::format(
      "# units: {}\n# machine: {}\n# kind: centre\n"
      "# Ball centre at each angle, machine coordinates; then: pivotrace fit\n{},X,Y,Z\n",
      answers.at("units"), answers.at("name"), answers.at("letter"));
  for (int k = 0; k < rows; ++k) {
    const double angle = whole_turn ? 45.0 * k : first + span * k / (rows - 1);
    text += fmt::format("{:g},,,\n", std::round(angle * 10.0) / 10.0);
  }
  return text;
}

}  // namespace pivotrace::app
