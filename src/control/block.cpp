#include "control/block.h"

#include <fmt/format.h>

#include <algorithm>

#include "control/comments.h"
#include "control/form_reader.h"
#include "control/log_line.h"

namespace pivotrace::control {

namespace {

struct RawLine {
  std::string text;
  int number = 0;
};

std::vector<RawLine> split_lines(const std::string& text) {
  std::vector<RawLine> lines;
  std::size_t start = 0;
  while (start < text.size()) {
    std::size_t end = text.find('\n', start);
    if (end == std::string::npos) end = text.size();
    std::string line = text.substr(start, end - start);
    if (!line.empty() && line.back() == '\r') line.pop_back();
    lines.push_back({std::move(line), static_cast<int>(lines.size()) + 1});
    start = end + 1;
  }
  return lines;
}

std::string trimmed(const std::string& text) {
  const std::size_t first = text.find_first_not_of(" \t");
  if (first == std::string::npos) return {};
  return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

/// Reads words and assignments of one line into a block.
class WordReader {
 public:
  WordReader(Cursor& cursor, const ControlSheet& sheet, const Vocabulary& vocabulary, Nodes& nodes,
             Block& block)
      : cursor_(cursor), sheet_(sheet), vocabulary_(vocabulary), nodes_(nodes), block_(block) {
    const std::string& form = sheet.assignment.form;
    const std::size_t variable = form.find("{variable}");
    const std::size_t value = form.find("{value}");
    if (variable == std::string::npos || value == std::string::npos || value < variable) return;
    before_ = squeeze(form.substr(0, variable), 1, sheet.text).text;
    between_ = squeeze(form.substr(variable + 10, value - variable - 10), 1, sheet.text).text;
    after_ = squeeze(form.substr(value + 7), 1, sheet.text).text;
  }

  void read() {
    while (!cursor_.at_end()) item();
    if (!cursor_.failed()) check_company();
  }

 private:
  void item() {
    if (cursor_.accept(comment_stand_in)) return;
    const int column = cursor_.column();
    if (cursor_.stands_here(before_ + sheet_.variables.prefix) && !between_.empty()) {
      assignment(column);
    } else if (!plain_word(column)) {
      letter_word(column);
    }
  }

  void assignment(int column) {
    Assignment assignment{.column = column};
    cursor_.accept(before_ + sheet_.variables.prefix);
    assignment.variable = read_variable_number(cursor_, sheet_, nodes_);
    if (!cursor_.failed() && !cursor_.accept(between_)) {
      cursor_.fail(fmt::format("'{}' is expected after the variable", between_),
                   "write an assignment, or check the word before it");
    }
    if (!cursor_.failed()) assignment.value = read(sheet_.assignment.value_needs_brackets);
    if (!cursor_.failed() && !after_.empty() && !cursor_.accept(after_)) {
      cursor_.fail(fmt::format("'{}' is expected after the value", after_), "complete the line");
    }
    block_.assignments.push_back(assignment);
  }

  NodeIndex read(bool needs_brackets) {
    return needs_brackets ? read_value(cursor_, sheet_, nodes_)
                          : read_bare(cursor_, sheet_, nodes_);
  }

  bool plain_word(int column) {
    for (const auto& [spelling, meaning] : vocabulary_.plain_words()) {
      if (!cursor_.accept(spelling)) continue;
      block_.words.push_back({.plain = meaning, .column = column});
      return true;
    }
    return false;
  }

  void letter_word(int column) {
    const char letter = cursor_.peek();
    if (!vocabulary_.is_known_letter(letter)) {
      cursor_.fail(fmt::format("'{}' does not belong here", letter),
                   "check the spelling; this control has no such word");
      return;
    }
    cursor_.take();
    refuse_repeated(letter, column);
    if (!sheet_.text.spaces_ignored && cursor_.blank_here()) {
      cursor_.fail("a blank between a letter and its number", "take it out");
    }
    const std::string& mark = sheet_.expressions.word_mark;
    if (!mark.empty() && !vocabulary_.is_code_letter(letter) && !cursor_.accept(mark)) {
      cursor_.fail(fmt::format("'{}' is expected after the letter", mark), "complete the word");
    }
    if (cursor_.failed()) return;
    Word word{.letter = letter, .column = column};
    word.value = read(sheet_.expressions.word_needs_brackets);
    if (cursor_.failed()) return;
    check_literal(word);
    block_.words.push_back(word);
  }

  void refuse_repeated(char letter, int column) {
    if (!sheet_.text.repeated_letter_is_error || letter == 'G' || letter == 'M') return;
    const auto same = [letter](const Word& other) { return other.letter == letter; };
    if (std::any_of(block_.words.begin(), block_.words.end(), same)) {
      cursor_.fail_at(column, fmt::format("a second {} word in one line", letter),
                      "give each letter once");
    }
  }

  /// What can be said of a word before the program runs.
  void check_literal(const Word& word) {
    const Node& node = nodes_[word.value];
    if (node.kind != Node::Kind::number) return;
    if (vocabulary_.is_code_letter(word.letter)) {
      if (!vocabulary_.code(word.letter, node.number) && !belongs_to_form(word.letter)) {
        cursor_.fail_at(
            word.column,
            fmt::format("{}{:g} is not a word of this control", word.letter, node.number),
            "take it out, or describe it in the control sheet");
      }
    } else if (sheet_.numbers.point_always && !node.has_mark &&
               vocabulary_.is_axis_letter(word.letter)) {
      cursor_.fail_at(word.column,
                      fmt::format("{}{:g} has no decimal mark: this control may take it for "
                                  "increments",
                                  word.letter, node.number),
                      "write the decimal mark");
    }
  }

  /// The L of "G10 L2 P{system}" is a letter whose number is fixed by a form, not a code.
  bool belongs_to_form(char letter) const { return letter != 'G' && letter != 'M'; }

  /// What may stand together in one line.
  void check_company() {
    const auto count = static_cast<int>(block_.assignments.size());
    if (count == 0) return;
    const int column = block_.assignments.back().column;
    const AssignmentRules& rules = sheet_.assignment;
    if (rules.per_block > 0 && count > rules.per_block) {
      cursor_.fail_at(
          column,
          fmt::format("{} assignments in one line; this control takes {}", count, rules.per_block),
          "split the line");
    }
    if (!rules.takes_effect_after_block && (count > 1 || !block_.words.empty())) {
      cursor_.fail_at(column,
                      "an assignment beside other words: controls disagree which comes first",
                      "put the assignment in a line of its own");
    }
  }

  Cursor& cursor_;
  const ControlSheet& sheet_;
  const Vocabulary& vocabulary_;
  Nodes& nodes_;
  Block& block_;
  std::string before_;
  std::string between_;
  std::string after_;
};

/// Reads one line: a statement, a branch, or words.
class BlockReader {
 public:
  BlockReader(const RawLine& line, const std::string& file, const ControlSheet& sheet,
              const Vocabulary& vocabulary, Nodes& nodes)
      : line_(line), file_(file), sheet_(sheet), vocabulary_(vocabulary), nodes_(nodes) {
    block_.line = line.number;
    block_.raw = line.text;
  }

  Block read() {
    whole_ = line_.text;
    take_mark_and_label();
    take_block_end();
    if (problems_.empty() && !statement()) code_line();
    return std::move(block_);
  }

  Problems& problems() { return problems_; }

 private:
  bool case_matters() const { return sheet_.text.case_matters; }

  /// Block-skip mark and line number, blanked out so that the forms see the rest of the line.
  void take_mark_and_label() {
    const SqueezedLine squeezed = squeeze(whole_, 1, sheet_.text);
    Cursor cursor(squeezed, file_, line_.number, sheet_.text.spaces_ignored);
    if (!sheet_.text.block_skip.empty() && cursor.accept(sheet_.text.block_skip)) {
      block_.marked_to_skip = true;
    }
    const std::string& prefix = sheet_.text.line_number_prefix;
    const int column = cursor.column();
    Cursor ahead = cursor;
    if (!prefix.empty() && ahead.accept(prefix) && is_digit(ahead.peek())) {
      cursor = ahead;
      const int number = cursor.take_digits();
      if (sheet_.text.line_number_max > 0 && number > sheet_.text.line_number_max) {
        cursor.fail_at(column, fmt::format("line number {} is too large", number),
                       fmt::format("use numbers up to {}", sheet_.text.line_number_max));
      }
      block_.label = number;
    }
    take_problems(cursor);
    const auto taken = static_cast<std::ptrdiff_t>(cursor.column()) - 1;
    if (block_.marked_to_skip || block_.label) {
      std::fill(whole_.begin(), whole_.begin() + taken, ' ');
    }
  }

  static bool is_digit(char c) { return c >= '0' && c <= '9'; }

  std::optional<FilledForm> matches(const std::string& form, const std::string& text) const {
    return read_form(form, text, 1, case_matters());
  }

  /// Lines written by the stop and log rules. Their texts may hold comment marks, so they come
  /// before comments are taken out.
  bool statement() {
    return log_statement() || demand() || alarm() || message() || operator_stop();
  }

  bool log_statement() {
    const LogRules& log = sheet_.log;
    Statement& statement = block_.statement;
    if (matches(log.open_form, whole_)) {
      statement.kind = Statement::Kind::log_open;
      return true;
    }
    if (matches(log.close_form, whole_)) {
      statement.kind = Statement::Kind::log_close;
      return true;
    }
    if (!log.available() || !begins_with(log.begin)) return false;
    statement.kind = Statement::Kind::log;
    Expected<std::vector<LogItem>> items =
        read_log_line(whole_, line_.number, file_, sheet_, nodes_);
    if (items) {
      statement.items = std::move(*items);
    } else {
      problems_ = items.error();
    }
    return true;
  }

  bool begins_with(const std::string& word) const {
    const std::size_t first = whole_.find_first_not_of(" \t");
    if (first == std::string::npos) return false;
    const SqueezedLine here = squeeze(whole_.substr(first, word.size()), 1, sheet_.text);
    return here.text == squeeze(word, 1, sheet_.text).text;
  }

  bool demand() {
    const std::optional<FilledForm> filled = matches(sheet_.stops.demand, whole_);
    if (!filled) return false;
    block_.statement.kind = Statement::Kind::demand;
    block_.statement.text = blank(*filled, "text").text;
    block_.statement.condition = read_blank(blank(*filled, "condition"));
    return true;
  }

  bool alarm() {
    const std::optional<FilledForm> filled = matches(sheet_.stops.alarm, whole_);
    if (!filled) return false;
    block_.statement.kind = Statement::Kind::alarm;
    block_.statement.text = blank(*filled, "text").text;
    block_.statement.alarm_number = blank(*filled, "number").text;
    return true;
  }

  bool message() {
    const std::optional<FilledForm> filled = matches(sheet_.stops.message, whole_);
    if (!filled) return false;
    block_.statement.kind = Statement::Kind::message;
    block_.statement.text = blank(*filled, "text").text;
    return true;
  }

  /// Only a form that is more than a word and a comment needs this.
  bool operator_stop() {
    const std::optional<FilledForm> filled = matches(sheet_.stops.operator_stop, whole_);
    if (!filled) return false;
    block_.statement.kind = Statement::Kind::operator_stop;
    block_.statement.text = blank(*filled, "text").text;
    return true;
  }

  static Filled blank(const FilledForm& filled, const std::string& name) {
    const auto found = filled.find(name);
    return found == filled.end() ? Filled{} : found->second;
  }

  /// The expression in a blank of a form.
  NodeIndex read_blank(const Filled& blank) {
    const SqueezedLine squeezed = squeeze(blank.text, blank.column, sheet_.text);
    Cursor cursor(squeezed, file_, line_.number, sheet_.text.spaces_ignored);
    const NodeIndex node = read_bare(cursor, sheet_, nodes_);
    if (!cursor.at_end()) {
      cursor.fail("the expression ends here, the line does not", "check brackets and operators");
    }
    take_problems(cursor);
    return node;
  }

  void code_line() {
    const SplitLine parts = split_comments(whole_, line_.number, file_, sheet_.text);
    problems_ = parts.problems;
    if (!problems_.empty()) return;
    if (!parts.comments.empty()) take_comment(parts.comments.back());
    const std::string code = without_stand_ins(parts.code);
    if (branch(code) || origin(code)) return;
    read_words(parts.code, 1);
  }

  void read_words(const std::string& code, int first_column) {
    const SqueezedLine squeezed = squeeze(code, first_column, sheet_.text);
    Cursor cursor(squeezed, file_, line_.number, sheet_.text.spaces_ignored);
    WordReader(cursor, sheet_, vocabulary_, nodes_, block_).read();
    take_problems(cursor);
  }

  /// An offset form that is not made of words: "ORIGIN {system} {axes}".
  bool origin(const std::string& code) {
    if (vocabulary_.offset_form()) return false;
    const std::optional<FilledForm> filled = matches(sheet_.offsets.form, code);
    if (!filled || filled->count("system") == 0 || filled->count("axes") == 0) return false;
    block_.statement.kind = Statement::Kind::origin;
    block_.statement.condition = read_blank(filled->at("system"));
    read_words(filled->at("axes").text, filled->at("axes").column);
    return true;
  }

  static std::string without_stand_ins(std::string code) {
    std::replace(code.begin(), code.end(), comment_stand_in, ' ');
    return code;
  }

  /// The last comment counts; it may be a message to the operator.
  void take_comment(const Comment& comment) {
    block_.comment = trimmed(comment.text);
    const std::string whole = sheet_.text.comment_open + comment.text + sheet_.text.comment_close;
    if (const std::optional<FilledForm> filled = matches(sheet_.stops.message, whole)) {
      block_.statement.kind = Statement::Kind::message;
      block_.statement.text = blank(*filled, "text").text;
    }
  }

  /// The mark that ends every block, blanked out; a line with nothing but a remark has none.
  void take_block_end() {
    const std::string& end = sheet_.text.block_end;
    if (end.empty() || !problems_.empty()) return;
    const SplitLine parts = split_comments(whole_, line_.number, file_, sheet_.text);
    const std::string code = without_stand_ins(parts.code);
    const std::size_t last = code.find_last_not_of(" \t");
    if (last == std::string::npos) return;
    if (last + 1 < end.size() || code.compare(last + 1 - end.size(), end.size(), end) != 0) {
      problems_.push_back({ProblemNumber::program_error,
                           fmt::format("the block does not end with '{}'", end),
                           {file_, line_.number, static_cast<int>(last) + 2},
                           "end every block as this control wants it"});
      return;
    }
    std::fill_n(whole_.begin() + static_cast<std::ptrdiff_t>(last + 1 - end.size()), end.size(),
                ' ');
  }

  bool branch(const std::string& code) {
    const BranchRules& rules = sheet_.branches;
    if (const auto filled = matches(rules.while_begin, code)) {
      start(Branch::Kind::while_begin, *filled);
      block_.branch.level = level_of(*filled);
    } else if (const auto end = matches(rules.while_end, code)) {
      start(Branch::Kind::while_end, *end);
      block_.branch.level = level_of(*end);
    } else if (const auto jump_if = matches(rules.jump_if, code)) {
      start(Branch::Kind::jump_if, *jump_if);
    } else if (const auto jump = matches(rules.jump, code)) {
      start(Branch::Kind::jump, *jump);
    } else if (const auto label = matches(rules.label, code)) {
      return take_label(blank(*label, "label"));
    } else {
      return false;
    }
    return true;
  }

  void start(Branch::Kind kind, const FilledForm& filled) {
    Branch& branch = block_.branch;
    branch.kind = kind;
    branch.column = static_cast<int>(whole_.find_first_not_of(" \t")) + 1;
    if (filled.count("condition") != 0) branch.condition = read_blank(filled.at("condition"));
    if (filled.count("label") != 0) branch.label = read_blank(filled.at("label"));
  }

  static int level_of(const FilledForm& filled) {
    const auto found = filled.find("level");
    return found == filled.end() ? 0 : std::atoi(found->second.text.c_str());
  }

  /// A label that is not a line number, such as "LABEL 20".
  bool take_label(const Filled& filled) {
    if (filled.text.empty() || !std::all_of(filled.text.begin(), filled.text.end(), is_digit)) {
      return false;
    }
    block_.label = std::atoi(filled.text.c_str());
    return true;
  }

  void take_problems(const Cursor& cursor) {
    problems_.insert(problems_.end(), cursor.problems().begin(), cursor.problems().end());
  }

  const RawLine& line_;
  const std::string& file_;
  const ControlSheet& sheet_;
  const Vocabulary& vocabulary_;
  Nodes& nodes_;
  std::string whole_;
  Block block_;
  Problems problems_;
};

/// Reads the lines of a program one after the other.
class ProgramReader {
 public:
  ProgramReader(const std::string& file, const ControlSheet& sheet, const Vocabulary& vocabulary)
      : sheet_(sheet), vocabulary_(vocabulary) {
    program_.file = file;
    for (const std::vector<std::string>* forms : {&sheet.program_start, &sheet.program_end}) {
      for (const std::string& form : *forms) {
        if (!form.empty() && !reads_as_block(form)) frame_forms_.push_back(form);
      }
    }
  }

  Expected<Program> read(const std::string& text) {
    for (const RawLine& line : program_lines(split_lines(text))) {
      read_line(line);
      if (reached_end_) break;
    }
    match_loops();
    collect_labels();
    check_end();
    if (!problems_.empty()) return tl::make_unexpected(std::move(problems_));
    return std::move(program_);
  }

 private:
  static constexpr const char* fence = "%";

  bool has_fence() const {
    return std::find(frame_forms_.begin(), frame_forms_.end(), fence) != frame_forms_.end();
  }

  bool reads_as_block(const std::string& form) {
    const RawLine line{form, 0};
    Nodes scratch;
    BlockReader reader(line, program_.file, sheet_, vocabulary_, scratch);
    const Block block = reader.read();
    return reader.problems().empty();
  }

  /// The lines between the fences, or all of them.
  std::vector<RawLine> program_lines(std::vector<RawLine> lines) {
    if (!has_fence()) return lines;
    const auto is_fence = [](const RawLine& line) { return trimmed(line.text) == fence; };
    const auto is_blank = [](const RawLine& line) { return trimmed(line.text).empty(); };
    auto first = std::find_if_not(lines.begin(), lines.end(), is_blank);
    if (first == lines.end() || !is_fence(*first)) return lines;
    ++first;
    const auto last = std::find_if(first, lines.end(), is_fence);
    if (last == lines.end()) {
      add_problem(lines.back().number, "the closing fence is missing",
                  fmt::format("end the file with a line '{}'", fence));
    }
    program_.fenced = true;
    return {first, last};
  }

  void read_line(const RawLine& line) {
    const int limit = sheet_.text.max_line_length;
    if (limit > 0 && static_cast<int>(line.text.size()) > limit) {
      add_problem(
          line.number,
          fmt::format("the line has {} characters; this control takes {}", line.text.size(), limit),
          "split the line");
      return;
    }
    if (is_frame(line.text)) return;
    BlockReader reader(line, program_.file, sheet_, vocabulary_, program_.nodes);
    Block block = reader.read();
    problems_.insert(problems_.end(), reader.problems().begin(), reader.problems().end());
    const bool more_to_come = sheet_.branches.can_jump() || program_.fenced;
    if (!more_to_come) reached_end_ = ends_program(block);
    program_.blocks.push_back(std::move(block));
  }

  /// Lines that only frame a program, such as its name.
  bool is_frame(const std::string& text) const {
    return std::any_of(frame_forms_.begin(), frame_forms_.end(), [&](const std::string& form) {
      return read_form(form, text, 1, sheet_.text.case_matters).has_value();
    });
  }

  bool ends_program(const Block& block) const {
    return std::any_of(block.words.begin(), block.words.end(), [this](const Word& word) {
      if (word.plain) return *word.plain == Meaning::program_end;
      const Node& node = program_.nodes[word.value];
      if (node.kind != Node::Kind::number) return false;
      const auto code = vocabulary_.code(word.letter, node.number);
      return code && code->meaning == Meaning::program_end;
    });
  }

  void match_loops() {
    std::vector<std::size_t> open;
    for (std::size_t i = 0; i < program_.blocks.size(); ++i) {
      Branch& branch = program_.blocks[i].branch;
      if (branch.kind == Branch::Kind::while_begin) open.push_back(i);
      if (branch.kind != Branch::Kind::while_end) continue;
      if (open.empty() || program_.blocks[open.back()].branch.level != branch.level) {
        add_problem(program_.blocks[i].line, "this loop end has no beginning of its own number",
                    "give both ends of a loop the same number, inner loops first");
        return;
      }
      branch.partner = open.back();
      program_.blocks[open.back()].branch.partner = i;
      open.pop_back();
    }
    if (!open.empty()) {
      add_problem(program_.blocks[open.back()].line, "this loop has no end",
                  "close it with the same number");
    }
  }

  void collect_labels() {
    for (std::size_t i = 0; i < program_.blocks.size(); ++i) {
      const std::optional<int>& label = program_.blocks[i].label;
      if (!label) continue;
      if (!program_.labels.emplace(*label, i).second) program_.repeated_labels.push_back(*label);
    }
  }

  void check_end() {
    if (!problems_.empty()) return;
    if (program_.blocks.empty()) {
      add_problem(0, "the program is empty", "give the file the cycle verb wrote");
      return;
    }
    if (program_.fenced) return;
    const auto ends = [this](const Block& block) { return ends_program(block); };
    if (std::none_of(program_.blocks.begin(), program_.blocks.end(), ends)) {
      add_problem(program_.blocks.back().line, "the program has no end",
                  "end it with the word that ends a program");
    }
  }

  void add_problem(int line, const std::string& what, const std::string& advice) {
    problems_.push_back({ProblemNumber::program_error, what, {program_.file, line, 1}, advice});
  }

  const ControlSheet& sheet_;
  const Vocabulary& vocabulary_;
  std::vector<std::string> frame_forms_;
  Program program_;
  Problems problems_;
  bool reached_end_ = false;
};

}  // namespace

Expected<Program> read_program(const std::string& text, const std::string& file,
                               const ControlSheet& sheet, const Vocabulary& vocabulary) {
  return ProgramReader(file, sheet, vocabulary).read(text);
}

}  // namespace pivotrace::control
