#include "pivotrace/control/interpreter.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <optional>

#include "control/block.h"
#include "control/control_state.h"
#include "control/log_line.h"

namespace pivotrace {

namespace rehearsal {

namespace {

/// Two positions closer than this are one (far below any control's resolution).
constexpr double same_position_mm = 1e-9;

struct WordValue {
  double value = 0.0;
  int column = 0;
  bool used = false;
};

/// The words of one block with their values.
struct Words {
  std::map<char, WordValue> letters;
  struct Code {
    std::optional<Meaning> meaning;
    std::string auxiliary;
    int column = 0;
  };
  std::vector<Code> codes;

  const Code* find(Meaning meaning) const {
    const auto found = std::find_if(codes.begin(), codes.end(), [meaning](const Code& code) {
      return code.meaning == meaning;
    });
    return found == codes.end() ? nullptr : &*found;
  }
  const Code* find(ModalGroup group) const {
    const auto found = std::find_if(codes.begin(), codes.end(), [group](const Code& code) {
      return code.meaning && group_of(*code.meaning) == group;
    });
    return found == codes.end() ? nullptr : &*found;
  }
};

/// Why the program does not go on.
struct Halt {
  ProgramEnd end = ProgramEnd::refused;
  Problem problem;
};
using Step = std::optional<Halt>;

class Execution : public VariableSource {
 public:
  Execution(const Program& program, const Dialect& dialect, const Vocabulary& vocabulary,
            ControlledMachine& machine, Variables& variables, const InterpreterOptions& options)
      : program_(program),
        dialect_(dialect),
        vocabulary_(vocabulary),
        machine_(machine),
        variables_(variables),
        options_(options),
        state_(dialect, options.start, variables) {
    for (const auto& [letter, number] : dialect.position.machine_position) {
      live_[number] = {Live::machine_position, axis_index(letter)};
    }
    for (const auto& [letter, number] : dialect.position.program_position) {
      live_[number] = {Live::program_position, axis_index(letter)};
    }
    for (const auto& [group, number] : dialect.position.modal_variable) {
      live_[number] = {Live::modal, 0, group};
    }
  }

  ProgramRun run() {
    while (next_ < program_.blocks.size() && !finished_) {
      const Block& block = program_.blocks[next_];
      if (++result_.blocks > options_.block_limit) return too_long(block);
      block_ = &block;
      result_.line = block.line;
      ++next_;
      if (block.marked_to_skip && options_.skip_marked_lines) continue;
      machine_.line(block.line, block.raw);
      if (is_remark(block)) {
        remarks_ += (remarks_.empty() ? "" : " ") + *block.comment;
        continue;
      }
      if (Step halt = execute(block)) return halted(*halt);
      remarks_.clear();
    }
    result_.end = ProgramEnd::finished;
    return result_;
  }

  Expected<double> variable(double number, int column) const override {
    const std::optional<int> index = whole(number);
    if (!index) {
      return refuse(column, fmt::format("{:g} is not the number of a variable", number),
                    "variable numbers are whole");
    }
    const auto live = live_.find(*index);
    if (live != live_.end()) return live_value(live->second, column);
    if (!variables_.exists(*index)) return refuse_variable(*index, column);
    if (dialect_.variables.unset_is_error && !variables_.is_set(*index)) {
      return refuse(column,
                    fmt::format("variable {}{} is read before it has a value",
                                dialect_.variables.prefix, *index),
                    "set it first");
    }
    return variables_.value(*index);
  }

  tl::unexpected<Problems> refuse(int column, const std::string& what, const std::string& advice,
                                  ProblemNumber number) const override {
    return failure({number, what, {program_.file, block_->line, column}, advice});
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
    if (where.line == 0) where = {program_.file, block_->line, 1};
    return result_;
  }

  ProgramRun too_long(const Block& block) {
    result_.end = ProgramEnd::too_long;
    result_.line = block.line;
    result_.problems = {{ProblemNumber::program_too_long,
                         fmt::format("still running after {} blocks: this looks like an endless "
                                     "loop",
                                     options_.block_limit),
                         {program_.file, block.line, 1},
                         "check the loop or branch round this line"}};
    return result_;
  }

  Halt refusal(int column, const std::string& what, const std::string& advice) const {
    return {ProgramEnd::refused,
            {ProblemNumber::program_error, what, {program_.file, block_->line, column}, advice}};
  }

