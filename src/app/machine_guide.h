// The questions a setter can answer, and the machine file that comes of the answers.
#pragma once

#include <map>
#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/machine/machine.h"

namespace pivotrace::app {

/// Answers as typed, by the key of their question.
using Answers = std::map<std::string, std::string>;

/// What an answer is made of.
enum class AnswerForm { words, numbers, range, boxes };

/// One thing to know about a machine with one or two rotary axes and what is touched on it.
struct Question {
  std::string key;   ///< also the name of its option: "travel-x"
  std::string text;  ///< what is asked, in one sentence
  std::string why;   ///< what it is for, in one sentence
  AnswerForm form = AnswerForm::words;
  std::size_t numbers = 0;                 ///< how many numbers the answer holds; 0 = words
  std::vector<std::string> choices;        ///< of words; empty = any
  std::string ground;                      ///< asked only where this question ...
  std::vector<std::string> ground_is_not;  ///< ... was answered by none of these
};

/// False where an earlier answer makes the question idle.
bool is_asked(const Question& question, const Answers& so_far);

/// In the order they are asked: an answer may be the ground of a later default.
const std::vector<Question>& machine_questions();

/// What to take when nothing is typed, from the answers so far, in their units.
std::string default_answer(const Question& question, const Answers& so_far);

/// What is wrong with an answer, in words; empty when nothing is.
std::string complaint(const Question& question, const std::string& answer);

/// The answers that give this machine's rotary axes, probe, first artefact and boxes back.
Answers answers_of(const Machine& machine);

/// The machine file as text. Every question must have an answer without complaint; whether they agree is
/// for `parse_machine` to say.
std::string machine_text(const Answers& answers);

/// A touch record to fill in by hand, at eight angles of the travel: with an edge finder the touches of each
/// side, with an indicator on a pin its readings and the touches that tell the height, of a face three touches
/// at each right angle, else a ball centre a row.
std::string rows_to_fill(const Answers& answers);

}  // namespace pivotrace::app
