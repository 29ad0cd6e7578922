#include "pivotrace/control/interpreter.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "control/function_words.h"
#include "control/log_line.h"
#include "control/motion_words.h"
#include "control/offset_words.h"

namespace pivotrace {

namespace control {

namespace {

class Execution : public VariableSource {
 public:
  Execution(const Program& program, const ControlSheet& sheet, const Vocabulary& vocabulary,
            ControlledMachine& machine, Variables& variables, const InterpreterOptions& options)
      : run_{program, sheet,     vocabulary,
             machine, variables, ControlState(sheet, options.start, variables),
             nullptr},
        options_(options),
        functions_(run_),
        offsets_(run_),
        motion_(run_) {
    for (const auto& [letter, number] : sheet.position.machine_position) {
      live_[number] = {Live::machine_position, axis_index(letter)};
    }
    for (const auto& [letter, number] : sheet.position.program_position) {
      live_[number] = {Live::program_position, axis_index(letter)};
    }
    for (const auto& [group, number] : sheet.position.modal_variable) {
      live_[number] = {Live::modal, 0, group};
    }
  }

  ProgramRun run() {
    while (next_ < run_.program.blocks.size() && !finished_) {
      const Block& block = run_.program.blocks[next_];
      if (++result_.blocks > options_.block_limit) return too_long(block);
      run_.block = &block;
      result_.line = block.line;
      ++next_;
      if (block.marked_to_skip && options_.skip_marked_lines) continue;
      run_.machine.line(block.line, block.raw);
      if (is_remark(block)) {
        remarks_ += (remarks_.empty() ? "" : " ") + *block.comment;
        continue;
      }
      if (Stop halt = execute(block)) return halted(*halt);
      remarks_.clear();
    }
    result_.end = ProgramEnd::finished;
    return result_;
  }

  Expected<double> variable(double number, int column) const override {
    const std::optional<int> index = whole_number(number);
    if (!index) {
      return refuse(column, fmt::format("{:g} is not the number of a variable", number),
                    "variable numbers are whole");
    }
    const auto live = live_.find(*index);
    if (live != live_.end()) return live_value(live->second, column);
    if (!run_.variables.exists(*index)) return refuse_variable(*index, column);
    if (run_.sheet.variables.unset_is_error && !run_.variables.is_set(*index)) {
      return refuse(column,
                    fmt::format("variable {}{} is read before it has a value",
                                run_.sheet.variables.prefix, *index),
                    "set it first");
    }
    return run_.variables.value(*index);
  }

  tl::unexpected<Problems> refuse(int column, const std::string& what, const std::string& advice,
                                  ProblemNumber number) const override {
    return failure({number, what, {run_.program.file, run_.block->line, column}, advice});
  }
  tl::unexpected<Problems> refuse(int column, const std::string& what,
                                  const std::string& advice) const {
    return refuse(column, what, advice, ProblemNumber::program_error);
  }

 private:
  struct Live {
    enum Kind { machine_position, program_position, modal };
    Kind kind = machine_position;
    int axis = 0;
    ModalGroup group = ModalGroup::none;
  };

  // ---- outcome -------------------------------------------------------------------------------

  ProgramRun halted(const Halt& halt) {
    result_.end = halt.end;
    result_.problems = {halt.problem};
    Place& where = result_.problems.front().where;
    if (where.line == 0) where = {run_.program.file, run_.block->line, 1};
    return result_;
  }

  ProgramRun too_long(const Block& block) {
    result_.end = ProgramEnd::too_long;
    result_.line = block.line;
    result_.problems = {{ProblemNumber::program_too_long,
                         fmt::format("still running after {} blocks: this looks like an endless "
                                     "loop",
                                     options_.block_limit),
                         {run_.program.file, block.line, 1},
                         "check the loop or branch round this line"}};
    return result_;
  }

  static Halt from(const Problems& problems) {
    const Problem& first = problems.front();
    const bool meant = first.number == ProblemNumber::program_stopped;
    return {meant ? ProgramEnd::alarm : ProgramEnd::refused, first};
  }

  // ---- values --------------------------------------------------------------------------------

  tl::unexpected<Problems> refuse_variable(int number, int column) const {
    return refuse(column,
                  fmt::format("there is no variable {}{}", run_.sheet.variables.prefix, number),
                  fmt::format("this control has {} to {}", run_.sheet.variables.readable.first,
                              run_.sheet.variables.readable.last));
  }

  Expected<double> live_value(const Live& live, int column) const {
    if (live.kind == Live::modal) return modal_value(live.group, column);
    if (live.axis < 0) return refuse(column, "no such axis", "check the control sheet");
    if (is_linear(live.axis) && !run_.state.units_known()) {
      return refuse(column, "a position is read before the units are known", "say the units first");
    }
    const double shift = live.kind == Live::program_position ? run_.state.shift(live.axis) : 0.0;
    return (run_.machine.shown()[live.axis] - shift) / run_.state.scale(live.axis);
  }