  Halt alarm(ProblemNumber number, int column, const std::string& what,
             const std::string& advice) const {
    return {ProgramEnd::alarm, {number, what, {program_.file, block_->line, column}, advice}};
  }

  static Halt from(const Problems& problems) {
    const Problem& first = problems.front();
    const bool meant = first.number == ProblemNumber::program_stopped;
    return {meant ? ProgramEnd::alarm : ProgramEnd::refused, first};
  }

  static Step from_machine(MachineAnswer answer) {
    if (!answer) return std::nullopt;
    return Halt{ProgramEnd::machine, std::move(*answer)};
  }

  // ---- values --------------------------------------------------------------------------------

  static std::optional<int> whole(double number) {
    const double rounded = std::round(number);
    if (std::fabs(number - rounded) > whole_number_slack || std::fabs(rounded) > 1e9) {
      return std::nullopt;
    }
    return static_cast<int>(rounded);
  }

  tl::unexpected<Problems> refuse_variable(int number, int column) const {
    return refuse(column,
                  fmt::format("there is no variable {}{}", dialect_.variables.prefix, number),
                  fmt::format("this control has {} to {}", dialect_.variables.readable.first,
                              dialect_.variables.readable.last));
  }

  Expected<double> live_value(const Live& live, int column) const {
    if (live.kind == Live::modal) return modal_value(live.group, column);
    if (live.axis < 0) return refuse(column, "no such axis", "check the dialect file");
    if (is_linear(live.axis) && !state_.units_known()) {
      return refuse(column, "a position is read before the units are known", "say the units first");
    }
    const double shift = live.kind == Live::program_position ? state_.shift(live.axis) : 0.0;
    return (machine_.shown()[live.axis] - shift) / state_.scale(live.axis);
  }

  /// The number of the word in force: 21 for G21.
  Expected<double> modal_value(ModalGroup group, int column) const {
    const std::optional<Meaning> meaning = state_.in_force(group);
    const std::optional<CodeKey> key =
        meaning ? code_key(dialect_.word(*meaning)) : std::optional<CodeKey>();
    if (!key) {
      return refuse(
          column,
          fmt::format("which word of the group '{}' is in force is not known here", key_of(group)),
          "say it in the program before it is asked for");
    }
    return key->second / 10.0;
  }

