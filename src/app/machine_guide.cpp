#include "app/machine_guide.h"

#include <fmt/format.h>

#include <Eigen/Geometry>
#include <algorithm>
#include <array>
#include <cmath>
#include <optional>
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

bool has_second(const Answers& answers) { return answers.at("second-letter") != "none"; }

/// "second-centre" of the second axis, "centre" of the first.
std::string key_of(bool second, const char* key) {
  return (second ? std::string("second-") : std::string()) + key;
}

/// The innermost axis that carries the work, on which the artefact stands; none: it stands on the bed.
std::optional<bool> carrier_is_second(const Answers& answers) {
  if (has_second(answers) && answers.at("second-carries") == "work") return true;
  return answers.at("carries") == "work" ? std::optional(false) : std::nullopt;
}

std::string carrier_of(const Answers& answers) {
  const std::optional<bool> second = carrier_is_second(answers);
  return second ? answers.at(key_of(*second, "letter")) : "bed";
}

/// Beside the axis it turns with, on the spindle side where that is possible: easy to reach.
std::string artefact_place(const Answers& answers) {
  const bool second = carrier_is_second(answers).value_or(false);
  const std::string& centre = answers.at(key_of(second, "centre"));
  if (answers.at("touched") == "pin") return centre;
  std::vector<double> place = numbers_in(centre);
  const double out = is_inch(answers) ? 60.0 / mm_per_inch : 60.0;
  place[answers.at(key_of(second, "along")) == "Z" ? 0 : 2] += out;
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

/// One sigma of a coordinate, how well the tool is known to sit on the spindle axis, and how well its own
/// diameter is known, in mm: common practice, no source. That of a probe's ball is found from the touches.
struct Device {
  double touch_mm = 0.0;
  double side_mm = 0.0;
  double length_mm = 0.0;
  std::optional<double> diameter_mm = {};
};

Device device_of(const std::string& word) {
  if (word == "edge-finder") return {0.010, 0.005, 0.010, 0.002};
  if (word == "indicator") return {0.005, 0.002, 0.010, 0.002};
  return {0.0005, 0.001, 0.003};
}

const std::vector<std::string>& directions() {
  static const std::vector<std::string> words = {"+X", "-X", "+Y", "-Y", "+Z", "-Z"};
  return words;
}

/// "-Y" -> (0, -1, 0), as a file writes it.
std::string direction_list(const std::string& word) {
  std::array<int, 3> parts{};
  parts[static_cast<std::size_t>(word[1] - 'X')] = word[0] == '-' ? -1 : 1;
  return fmt::format("{}, {}, {}", parts[0], parts[1], parts[2]);
}

std::string direction_word(const Eigen::Vector3d& direction) {
  Eigen::Index along = 0;
  direction.cwiseAbs().maxCoeff(&along);
  return std::string(1, direction[along] < 0.0 ? '-' : '+') + "XYZ"[along];
}

/// Something in the way: "vice bed -200 -100 -300 -100 0 -250".
struct BoxAnswer {
  std::string name;
  std::string carried_by;
  std::vector<double> corners;
};

/// Nothing where one of them is no box.
std::optional<std::vector<BoxAnswer>> boxes_in(const std::string& answer) {
  std::vector<BoxAnswer> boxes;
  if (answer == "none") return boxes;
  std::istringstream parts(answer);
  for (std::string part; std::getline(parts, part, ';');) {
    std::istringstream words(part);
    BoxAnswer box;
    words >> box.name >> box.carried_by;
    std::string rest;
    std::getline(words, rest);
    box.corners = numbers_in(rest);
    if (box.corners.size() != 6) return std::nullopt;
    boxes.push_back(std::move(box));
  }
  if (boxes.empty()) return std::nullopt;
  return boxes;
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

namespace {

Question in_words(const char* key, const char* text, const char* why,
                  std::vector<std::string> choices = {}) {
  return {key, text, why, AnswerForm::words, 0, std::move(choices), "", {}};
}
Question in_numbers(const char* key, const char* text, const char* why, std::size_t numbers) {
  return {key, text, why, AnswerForm::numbers, numbers, {}, "", {}};
}
Question as_range(const char* key, const char* text, const char* why) {
  return {key, text, why, AnswerForm::range, 2, {}, "", {}};
}
Question unless(Question question, const char* ground, std::vector<std::string> answers) {
  question.ground = ground;
  question.ground_is_not = std::move(answers);
  return question;
}

constexpr const char* turn_question =
    "Point the thumb of your LEFT hand along + of that linear axis and turn by a small + command. "
    "Does what it carries turn the way the fingers point (left-hand), or the other way "
    "(right-hand)?";

std::vector<Question> questions_of_machine() {
  return {in_words("name", "What is the machine called?", "Touch records and results name it."),
          in_words("units", "Do you write mm or inch?", "It holds for every length you type here.",
                   {"mm", "inch"}),
          as_range("travel-x", "From where to where does X travel, in machine coordinates?",
                   "Positions outside are noticed, for example swapped units."),
          as_range("travel-y", "From where to where does Y travel?", "The same for Y."),
          as_range("travel-z", "From where to where does Z travel?", "The same for Z.")};
}

std::vector<Question> questions_of_first_axis() {
  return {in_words("letter",
                   "Which letter has the rotary axis? Of two, the one that carries the other.",
                   "Programs and records use it.", {"A", "B", "C"}),
          in_words("carries", "Does it carry the work or the tool?",
                   "A table or chuck carries the work, a head the tool.", {"work", "tool"}),
          in_words("along", "Which linear axis does it lie along?",
                   "The lean is measured from there.", {"X", "Y", "Z"}),
          in_words("turn", turn_question, "If it is wrong, the fit says so.",
                   {"left-hand", "right-hand"}),
          in_numbers("centre",
                     "Roughly where is the axis: X Y Z of a point on it, machine coordinates?",
                     "A few mm off do no harm; a head counts from the position shown.", 3),
          as_range("turn-limits", "From where to where does it turn, in degrees?",
                   "Only angles inside are planned.")};
}

std::vector<Question> questions_of_second_axis() {
  std::vector<Question> questions = {
      in_words("second-carries", "Does the second one carry the work or the tool?",
               "Of a table on a table both carry the work.", {"work", "tool"}),
      in_words("second-along", "Which linear axis does it lie along, with the first one at 0?",
               "The lean is measured from there.", {"X", "Y", "Z"}),
      in_words("second-turn", turn_question, "If it is wrong, the fit says so.",
               {"left-hand", "right-hand"}),
      in_numbers("second-centre",
                 "Roughly where is it: X Y Z of a point on it, the first one at 0?",
                 "A few mm off do no harm; a head counts from the position shown.", 3),
      as_range("second-turn-limits", "From where to where does it turn, in degrees?",
               "Only angles inside are planned.")};
  for (Question& question : questions) {
    question = unless(std::move(question), "second-letter", {"none"});
  }
  questions.insert(questions.begin(),
                   in_words("second-letter", "Is there a second rotary axis? Its letter, or none.",
                            "Both are measured together.", {"none", "A", "B", "C"}));
  return questions;
}

std::vector<Question> questions_of_touches() {
  std::vector<std::string> or_none = directions();
  or_none.insert(or_none.begin(), "none");
  return {
      in_words("touched-with", "What do you measure with: probe, edge-finder or indicator?",
               "It says how far a reading scatters.", {"probe", "edge-finder", "indicator"}),
      in_numbers("stylus", "What is the diameter of the stylus ball or of the edge finder's tip?",
                 "A touch lies half of it beside the surface.", 1),
      in_words("length-datum",
               "Does the Z shown belong to the centre of the stylus ball, or to its tip?",
               "A wrong guess is a wrong centre.", {"centre", "tip"}),
      in_words(
          "touched", "What is touched: a ball, a pin, or one face of a block?",
          "A ball beside the axis tells most; a pin in the chuck tells the axis of the chuck's "
          "work; a face is touched again each time it has turned by 90 degrees.",
          {"ball", "pin", "block"}),
      in_numbers("ball", "What is its diameter? Of a face: how far across may it be touched?",
                 "Touches are placed on it.", 1),
      unless(in_numbers("pin-diameter-u",
                        "How well do you know that diameter: one sigma, as a micrometer gives it?",
                        "Without it an indicator cannot tell the height of the axis.", 1),
             "touched", {"ball", "block"}),
      in_numbers("ball-at",
                 "Roughly where is its centre, a point on the pin, or the middle of the face, with "
                 "every rotary axis at 0: X Y Z?",
                 "A ball 50 to 150 mm off the axis is best.", 3),
      unless(in_words("pin-points", "Towards where does the open end of the pin point?",
                      "Nothing is touched beyond it.", directions()),
             "touched", {"ball", "block"}),
      unless(in_words("face-looks", "Which way does the face of the block look, out of the block?",
                      "It is touched against that way.", directions()),
             "touched", {"ball", "pin"}),
      unless(in_numbers("pin-length", "How long is the part of the pin that can be touched?",
                        "Two sections as far apart as that tell how it leans.", 1),
             "touched", {"ball", "block"}),
      unless(in_words("stem", "Which way does the stem run from the ball, with every axis at 0?",
                      "Plans keep clear of it.", or_none),
             "touched", {"pin", "block"}),
      unless(in_numbers("stem-size", "What are the stem's diameter and its length?",
                        "Plans keep clear of it.", 2),
             "stem", {"none"}),
      {"boxes",
       "What else must not be hit? A name, what carries it (bed or a letter) and two corners X Y Z "
       "X Y Z of the box round it; several with ; between; or none.",
       "Plans and rehearsals know only what is said here.",
       AnswerForm::boxes,
       0,
       {},
       "",
       {}}};
}

}  // namespace

const std::vector<Question>& machine_questions() {
  static const std::vector<Question> questions = [] {
    std::vector<Question> all = questions_of_machine();
    for (const auto& part :
         {questions_of_first_axis(), questions_of_second_axis(), questions_of_touches()}) {
      all.insert(all.end(), part.begin(), part.end());
    }
    return all;
  }();
  return questions;
}

bool is_asked(const Question& question, const Answers& so_far) {
  if (question.ground.empty()) return true;
  const auto ground = so_far.find(question.ground);
  return ground != so_far.end() &&
         std::ranges::find(question.ground_is_not, ground->second) == question.ground_is_not.end();
}

namespace {

std::string usual_of_axis(const std::string& key, bool second, const Answers& so_far) {
  const auto answer = [&](const char* of) { return so_far.at(key_of(second, of)); };
  if (key == "carries") return second ? so_far.at("carries") : "work";
  if (key == "along") return std::string(1, static_cast<char>('X' + answer("letter")[0] - 'A'));
  // ISO 841 counts the tool's motion: work that follows it turns left-hand.
  if (key == "turn") return answer("carries") == "work" ? "left-hand" : "right-hand";
  if (key == "turn-limits") return answer("carries") == "work" ? "-360 360" : "-95 95";
  if (second && answer("carries") == so_far.at("carries")) return so_far.at("centre");
  return answer("carries") == "tool" ? "0 0 " + length(180.0, so_far) : middle_of_travels(so_far);
}

/// The way from the axis to where a ball or face stands beside it, as artefact_place has it.
std::string face_beside_axis(const Answers& so_far) {
  const std::optional<bool> second = carrier_is_second(so_far);
  return second && so_far.at(key_of(*second, "along")) == "Z" ? "+X" : "+Z";
}

std::string usual_of_touches(const std::string& key, const Answers& so_far) {
  const std::optional<bool> second = carrier_is_second(so_far);
  if (key == "touched-with") return "probe";
  if (key == "stylus") return length(6.0, so_far);
  // A flat-ended tool on a feeler tells where its end is.
  if (key == "length-datum") return so_far.at("touched-with") == "probe" ? "centre" : "tip";
  if (key == "touched") return "ball";
  if (key == "ball") return length(25.4, so_far);
  if (key == "pin-diameter-u") return length(0.002, so_far);
  if (key == "ball-at") return second ? artefact_place(so_far) : middle_of_travels(so_far);
  if (key == "pin-points") return "+" + (second ? so_far.at(key_of(*second, "along")) : "Z");
  if (key == "face-looks") return face_beside_axis(so_far);
  if (key == "pin-length") return length(40.0, so_far);
  if (key == "stem-size") return length(8.0, so_far) + " " + length(60.0, so_far);
  return "none";
}

}  // namespace

std::string default_answer(const Question& question, const Answers& so_far) {
  const std::string& key = question.key;
  if (key == "name") return "My machine";
  if (key == "units") return "mm";
  if (key == "travel-x") return length(-600.0, so_far) + " 0";
  if (key == "travel-y") return length(-400.0, so_far) + " 0";
  if (key == "travel-z") return length(-500.0, so_far) + " 0";
  if (key == "letter") return "A";
  if (key == "second-letter") return "none";
  if (key.starts_with("second-")) return usual_of_axis(key.substr(7), true, so_far);
  for (const char* of_axis : {"carries", "along", "turn", "centre", "turn-limits"}) {
    if (key == of_axis) return usual_of_axis(key, false, so_far);
  }
  return usual_of_touches(key, so_far);
}

namespace {

std::string complaint_of_numbers(const Question& question, const std::string& answer) {
  const std::vector<double> numbers = numbers_in(answer);
  if (numbers.size() != question.numbers) {
    return fmt::format("{} number{} wanted, for example with blanks between", question.numbers,
                       question.numbers > 1 ? "s are" : " is");
  }
  if (question.form == AnswerForm::range) {
    return numbers[0] >= numbers[1] ? "the smaller number comes first" : "";
  }
  const bool is_place = question.numbers == 3;
  const bool too_small = std::ranges::any_of(numbers, [](double number) { return number <= 0.0; });
  return !is_place && too_small ? "it must be above 0" : "";
}

}  // namespace

std::string complaint(const Question& question, const std::string& answer) {
  if (question.numbers > 0) return complaint_of_numbers(question, answer);
  if (answer.empty()) return "an answer is wanted";
  if (question.form == AnswerForm::boxes) {
    return boxes_in(answer) ? ""
                            : "for example: vice bed -200 -100 -300 -100 0 -250, with ; between "
                              "two of them, or none";
  }
  if (question.choices.empty()) return "";
  for (const std::string& choice : question.choices) {
    if (answer == choice) return "";
  }
  const auto near = nearest_word(answer, question.choices);
  return near ? "did you mean " + *near + "?" : "one of these: " + joined(question.choices);
}

namespace {

/// Writes the parts of an older machine down as they would be typed.
class OlderAnswers {
 public:
  explicit OlderAnswers(const Machine& machine) : machine_(machine) {}

  Answers all() {
    answers_ = {{"name", machine_.name}, {"units", machine_.inch ? "inch" : "mm"}};
    for (std::size_t k = 0; k < 3; ++k) {
      const auto& travel = machine_.linear.travel_mm[k];
      answers_[std::string("travel-") + "xyz"[k]] =
          written(travel.low) + " " + written(travel.high);
    }
    for (std::size_t i = 0; i < std::min<std::size_t>(2, machine_.rotary.size()); ++i) add_axis(i);
    answers_["stylus"] = written(machine_.probe.stylus_diameter_mm);
    answers_["length-datum"] = machine_.probe.length_datum == LengthDatum::tip ? "tip" : "centre";
    if (!machine_.artefacts.empty()) add_artefact(machine_.artefacts.front());
    add_boxes();
    return answers_;
  }

 private:
  std::string written(double mm) const { return length(mm, answers_); }
  std::string place(const Eigen::Vector3d& mm) const {
    return written(mm.x()) + " " + written(mm.y()) + " " + written(mm.z());
  }

  void add_axis(std::size_t i) {
    const RotaryAxis& axis = machine_.rotary[i];
    const auto put = [&](const char* key, const std::string& answer) {
      answers_[key_of(i == 1, key)] = answer;
    };
    put("letter", std::string(1, axis.letter));
    put("carries", axis.side == AxisSide::tool ? "tool" : "work");
    if (axis.along) put("along", std::string(1, "XYZ"[static_cast<std::size_t>(*axis.along)]));
    put("turn", axis.positive_turn == TurnSense::left_hand ? "left-hand" : "right-hand");
    put("centre", place(axis.centre_mm));
    put("turn-limits", fmt::format("{:g} {:g}", deg_from_rad(axis.travel_rad.low),
                                   deg_from_rad(axis.travel_rad.high)));
  }

  void add_artefact(const Artefact& artefact) {
    const bool is_pin = artefact.kind == ArtefactKind::pin;
    const bool is_face = artefact.kind == ArtefactKind::flat;
    if (artefact.kind == ArtefactKind::bore) return;
    answers_["touched"] = is_pin ? "pin" : is_face ? "block" : "ball";
    if (is_face) answers_["ball"] = written(artefact.size_mm);
    if (is_face) answers_["face-looks"] = direction_word(artefact.direction);
    if (artefact.diameter_mm) answers_["ball"] = written(*artefact.diameter_mm);
    answers_["ball-at"] = place(artefact.at_mm);
    if (is_pin) {
      if (artefact.diameter_u_mm) answers_["pin-diameter-u"] = written(*artefact.diameter_u_mm);
      answers_["pin-points"] = direction_word(artefact.direction);
      answers_["pin-length"] = written(artefact.length_mm);
    }
    if (artefact.stem) {
      answers_["stem"] = direction_word(artefact.stem->direction);
      answers_["stem-size"] =
          written(artefact.stem->diameter_mm) + " " + written(artefact.stem->length_mm);
    }
  }

  /// Boxes whose name is one word; a cylinder is asked for nowhere.
  void add_boxes() {
    std::string boxes;
    for (const Obstacle& obstacle : machine_.obstacles) {
      if (obstacle.shape != ObstacleShape::box ||
          obstacle.name.find_first_of(" ;") != std::string::npos) {
        continue;
      }
      const std::string carrier =
          obstacle.carried_by < 0
              ? "bed"
              : std::string(1,
                            machine_.rotary[static_cast<std::size_t>(obstacle.carried_by)].letter);
      boxes += fmt::format("{}{} {} {} {}", boxes.empty() ? "" : "; ", obstacle.name, carrier,
                           place(obstacle.from_mm), place(obstacle.to_mm));
    }
    if (!boxes.empty()) answers_["boxes"] = boxes;
  }

  const Machine& machine_;
  Answers answers_;
};

std::string axis_text(const Answers& answers, bool second) {
  const auto at = [&](const char* key) { return answers.at(key_of(second, key)); };
  return fmt::format(
      "[[rotary]]\nletter = \"{}\"\ncarries = \"{}\"\nalong = \"{}\"\npositive_turn = \"{}\"\n"
      "centre = [{}]\nquote_at = {}\nlimits = [{}]\n\n",
      at("letter"), at("carries"), at("along"), at("turn"), list_of(at("centre")),
      numbers_in(at("centre"))[index_of(at("along"))], list_of(at("turn-limits")));
}

std::string artefact_text(const Answers& answers) {
  const auto at = [&](const char* key) { return answers.at(key); };
  if (at("touched") == "block") {
    return fmt::format(
        "[[artefact]]\nname = \"block\"\nkind = \"flat\"\ncarried_by = \"{}\"\nat = [{}]\n"
        "size = {}\ndirection = [{}]\n",
        carrier_of(answers), list_of(at("ball-at")), list_of(at("ball")),
        direction_list(at("face-looks")));
  }
  std::string text = fmt::format(
      "[[artefact]]\nname = \"{0}\"\nkind = \"{0}\"\ncarried_by = \"{1}\"\nat = [{2}]\n"
      "diameter = {3}\n",
      at("touched"), carrier_of(answers), list_of(at("ball-at")), list_of(at("ball")));
  if (at("touched") == "pin") {
    return text + fmt::format("diameter_u = {}\ndirection = [{}]\nlength = {}\n",
                              list_of(at("pin-diameter-u")), direction_list(at("pin-points")),
                              list_of(at("pin-length")));
  }
  if (at("stem") == "none") return text;
  const std::vector<double> size = numbers_in(at("stem-size"));
  return text + fmt::format("stem = {{ direction = [{}], diameter = {}, length = {} }}\n",
                            direction_list(at("stem")), size[0], size[1]);
}

std::string boxes_text(const std::string& answer) {
  std::string text;
  for (const BoxAnswer& box : boxes_in(answer).value_or(std::vector<BoxAnswer>{})) {
    const std::vector<double>& at = box.corners;
    text += fmt::format(
        "\n[[obstacle]]\nname = {}\ncarried_by = \"{}\"\nshape = \"box\"\n"
        "from = [{}, {}, {}]\nto = [{}, {}, {}]\n",
        text_in_quotes(box.name), box.carried_by, at[0], at[1], at[2], at[3], at[4], at[5]);
  }
  return text;
}

}  // namespace

Answers answers_of(const Machine& machine) { return OlderAnswers(machine).all(); }

std::string machine_text(const Answers& answers) {
  const auto at = [&](const char* key) { return answers.at(key); };
  const Device device = device_of(at("touched-with"));
  std::string text = fmt::format(
      "# Made by questions and answers (pivotrace new). What each key means: pivotrace help files\n"
      "format = 1\nname = {}\nunits = \"{}\"\n\n[linear]\n"
      "limits = {{ X = [{}], Y = [{}], Z = [{}] }}   # machine coordinates\n\n",
      text_in_quotes(at("name")), at("units"), list_of(at("travel-x")), list_of(at("travel-y")),
      list_of(at("travel-z")));
  text += axis_text(answers, false);
  if (has_second(answers)) text += axis_text(answers, true);
  text += fmt::format("[probe]                               # {}\nstylus_diameter = {}\n",
                      at("touched-with"), list_of(at("stylus")));
  if (device.diameter_mm) {
    text += "stylus_diameter_u = " + length(*device.diameter_mm, answers) + "\n";
  }
  text += fmt::format(
      "length_datum = \"{}\"\ntouch_sigma = {}\noffset_u = {{ X = {}, Y = {}, Z = {} }}\n\n",
      at("length-datum"), length(device.touch_mm, answers), length(device.side_mm, answers),
      length(device.side_mm, answers), length(device.length_mm, answers));
  return text + artefact_text(answers) + boxes_text(at("boxes"));
}

namespace {

constexpr int angles_to_fill = 8;
constexpr const char* down = "0,0,-1";

/// Spread over the travel, whole degrees of a turn where it turns that far.
std::vector<double> angles_of(const std::string& answer) {
  const std::vector<double> limits = numbers_in(answer);
  const double span = std::min(limits[1] - limits[0], 360.0);
  const double first = limits[1] - limits[0] >= 360.0 ? 0.0 : limits[0];
  const bool whole_turn = span == 360.0 && limits[1] >= 315.0;
  std::vector<double> angles;
  for (int k = 0; k < angles_to_fill; ++k) {
    const double angle =
        whole_turn ? 360.0 / angles_to_fill * k : first + span * k / (angles_to_fill - 1);
    angles.push_back(std::round(angle * 10.0) / 10.0);
  }
  return angles;
}

/// The ways an edge finder goes: from four sides, and down onto the top with a feeler. Of a pin, twice each,
/// at two places along it.
std::vector<std::string> ways_to_touch(const Answers& answers) {
  if (answers.at("touched") == "ball") return {"-1,0,0", "1,0,0", "0,-1,0", "0,1,0", down};
  const char along = answers.at("pin-points")[1];
  std::vector<std::string> ways;
  for (int section = 0; section < 2; ++section) {
    if (along != 'X') ways.insert(ways.end(), {"-1,0,0", "1,0,0"});
    if (along != 'Y') ways.insert(ways.end(), {"0,-1,0", "0,1,0"});
    if (along != 'Z') ways.emplace_back(down);
  }
  return ways;
}

/// What one row of a record to fill in is: centres, touches of an edge finder, readings of an indicator.
enum class RowKind { centres, touches, readings };

RowKind row_kind(const Answers& answers) {
  if (answers.at("touched") == "block") return RowKind::touches;
  const bool is_pin = answers.at("touched") == "pin";
  if (is_pin && answers.at("touched-with") == "indicator") return RowKind::readings;
  return is_pin || answers.at("touched-with") == "edge-finder" ? RowKind::touches
                                                               : RowKind::centres;
}

/// Remarks and the columns after the angles.
std::string remarks_of(RowKind kind) {
  switch (kind) {
    case RowKind::centres:
      return "# kind: centre\n# Ball centre at each angle, machine coordinates; then: pivotrace "
             "fit\n";
    case RowKind::touches:
      return "# Each row: the position at the touch, machine coordinates. I J K is the way the tip "
             "went.\n# With a feeler between: take its thickness off, on the way I J K. A pin is "
             "touched at two places along it,\n# a face at three places, as far apart as it "
             "allows.\n";
    case RowKind::readings:
      return "# Indicator rows: the position of the spindle, I J K is the way the tip points, "
             "reading what it shows.\n# Touch rows: a flat-ended tool on a feeler, Z less the "
             "feeler. Two places along the pin.\n";
  }
  return "";
}

std::string row_text(RowKind kind, const std::string& angles, const std::string& way) {
  if (kind == RowKind::centres) return angles + ",,,\n";
  if (kind == RowKind::touches) return angles + ",,,," + way + "\n";
  return angles + (way == down ? ",,,,touch," : ",,,,indicator,") + way + ",\n";
}

std::string without_blanks(std::string text) {
  std::erase(text, ' ');
  return text;
}

// --- a face of a block, touched again each time it has turned by a right angle ---------------------

constexpr int places_on_a_face = 3;

/// Whole right angles within the travel, -90 for 270 where it turns no further.
std::vector<double> right_angles(const std::string& limits_answer) {
  const std::vector<double> limits = numbers_in(limits_answer);
  std::vector<double> angles;
  for (const double angle : {0.0, 90.0, 180.0, 270.0}) {
    for (const double same : {angle, angle - 360.0}) {
      if (same < limits[0] || same > limits[1]) continue;
      angles.push_back(same);
      break;
    }
  }
  return angles;
}

/// Which way the face looks after the turn; a head does not turn it.
Eigen::Vector3d turned_face(const Answers& answers, bool second, double angle_deg) {
  const auto at = [&](const char* key) { return answers.at(key_of(second, key)); };
  const std::string& looks = answers.at("face-looks");
  const Eigen::Vector3d normal =
      Eigen::Vector3d::Unit(looks[1] - 'X') * (looks[0] == '-' ? -1.0 : 1.0);
  if (at("carries") == "tool") return normal;
  const double sense = at("turn") == "left-hand" ? -1.0 : 1.0;
  const Eigen::Vector3d along = Eigen::Vector3d::Unit(at("along")[0] - 'X');
  return Eigen::AngleAxisd(sense * rad_from_deg(angle_deg), along) * normal;
}

/// The rows of a face that one axis turns; where it looks away from the spindle it is out of reach.
std::string rows_of_face(const Answers& answers, bool second) {
  std::string rows;
  for (const double angle : right_angles(answers.at(key_of(second, "turn-limits")))) {
    const Eigen::Vector3d normal = turned_face(answers, second, angle);
    if (normal.z() < -0.5 || (second && angle == 0.0)) continue;
    std::string angles = fmt::format("{:g}", angle);
    if (has_second(answers)) angles = second ? "0," + angles : angles + ",0";
    const std::string way = without_blanks(direction_list(direction_word(-normal)));
    for (int k = 0; k < places_on_a_face; ++k) rows += row_text(RowKind::touches, angles, way);
  }
  return rows;
}

}  // namespace

std::string rows_to_fill(const Answers& answers) {
  const RowKind kind = row_kind(answers);
  const bool two = has_second(answers);
  std::string text = fmt::format("# units: {}\n# machine: {}\n{}", answers.at("units"),
                                 answers.at("name"), remarks_of(kind));
  text += answers.at("letter") + (two ? "," + answers.at("second-letter") : "") + ",X,Y,Z";
  if (kind == RowKind::readings) text += ",kind";
  if (kind != RowKind::centres) text += ",I,J,K";
  text += kind == RowKind::readings ? ",reading\n" : "\n";
  if (answers.at("touched") == "block") {
    return text + rows_of_face(answers, false) + (two ? rows_of_face(answers, true) : "");
  }
  const std::vector<std::string> ways =
      kind == RowKind::centres ? std::vector<std::string>{""} : ways_to_touch(answers);
  const auto add = [&](const std::string& angles) {
    for (const std::string& way : ways) text += row_text(kind, angles, way);
  };
  for (const double angle : angles_of(answers.at("turn-limits"))) {
    add(fmt::format("{:g}{}", angle, two ? ",0" : ""));
  }
  if (!two) return text;
  for (const double angle : angles_of(answers.at("second-turn-limits"))) {
    if (angle != 0.0) add(fmt::format("0,{:g}", angle));
  }
  return text;
}

}  // namespace pivotrace::app
