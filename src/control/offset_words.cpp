#include "control/offset_words.h"

#include <fmt/format.h>

#include <cmath>

namespace pivotrace::control {

Stop OffsetWords::run(Words& words) {
  if (const Words::Code* code = words.find(Meaning::set_data)) return set_data(words, *code);
  if (const Words::Code* code = words.find(Meaning::axis_offset_set)) {
    return set_axis_offset(words, *code);
  }
  if (words.find(Meaning::axis_offset_clear) != nullptr) run_.state.clear_axis_offsets();
  if (words.find(Meaning::axis_offset_suspend) != nullptr) run_.state.suspend_axis_offsets();
  if (words.find(Meaning::axis_offset_resume) != nullptr) run_.state.resume_axis_offsets();
  return std::nullopt;
}

Stop OffsetWords::set_data(Words& words, const Words::Code& code) {
  if (const Words::Code* motion = words.find(ModalGroup::motion)) {
    return run_.refusal(motion->column, "an offset and a move in one line both want the axis words",
                        "split the line");
  }
  const std::optional<WordForm>& form = run_.vocabulary.offset_form();
  if (!form || form->blanks.count("system") == 0) {
    return run_.refusal(code.column, "this control sheet does not say how offsets are written",
                        "complete its offset form");
  }
  if (Stop halt = check_fixed_words(words, *form, code.column)) return halt;
  const WordValue* system = words.take(form->blanks.at("system"));
  if (system == nullptr) {
    return run_.refusal(code.column, "which work offset? Its number is missing",
                        fmt::format("write it as {}", run_.sheet.offsets.form));
  }
  return write_origin(words, system->value, system->column);
}

Stop OffsetWords::write_origin(Words& words, double system, int column) {
  const std::optional<int> number = whole_number(system);
  const OffsetRules& rules = run_.sheet.offsets;
  if (!number || *number < rules.first_system || *number > rules.last_system) {
    return run_.refusal(column, fmt::format("there is no work offset {:g}", system),
                        fmt::format("use {} to {}", rules.first_system, rules.last_system));
  }
  return run_.for_each_axis_word(
      words, [&](int axis, double value) { run_.state.set_work_origin(*number, axis, value); });
}

/// The letters of the form with a fixed number, such as L2.
Stop OffsetWords::check_fixed_words(Words& words, const WordForm& form, int column) {
  for (const CodeKey& key : form.fixed) {
    if (run_.vocabulary.is_code_letter(key.first)) continue;
    const WordValue* word = words.take(key.first);
    if (word == nullptr || std::fabs(word->value * 10.0 - key.second) > whole_number_slack) {
      return run_.refusal(
          word ? word->column : column,
          fmt::format("{}{:g} is missing beside this word", key.first, key.second / 10.0),
          fmt::format("write it as {}", run_.sheet.offsets.form));
    }
  }
  return std::nullopt;
}

Stop OffsetWords::set_axis_offset(Words& words, const Words::Code& code) {
  if (const Words::Code* motion = words.find(ModalGroup::motion)) {
    return run_.refusal(motion->column, "an offset and a move in one line both want the axis words",
                        "split the line");
  }
  if (!run_.has_axis_word(words)) return run_.refusal(code.column, "no axis is named", "name one");
  const AxisValues shown = run_.machine.shown();
  return run_.for_each_axis_word(
      words, [&](int axis, double value) { run_.state.set_axis_offset(axis, value, shown[axis]); });
}

}  // namespace pivotrace::control
