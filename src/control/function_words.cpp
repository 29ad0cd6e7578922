#include "control/function_words.h"

#include <fmt/format.h>

#include <map>

namespace pivotrace::control {

namespace {

bool acts_once(Meaning meaning) {
  return meaning == Meaning::dwell || meaning == Meaning::set_data ||
         meaning == Meaning::axis_offset_set || meaning == Meaning::axis_offset_clear ||
         meaning == Meaning::axis_offset_suspend || meaning == Meaning::axis_offset_resume;
}

const char* bends_moves(Meaning meaning) {
  switch (meaning) {
    case Meaning::radius_compensation_left:
    case Meaning::radius_compensation_right: return "radius compensation is switched on";
    case Meaning::length_compensation_on: return "length compensation is switched on";
    case Meaning::scaling_on: return "scaling is switched on";
    case Meaning::mirror_on: return "mirroring is switched on";
    case Meaning::rotation_on: return "a rotated coordinate system is switched on";
    case Meaning::tool_centre_on: return "tool centre control is switched on";
    case Meaning::arc_clockwise:
    case Meaning::arc_counterclockwise: return "arcs are not rehearsed";
    default: return nullptr;
  }
}

}  // namespace

Stop FunctionWords::check_groups(const Words& words, const RunContext& run) {
  std::map<ModalGroup, int> seen;
  int once = 0;
  for (const Words::Code& code : words.codes) {
    if (!code.meaning) continue;
    const ModalGroup group = group_of(*code.meaning);
    const bool twice =
        acts_once(*code.meaning) ? ++once > 1 : group != ModalGroup::none && ++seen[group] > 1;
    if (twice) {
      return run.refusal(code.column, "two words of one modal group in one line",
                         "keep the one you mean");
    }
  }
  return std::nullopt;
}

Stop FunctionWords::spindle_words(Words& words) {
  for (const ModalGroup group : {ModalGroup::spindle, ModalGroup::coolant}) {
    const Words::Code* code = words.find(group);
    if (code == nullptr) continue;
    std::optional<double> degrees;
    if (*code->meaning == Meaning::spindle_orient && run_.vocabulary.orient_form()) {
      const auto blank = run_.vocabulary.orient_form()->blanks.find("degrees");
      if (blank != run_.vocabulary.orient_form()->blanks.end()) {
        if (const WordValue* angle = words.take(blank->second)) degrees = angle->value;
      }
    }
    if (Stop halt = from_machine(run_.machine.function(*code->meaning, degrees))) return halt;
    run_.state.put_in_force(*code->meaning);
  }
  return std::nullopt;
}

Stop FunctionWords::auxiliary_words(Words& words) {
  for (const Words::Code& code : words.codes) {
    if (code.meaning) continue;
    if (words.find(ModalGroup::motion) != nullptr || run_.has_axis_word(words)) {
      return run_.refusal(
          code.column,
          fmt::format("{} beside a move: controls disagree which comes first", code.auxiliary),
          "put it in a line of its own");
    }
    if (Stop halt = from_machine(run_.machine.auxiliary(code.auxiliary))) return halt;
  }
  return std::nullopt;
}

Stop FunctionWords::modal_words(Words& words) {
  for (const Words::Code& code : words.codes) {
    if (!code.meaning) continue;
    if (const char* why = bends_moves(*code.meaning)) {
      return run_.refusal(code.column, why, "take it out: a probing move must go where it says");
    }
    switch (group_of(*code.meaning)) {
      case ModalGroup::none:
      case ModalGroup::motion:
      case ModalGroup::feed_mode:
      case ModalGroup::spindle:
      case ModalGroup::coolant:
      case ModalGroup::stopping:
      case ModalGroup::axis_offset: break;
      default: run_.state.put_in_force(*code.meaning);
    }
  }
  return std::nullopt;
}

}  // namespace pivotrace::control