  /// The number of the word in force: 21 for G21.
  Expected<double> modal_value(ModalGroup group, int column) const {
    const std::optional<Meaning> meaning = run_.state.in_force(group);
    const std::optional<CodeKey> key =
        meaning ? code_key(run_.sheet.word(*meaning)) : std::optional<CodeKey>();
    if (!key) {
      return refuse(
          column,
          fmt::format("which word of the group '{}' is in force is not known here", key_of(group)),
          "say it in the program before it is asked for");
    }
    return key->second / 10.0;
  }

  Expected<double> value_of(NodeIndex node) const {
    return evaluate(run_.program.nodes, node, run_.sheet, *this);
  }

  // ---- blocks --------------------------------------------------------------------------------

  /// A line that only says something.
  static bool is_remark(const Block& block) {
    return block.comment && block.words.empty() && block.assignments.empty() && !block.label &&
           block.branch.kind == Branch::Kind::none && block.statement.kind == Statement::Kind::none;
  }

  /// What the operator sees at a stop: the remarks right above it, then its own text.
  std::string with_remarks(const std::string& text) const {
    return remarks_.empty() || text.empty() ? remarks_ + text : remarks_ + " " + text;
  }

  Stop execute(const Block& block) {
    if (block.branch.kind != Branch::Kind::none) return branch(block.branch);
    if (block.statement.kind != Statement::Kind::none) {
      if (Stop halt = statement(block.statement)) return halt;
    }
    Expected<Words> words = read_words(block);
    if (!words) return from(words.error());
    if (Stop halt = assign(block)) return halt;
    if (block.statement.kind == Statement::Kind::origin) return origin(block.statement, *words);
    return run_words(*words);
  }

  Stop branch(const Branch& branch) {
    if (branch.kind == Branch::Kind::while_end) {
      next_ = branch.partner;
      return std::nullopt;
    }
    if (branch.condition != no_node) {
      const Expected<double> holds = value_of(branch.condition);
      if (!holds) return from(holds.error());
      if (*holds == 0.0) {
        if (branch.kind == Branch::Kind::while_begin) next_ = branch.partner + 1;
        return std::nullopt;
      }
    }
    return branch.kind == Branch::Kind::while_begin ? Stop() : jump(branch);
  }

  Stop jump(const Branch& branch) {
    const Expected<double> number = value_of(branch.label);
    if (!number) return from(number.error());
    const std::optional<int> label = whole_number(*number);
    const auto target = label ? run_.program.labels.find(*label) : run_.program.labels.end();
    if (target == run_.program.labels.end()) {
      return run_.refusal(branch.column, fmt::format("there is no line {:g} to jump to", *number),
                          "give the target line this number");
    }
    const auto& repeated = run_.program.repeated_labels;
    if (std::find(repeated.begin(), repeated.end(), *label) != repeated.end()) {
      return run_.refusal(branch.column, fmt::format("line number {} stands there twice", *label),
                          "give each jump target a number of its own");
    }
    next_ = target->second;
    return std::nullopt;
  }

  Stop statement(const Statement& statement) {
    switch (statement.kind) {
      case Statement::Kind::log_open: return log_switch(true);
      case Statement::Kind::log_close: return log_switch(false);
      case Statement::Kind::log: return log(statement);
      case Statement::Kind::message: run_.machine.message(statement.text); return std::nullopt;
      case Statement::Kind::operator_stop:
        return from_machine(run_.machine.operator_stop(with_remarks(statement.text), false));
      case Statement::Kind::alarm: return program_alarm(statement);
      case Statement::Kind::demand: return demand(statement);
      case Statement::Kind::origin:
      case Statement::Kind::none: break;
    }
    return std::nullopt;
  }

  Stop log_switch(bool open) {
    if (log_open_ == open) {
      return run_.refusal(1, open ? "the log is open already" : "the log is not open",
                          "open it once and close it once");
    }
    log_open_ = open;
    return std::nullopt;
  }

  Stop log(const Statement& statement) {
    if (!log_open_ && !run_.sheet.log.open_form.empty()) {
      return run_.refusal(1, "the log is written before it is opened", "open it first");
    }
    std::string line;
    for (const LogItem& item : statement.items) {
      if (&item != &statement.items.front()) line += run_.sheet.log.separator;
      if (item.value == no_node) {
        line += item.text;
        continue;
      }
      const Expected<double> value = value_of(item.value);
      if (!value) return from(value.error());
      const std::string text = log_value(*value, item, run_.sheet.log);
      if (text.empty()) {
        return run_.refusal(item.column,
                            fmt::format("{:g} does not fit the format of this value", *value),
                            "give the format more digits");
      }
      line += text;
    }
    run_.machine.log(line);
    return std::nullopt;
  }

  Stop program_alarm(const Statement& statement) const {
    const std::string number =
        statement.alarm_number.empty() ? "" : fmt::format(" {}", statement.alarm_number);
    return run_.alarm(
        ProblemNumber::program_stopped, 1,
        fmt::format("the program stopped itself with alarm{}: {}", number, statement.text),
        "the machine stands still; find the cause before starting again");
  }

