#include "control/program_words.h"

#include <algorithm>
#include <cmath>

namespace pivotrace::control {

const Words::Code* Words::find(Meaning meaning) const {
  const auto found = std::find_if(codes.begin(), codes.end(),
                                  [meaning](const Code& code) { return code.meaning == meaning; });
  return found == codes.end() ? nullptr : &*found;
}

const Words::Code* Words::find(ModalGroup group) const {
  const auto found = std::find_if(codes.begin(), codes.end(), [group](const Code& code) {
    return code.meaning && group_of(*code.meaning) == group;
  });
  return found == codes.end() ? nullptr : &*found;
}

WordValue* Words::take(char letter) {
  const auto found = letters.find(letter);
  if (found == letters.end()) return nullptr;
  found->second.used = true;
  return &found->second;
}

Halt RunContext::refusal(int column, const std::string& what, const std::string& advice) const {
  return {ProgramEnd::refused,
          {ProblemNumber::program_error, what, {program.file, block->line, column}, advice}};
}

Halt RunContext::alarm(ProblemNumber number, int column, const std::string& what,
                       const std::string& advice) const {
  return {ProgramEnd::alarm, {number, what, {program.file, block->line, column}, advice}};
}

bool RunContext::has_axis_word(const Words& words) const {
  return std::any_of(words.letters.begin(), words.letters.end(), [this](const auto& entry) {
    return vocabulary.is_axis_letter(entry.first) && !entry.second.used;
  });
}

Stop from_machine(MachineAnswer answer) {
  if (!answer) return std::nullopt;
  return Halt{ProgramEnd::machine, std::move(*answer)};
}

std::optional<int> whole_number(double number) {
  const double rounded = std::round(number);
  if (std::fabs(number - rounded) > whole_number_slack || std::fabs(rounded) > 1e9) {
    return std::nullopt;
  }
  return static_cast<int>(rounded);
}

}  // namespace pivotrace::control