  Expected<double> value_of(NodeIndex node) const {
    return evaluate(program_.nodes, node, dialect_, *this);
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

  Step execute(const Block& block) {
    if (block.branch.kind != Branch::Kind::none) return branch(block.branch);
    if (block.statement.kind != Statement::Kind::none) {
      if (Step halt = statement(block.statement)) return halt;
    }
    Expected<Words> words = read_words(block);
    if (!words) return from(words.error());
    if (Step halt = assign(block)) return halt;
    if (block.statement.kind == Statement::Kind::origin) return origin(block.statement, *words);
    return run_words(*words);
  }

  Step branch(const Branch& branch) {
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
    return branch.kind == Branch::Kind::while_begin ? Step() : jump(branch);
  }

  Step jump(const Branch& branch) {
    const Expected<double> number = value_of(branch.label);
    if (!number) return from(number.error());
    const std::optional<int> label = whole(*number);
    const auto target = label ? program_.labels.find(*label) : program_.labels.end();
    if (target == program_.labels.end()) {
      return refusal(branch.column, fmt::format("there is no line {:g} to jump to", *number),
                     "give the target line this number");
    }
    const auto& repeated = program_.repeated_labels;
    if (std::find(repeated.begin(), repeated.end(), *label) != repeated.end()) {
      return refusal(branch.column, fmt::format("line number {} stands there twice", *label),
                     "give each jump target a number of its own");
    }
    next_ = target->second;
    return std::nullopt;
  }

  Step statement(const Statement& statement) {
    switch (statement.kind) {
      case Statement::Kind::log_open: return log_switch(true);
      case Statement::Kind::log_close: return log_switch(false);
      case Statement::Kind::log: return log(statement);
      case Statement::Kind::message: machine_.message(statement.text); return std::nullopt;
      case Statement::Kind::operator_stop:
        return from_machine(machine_.operator_stop(with_remarks(statement.text), false));
      case Statement::Kind::alarm: return program_alarm(statement);
      case Statement::Kind::demand: return demand(statement);
      case Statement::Kind::origin:
      case Statement::Kind::none: break;
    }
    return std::nullopt;
  }

  Step log_switch(bool open) {
    if (log_open_ == open) {
      return refusal(1, open ? "the log is open already" : "the log is not open",
                     "open it once and close it once");
    }
    log_open_ = open;
    return std::nullopt;
  }

  Step log(const Statement& statement) {
    if (!log_open_ && !dialect_.log.open_form.empty()) {
      return refusal(1, "the log is written before it is opened", "open it first");
    }
    std::string line;
    for (const LogItem& item : statement.items) {
      if (&item != &statement.items.front()) line += dialect_.log.separator;
      if (item.value == no_node) {
        line += item.text;
        continue;
      }
      const Expected<double> value = value_of(item.value);
      if (!value) return from(value.error());
      const std::string text = log_value(*value, item, dialect_.log);
      if (text.empty()) {
        return refusal(item.column,
                       fmt::format("{:g} does not fit the format of this value", *value),
                       "give the format more digits");
      }
      line += text;
    }
    machine_.log(line);
    return std::nullopt;
  }

  Step program_alarm(const Statement& statement) const {
    const std::string number =
        statement.alarm_number.empty() ? "" : fmt::format(" {}", statement.alarm_number);
    return alarm(ProblemNumber::program_stopped, 1,
                 fmt::format("the program stopped itself with alarm{}: {}", number, statement.text),
                 "the machine stands still; find the cause before starting again");
  }

  Step demand(const Statement& statement) const {
    const Expected<double> holds = value_of(statement.condition);
    if (!holds) return from(holds.error());
    if (*holds != 0.0) return std::nullopt;
    return program_alarm(statement);
  }

  Step assign(const Block& block) {
    std::vector<std::pair<int, double>> pending;
    for (const Assignment& assignment : block.assignments) {
      const Expected<double> number = value_of(assignment.variable);
      if (!number) return from(number.error());
      const std::optional<int> index = whole(*number);
      if (!index || !variables_.exists(*index)) {
        return from(refuse_variable(index.value_or(0), assignment.column).value());
      }
      if (live_.count(*index) != 0) {
        return refusal(
            assignment.column,
            fmt::format("variable {}{} belongs to the control", dialect_.variables.prefix, *index),
            "use another one");
      }
      const Expected<double> value = value_of(assignment.value);
      if (!value) return from(value.error());
      pending.emplace_back(*index, *value);
    }
    for (const auto& [index, value] : pending) variables_.set(index, value);
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
      const std::optional<Vocabulary::Code> code = vocabulary_.is_code_letter(word.letter)
                                                       ? vocabulary_.code(word.letter, *value)
                                                       : std::nullopt;
      if (code) {
        words.codes.push_back({code->meaning, code->auxiliary, word.column});
      } else if (vocabulary_.is_code_letter(word.letter)) {
        return refuse(
            word.column,
            fmt::format("{}{:g} is not a word of this control's dialect", word.letter, *value),
            "take it out, or describe it in the dialect file");
      } else {
        words.letters[word.letter] = {*value, word.column};
      }
    }
    return words;
  }

  Step run_words(Words& words) {
    if (Step halt = check_groups(words)) return halt;
    for (const auto part :
         {&Execution::feed_words, &Execution::spindle_words, &Execution::auxiliary_words,
          &Execution::dwell_words, &Execution::modal_words, &Execution::offset_words,
          &Execution::motion_words, &Execution::check_all_used, &Execution::stop_words}) {
      if (Step halt = (this->*part)(words)) return halt;
    }
    return std::nullopt;
  }

  static bool acts_once(Meaning meaning) {
    return meaning == Meaning::dwell || meaning == Meaning::set_data ||
           meaning == Meaning::axis_offset_set || meaning == Meaning::axis_offset_clear ||
           meaning == Meaning::axis_offset_suspend || meaning == Meaning::axis_offset_resume;
  }