  Stop demand(const Statement& statement) const {
    const Expected<double> holds = value_of(statement.condition);
    if (!holds) return from(holds.error());
    if (*holds != 0.0) return std::nullopt;
    return program_alarm(statement);
  }

  Stop assign(const Block& block) {
    std::vector<std::pair<int, double>> pending;
    for (const Assignment& assignment : block.assignments) {
      const Expected<double> number = value_of(assignment.variable);
      if (!number) return from(number.error());
      const std::optional<int> index = whole_number(*number);
      if (!index || !run_.variables.exists(*index)) {
        return from(refuse_variable(index.value_or(0), assignment.column).value());
      }
      if (live_.count(*index) != 0) {
        return run_.refusal(assignment.column,
                            fmt::format("variable {}{} belongs to the control",
                                        run_.sheet.variables.prefix, *index),
                            "use another one");
      }
      const Expected<double> value = value_of(assignment.value);
      if (!value) return from(value.error());
      pending.emplace_back(*index, *value);
    }
    for (const auto& [index, value] : pending) run_.variables.set(index, value);
    return std::nullopt;
  }

  // ---- words ---------------------------------------------------------------------------------

  Expected<Words> read_words(const Block& block) const {
    Words words;
    for (const Word& word : block.words) {
      if (word.plain) {
        words.codes.push_back({word.plain, {}, word.column});
        continue;
      }
      const Expected<double> value = value_of(word.value);
      if (!value) return tl::make_unexpected(value.error());
      const std::optional<Vocabulary::Code> code = run_.vocabulary.is_code_letter(word.letter)
                                                       ? run_.vocabulary.code(word.letter, *value)
                                                       : std::nullopt;
      if (code) {
        words.codes.push_back({code->meaning, code->auxiliary, word.column});
      } else if (run_.vocabulary.is_code_letter(word.letter)) {
        return refuse(word.column,
                      fmt::format("{}{:g} is not a word of this control", word.letter, *value),
                      "take it out, or describe it in the control sheet");
      } else {
        words.letters[word.letter] = {*value, word.column};
      }
    }
    return words;
  }

  /// In the order a control carries out the words of a block (NISTIR 6556, from memory).
  Stop run_words(Words& words) {
    if (Stop halt = FunctionWords::check_groups(words, run_)) return halt;
    if (Stop halt = motion_.feed_words(words)) return halt;
    if (Stop halt = functions_.spindle_words(words)) return halt;
    if (Stop halt = functions_.auxiliary_words(words)) return halt;
    if (Stop halt = motion_.dwell_words(words)) return halt;
    if (Stop halt = functions_.modal_words(words)) return halt;
    if (Stop halt = offsets_.run(words)) return halt;
    if (Stop halt = motion_.run(words)) return halt;
    if (Stop halt = check_all_used(words)) return halt;
    return stop_words(words);
  }

  Stop origin(const Statement& statement, Words& words) {
    const Expected<double> system = value_of(statement.condition);
    if (!system) return from(system.error());
    if (Stop halt = offsets_.write_origin(words, *system, 1)) return halt;
    return check_all_used(words);
  }

  Stop check_all_used(Words& words) {
    for (const auto& [letter, word] : words.letters) {
      if (word.used) continue;
      return run_.refusal(word.column,
                          fmt::format("the {} word belongs to no word of this line", letter),
                          "drop it, or add the word it belongs to");
    }
    return std::nullopt;
  }

  Stop stop_words(Words& words) {
    const Words::Code* code = words.find(ModalGroup::stopping);
    if (code == nullptr) return std::nullopt;
    if (*code->meaning == Meaning::program_end) {
      finished_ = true;
      return std::nullopt;
    }
    return from_machine(run_.machine.operator_stop(with_remarks(run_.block->comment.value_or("")),
                                                   *code->meaning == Meaning::optional_stop));
  }

  RunContext run_;
  const InterpreterOptions& options_;
  FunctionWords functions_;
  OffsetWords offsets_;
  MotionWords motion_;
  std::map<int, Live> live_;
  std::size_t next_ = 0;
  bool finished_ = false;
  std::string remarks_;  ///< of the lines just before this one
  bool log_open_ = false;
  ProgramRun result_;
};

}  // namespace

}  // namespace control

ProgramRun run_program(const std::string& text, const std::string& file, const ControlSheet& sheet,
                       ControlledMachine& machine, Variables& variables,
                       const InterpreterOptions& options) {
  const control::Vocabulary vocabulary(sheet, options.auxiliary_words);
  const Expected<control::Program> program = control::read_program(text, file, sheet, vocabulary);
  if (!program) {
    ProgramRun run;
    run.end = ProgramEnd::refused;
    run.problems = program.error();
    run.line = run.problems.front().where.line;
    return run;
  }
  return control::Execution(*program, sheet, vocabulary, machine, variables, options).run();
}

}  // namespace pivotrace
