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

/// One thing to know about a machine with one rotary axis and a ball.
struct Question {
  std::string key;                   ///< also the name of its option: "travel-x"
  std::string text;                  ///< what is asked, in one sentence
  std::string why;                   ///< what it is for, in one sentence
  std::size_t numbers = 0;           ///< how many numbers the answer holds; 0 = words
  std::vector<std::string> choices;  ///< of words; empty = any
};

/// In the order they are asked: an answer may be the ground of a later default.
const std::vector<Question>& machine_questions();

/// What to take when nothing is typed, from the answers so far, in their units.
std::string default_answer(const Question& question, const Answers& so_far);

/// What is wrong with an answer, in words; empty when nothing is.
std::string complaint(const Question& question, const std::string& answer);

/// The answers that give this machine's first rotary axis, probe and ball back.
Answers answers_of(const Machine& machine);

/// The machine file as text. Every question must have an answer without complaint; whether they agree is
/// for `parse_machine` to say.
std::string machine_text(const Answers& answers);

/// A touch record to fill in by hand: eight angles of the travel, a row each.
std::string rows_to_fill(const Answers& answers);

}  // namespace pivotrace::app