  Step check_groups(Words& words) {
    std::map<ModalGroup, int> seen;
    int once = 0;
    for (const Words::Code& code : words.codes) {
      if (!code.meaning) continue;
      const ModalGroup group = group_of(*code.meaning);
      const bool twice =
          acts_once(*code.meaning) ? ++once > 1 : group != ModalGroup::none && ++seen[group] > 1;
      if (twice) {
        return refusal(code.column, "two words of one modal group in one line",
                       "keep the one you mean");
      }
    }
    return std::nullopt;
  }

  WordValue* take(Words& words, char letter) {
    const auto found = words.letters.find(letter);
    if (found == words.letters.end()) return nullptr;
    found->second.used = true;
    return &found->second;
  }

  Step feed_words(Words& words) {
    if (const Words::Code* mode = words.find(ModalGroup::feed_mode)) {
      state_.put_in_force(*mode->meaning);
      state_.feed.reset();
    }
    const WordValue* feed = take(words, feed_letter);
    if (feed == nullptr) return std::nullopt;
    if (feed->value < 0.0) return refusal(feed->column, "a negative feed", "write a positive F");
    inverse_time_feed_ = feed->value;
    feed_given_ = true;
    state_.feed = feed->value * feed_scale(words);
    return std::nullopt;
  }

  /// A unit word in the same line counts for its F.
  double feed_scale(const Words& words) const {
    if (words.find(Meaning::inches) != nullptr) return mm_per_inch;
    if (words.find(Meaning::millimetres) != nullptr) return 1.0;
    return state_.scale(0);
  }

  Step spindle_words(Words& words) {
    for (const ModalGroup group : {ModalGroup::spindle, ModalGroup::coolant}) {
      const Words::Code* code = words.find(group);
      if (code == nullptr) continue;
      std::optional<double> degrees;
      if (*code->meaning == Meaning::spindle_orient && vocabulary_.orient_form()) {
        const auto blank = vocabulary_.orient_form()->blanks.find("degrees");
        if (blank != vocabulary_.orient_form()->blanks.end()) {
          if (const WordValue* angle = take(words, blank->second)) degrees = angle->value;
        }
      }
      if (Step halt = from_machine(machine_.function(*code->meaning, degrees))) return halt;
      state_.put_in_force(*code->meaning);
    }
    return std::nullopt;
  }

  Step auxiliary_words(Words& words) {
    for (const Words::Code& code : words.codes) {
      if (code.meaning) continue;
      if (words.find(ModalGroup::motion) != nullptr || has_axis_word(words)) {
        return refusal(
            code.column,
            fmt::format("{} beside a move: controls disagree which comes first", code.auxiliary),
            "put it in a line of its own");
      }
      if (Step halt = from_machine(machine_.auxiliary(code.auxiliary))) return halt;
    }
    return std::nullopt;
  }

  Step dwell_words(Words& words) {
    const Words::Code* code = words.find(Meaning::dwell);
    if (code == nullptr) return std::nullopt;
    const WordValue* time =
        dialect_.dwell.letter.empty() ? nullptr : take(words, dialect_.dwell.letter.front());
    if (time == nullptr || time->value < 0.0) {
      return refusal(code->column, "a dwell without a time", "say how long to wait");
    }
    return from_machine(machine_.dwell(time->value * dialect_.dwell.seconds_per_unit));
  }

  Step modal_words(Words& words) {
    for (const Words::Code& code : words.codes) {
      if (!code.meaning) continue;
      if (const char* why = bends_moves(*code.meaning)) {
        return refusal(code.column, why, "take it out: a probing move must go where it says");
      }
      switch (group_of(*code.meaning)) {
        case ModalGroup::none:
        case ModalGroup::motion:
        case ModalGroup::feed_mode:
        case ModalGroup::spindle:
        case ModalGroup::coolant:
        case ModalGroup::stopping:
        case ModalGroup::axis_offset: break;
        default: state_.put_in_force(*code.meaning);
      }
    }
    return std::nullopt;
  }

  static const char* bends_moves(Meaning meaning) {
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

  // ---- offsets -------------------------------------------------------------------------------

  Step offset_words(Words& words) {
    if (const Words::Code* code = words.find(Meaning::set_data)) return set_data(words, *code);
    if (const Words::Code* code = words.find(Meaning::axis_offset_set)) {
      return set_axis_offset(words, *code);
    }
    if (words.find(Meaning::axis_offset_clear) != nullptr) state_.clear_axis_offsets();
    if (words.find(Meaning::axis_offset_suspend) != nullptr) state_.suspend_axis_offsets();
    if (words.find(Meaning::axis_offset_resume) != nullptr) state_.resume_axis_offsets();
    return std::nullopt;
  }

  Step set_data(Words& words, const Words::Code& code) {
    if (const Words::Code* motion = words.find(ModalGroup::motion)) {
      return refusal(motion->column, "an offset and a move in one line both want the axis words",
                     "split the line");
    }
    const std::optional<WordForm>& form = vocabulary_.offset_form();
    if (!form || form->blanks.count("system") == 0) {
      return refusal(code.column, "this dialect does not say how offsets are written",
                     "complete its offset form");
    }
    if (Step halt = check_fixed_words(words, *form, code.column)) return halt;
    const WordValue* system = take(words, form->blanks.at("system"));
    if (system == nullptr) {
      return refusal(code.column, "which work offset? Its number is missing",
                     fmt::format("write it as {}", dialect_.offsets.form));
    }
    return write_origin(words, system->value, system->column);
  }

  Step origin(const Statement& statement, Words& words) {
    const Expected<double> system = value_of(statement.condition);
    if (!system) return from(system.error());
    if (Step halt = write_origin(words, *system, 1)) return halt;
    return check_all_used(words);
  }

  Step write_origin(Words& words, double system, int column) {
    const std::optional<int> number = whole(system);
    const OffsetRules& rules = dialect_.offsets;
    if (!number || *number < rules.first_system || *number > rules.last_system) {
      return refusal(column, fmt::format("there is no work offset {:g}", system),
                     fmt::format("use {} to {}", rules.first_system, rules.last_system));
    }
    return for_each_axis_word(
        words, [&](int axis, double value) { state_.set_work_origin(*number, axis, value); });
  }

  /// The letters of the form with a fixed number, such as L2.
  Step check_fixed_words(Words& words, const WordForm& form, int column) {
    for (const CodeKey& key : form.fixed) {
      if (vocabulary_.is_code_letter(key.first)) continue;
      const WordValue* word = take(words, key.first);
      if (word == nullptr || std::fabs(word->value * 10.0 - key.second) > whole_number_slack) {
        return refusal(
            word ? word->column : column,
            fmt::format("{}{:g} is missing beside this word", key.first, key.second / 10.0),
            fmt::format("write it as {}", dialect_.offsets.form));
      }
    }
    return std::nullopt;
  }

  Step set_axis_offset(Words& words, const Words::Code& code) {
    if (const Words::Code* motion = words.find(ModalGroup::motion)) {
      return refusal(motion->column, "an offset and a move in one line both want the axis words",
                     "split the line");
    }
    if (!has_axis_word(words)) return refusal(code.column, "no axis is named", "name one");
    const AxisValues shown = machine_.shown();
    return for_each_axis_word(
        words, [&](int axis, double value) { state_.set_axis_offset(axis, value, shown[axis]); });
  }

  bool has_axis_word(const Words& words) const {
    return std::any_of(words.letters.begin(), words.letters.end(), [this](const auto& entry) {
      return vocabulary_.is_axis_letter(entry.first) && !entry.second.used;
    });
  }

  template <class Action>
  Step for_each_axis_word(Words& words, const Action& action) {
    for (auto& [letter, word] : words.letters) {
      if (!vocabulary_.is_axis_letter(letter)) continue;
      const int axis = axis_index(letter);
      if (axis < 0) return refusal(word.column, "no such axis", "use X Y Z A B C");
      if (is_linear(axis) && !state_.units_known()) {
        return refusal(word.column, "a length before the units are known", "say the units first");
      }
      word.used = true;
      action(axis, word.value);
    }
    return std::nullopt;
  }

  // ---- motion --------------------------------------------------------------------------------

  Step motion_words(Words& words) {
    const Words::Code* explicit_code = words.find(ModalGroup::motion);
    if (explicit_code != nullptr) state_.put_in_force(*explicit_code->meaning);
    if (!has_axis_word(words)) return no_axis_word(words, explicit_code);
    const int column = first_axis_column(words);
    const std::optional<Meaning> motion = state_.in_force(ModalGroup::motion);
    if (!motion || *motion == Meaning::canned_cycle_off) {
      return refusal(column, "axis words, but no motion word is in force",
                     "say how to move, for example with the word for rapid or feed");
    }
    const Words::Code* machine_frame = words.find(Meaning::machine_coordinates);
    AxisValues target{};
    if (Step halt = read_target(words, *motion, machine_frame, target)) return halt;
    switch (*motion) {
      case Meaning::rapid: return from_machine(machine_.rapid(target));
      case Meaning::feed: return feed_move(target, column);
      case Meaning::skip: return probe_move(words, target, column);
      default: return refusal(column, "this motion is not rehearsed", "use straight moves");
    }
  }

  Step no_axis_word(const Words& words, const Words::Code* explicit_code) const {
    const Words::Code* machine_frame = words.find(Meaning::machine_coordinates);
    const bool moves = explicit_code && *explicit_code->meaning != Meaning::canned_cycle_off;
    if (!moves && !machine_frame) return std::nullopt;
    return refusal((moves ? explicit_code : machine_frame)->column,
                   "a motion word without an axis word", "name the axis to move, or drop the word");
  }

  int first_axis_column(const Words& words) const {
    int column = 0;
    for (const auto& [letter, word] : words.letters) {
      if (!vocabulary_.is_axis_letter(letter)) continue;
      column = column == 0 ? word.column : std::min(column, word.column);
    }
    return column;
  }

  Step read_target(Words& words, Meaning motion, const Words::Code* machine_frame,
                   AxisValues& target) {
    bool in_machine = machine_frame != nullptr;
    if (motion == Meaning::skip) {
      if (in_machine) {
        return refusal(machine_frame->column,
                       "a probe move cannot be given in machine coordinates by a word",
                       "give it as this dialect does");
      }
      in_machine = dialect_.skip.target == Coordinates::machine;
    }
    const std::optional<Meaning> distance = state_.in_force(ModalGroup::distance);
    if (!distance && !in_machine) {
      return refusal(first_axis_column(words), "absolute or incremental? Not said yet",
                     "say it before the first move");
    }
    const bool incremental = distance == Meaning::incremental;
    if (incremental && machine_frame != nullptr) {
      return refusal(machine_frame->column, "machine coordinates while distances are incremental",
                     "switch to absolute first");
    }
    const AxisValues shown = machine_.shown();
    target = shown;
    return for_each_axis_word(words, [&](int axis, double value) {
      const double size = value * state_.scale(axis);
      if (incremental) {
        target[axis] = shown[axis] + size;
      } else {
        target[axis] = size + (in_machine ? 0.0 : state_.shift(axis));
      }
    });
  }

  Step feed_rate(bool only_rotary, int column, FeedRate& rate) {
    const std::optional<Meaning> mode = state_.in_force(ModalGroup::feed_mode);
    if (!mode) return refusal(column, "feed per minute? Not said yet", "say it before this move");
    if (*mode == Meaning::feed_inverse_time) {
      if (!std::exchange(feed_given_, false)) {
        return refusal(column, "inverse time feed needs an F in every line", "add the F word");
      }
      rate = {true, inverse_time_feed_};
    } else if (*mode == Meaning::feed_per_minute) {
      const double scale = only_rotary ? state_.scale(0) : 1.0;
      rate = {false, state_.feed.value_or(0.0) / scale};
    } else {
      return refusal(column, "feed per revolution with a stopped spindle", "use feed per minute");
    }
    if (rate.value <= 0.0) {
      return refusal(column, "the feed is zero or was never given", "give an F word");
    }
    return std::nullopt;
  }

  Step feed_move(const AxisValues& target, int column) {
    const AxisValues shown = machine_.shown();
    const bool only_rotary =
        target[0] == shown[0] && target[1] == shown[1] && target[2] == shown[2];
    FeedRate rate;
    if (Step halt = feed_rate(only_rotary, column, rate)) return halt;
    return from_machine(machine_.feed(target, rate));
  }

  Step probe_move(const Words& words, const AxisValues& target, int column) {
    if (Step halt = check_probe_move(words, target, column)) return halt;
    FeedRate rate;
    if (Step halt = feed_rate(false, column, rate)) return halt;
    ProbeEnd end;
    if (Step halt = from_machine(machine_.probe(target, rate, end))) return halt;
    store_trip_point(end.triggered ? end.trip : target);
    if (end.triggered_at_start && dialect_.skip.triggered_at_start_is_error) {
      return alarm(ProblemNumber::probe_fault, column,
                   "the probe was triggered before the probe move began",
                   "free the stylus and check the probe");
    }
    if (!end.triggered && dialect_.skip.untriggered == WhenUntriggered::stops_with_error) {
      return alarm(ProblemNumber::probe_fault, column, "the probe move ended without a trigger",
                   "check that the artefact is where it is said to be");
    }
    return std::nullopt;
  }

  Step check_probe_move(const Words& words, const AxisValues& target, int column) {
    const AxisValues shown = machine_.shown();
    double squares = 0.0;
    bool names_linear = false;
    for (int axis = 0; axis < 6; ++axis) {
      const bool named = words.letters.count(axis_letters[axis]) != 0;
      if (is_linear(axis)) {
        names_linear = names_linear || named;
        squares += (target[axis] - shown[axis]) * (target[axis] - shown[axis]);
      } else if (named && target[axis] != shown[axis]) {
        return refusal(column, "a probe move that turns a rotary axis", "turn first, then probe");
      } else if (named && !dialect_.skip.rotary_words_allowed) {
        return refusal(column, "a probe move takes no rotary word", "drop it");
      }
    }
    if (!names_linear) {
      return refusal(column, "a probe move needs X, Y or Z", "name the axis to move");
    }
    if (state_.in_force(ModalGroup::feed_mode) == Meaning::feed_inverse_time) {
      return refusal(column, "a probe move with inverse time feed", "use feed per minute");
    }
    if (std::sqrt(squares) < dialect_.skip.min_distance_mm - same_position_mm) {
      return refusal(column,
                     fmt::format("the probe move is {:.3f} mm long; this control wants {:.3f} mm",
                                 std::sqrt(squares), dialect_.skip.min_distance_mm),
                     "start further away");
    }
    return std::nullopt;
  }

  void store_trip_point(const AxisValues& trip) {
    for (const auto& [letter, number] : dialect_.skip.trip_variable) {
      const int axis = axis_index(letter);
      if (axis < 0) continue;
      const double shift =
          dialect_.skip.trip_point == Coordinates::program ? state_.shift(axis) : 0.0;
      variables_.set(number, (trip[axis] - shift) / state_.scale(axis));
    }
  }

  Step check_all_used(Words& words) {
    for (const auto& [letter, word] : words.letters) {
      if (word.used) continue;
      return refusal(word.column,
                     fmt::format("the {} word belongs to no word of this line", letter),
                     "drop it, or add the word it belongs to");
    }
    return std::nullopt;
  }

  Step stop_words(Words& words) {
    const Words::Code* code = words.find(ModalGroup::stopping);
    if (code == nullptr) return std::nullopt;
    if (*code->meaning == Meaning::program_end) {
      finished_ = true;
      return std::nullopt;
    }
    return from_machine(machine_.operator_stop(with_remarks(block_->comment.value_or("")),
                                               *code->meaning == Meaning::optional_stop));
  }

  const Program& program_;
  const Dialect& dialect_;
  const Vocabulary& vocabulary_;
  ControlledMachine& machine_;
  Variables& variables_;
  const InterpreterOptions& options_;
  ControlState state_;
  std::map<int, Live> live_;
  const Block* block_ = nullptr;
  std::size_t next_ = 0;
  bool finished_ = false;
  std::string remarks_;  ///< of the lines just before this one
  bool log_open_ = false;
  bool feed_given_ = false;
  double inverse_time_feed_ = 0.0;
  ProgramRun result_;
};

}  // namespace

}  // namespace rehearsal

ProgramRun run_program(const std::string& text, const std::string& file, const Dialect& dialect,
                       ControlledMachine& machine, Variables& variables,
                       const InterpreterOptions& options) {
  const rehearsal::Vocabulary vocabulary(dialect, options.auxiliary_words);
  const Expected<rehearsal::Program> program =
      rehearsal::read_program(text, file, dialect, vocabulary);
  if (!program) {
    ProgramRun run;
    run.end = ProgramEnd::refused;
    run.problems = program.error();
    run.line = run.problems.front().where.line;
    return run;
  }
  return rehearsal::Execution(*program, dialect, vocabulary, machine, variables, options).run();
}

}  // namespace pivotrace
