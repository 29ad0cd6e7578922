// A program read into blocks, before any of it runs.
#pragma once

#include <map>
#include <optional>
#include <string>
#include <vector>

#include "control/expression.h"
#include "control/vocabulary.h"

namespace pivotrace::control {

/// A letter with a value, or a plain word of the control sheet.
struct Word {
  char letter = '\0';  ///< '\0': a plain word, see `plain`
  NodeIndex value = no_node;
  std::optional<Meaning> plain = std::nullopt;
  int column = 0;
};

struct Assignment {
  NodeIndex variable = no_node;  ///< its number
  NodeIndex value = no_node;
  int column = 0;
};

struct Branch {
  enum class Kind { none, jump, jump_if, while_begin, while_end };
  Kind kind = Kind::none;
  NodeIndex condition = no_node;
  NodeIndex label = no_node;
  int level = 0;  ///< the number that pairs the two ends of a loop
  int column = 0;
  std::size_t partner = 0;  ///< the block at the other end of the loop
};

/// A column of a log line, ready to be printed.
struct LogItem {
  std::string text;
  NodeIndex value = no_node;  ///< no_node: print `text`
  int whole = 0;              ///< most digits before the mark; 0 = no limit
  int decimals = 0;
  int column = 0;
};

/// Lines that are not made of words.
struct Statement {
  enum class Kind {
    none,
    log_open,
    log_close,
    log,
    message,
    operator_stop,
    alarm,
    demand,
    origin,  ///< of a work offset; the axis words are the words of the block
  };
  Kind kind = Kind::none;
  std::vector<LogItem> items;
  std::string text;
  std::string alarm_number;
  NodeIndex condition = no_node;  ///< demand: what must hold; origin: which work offset
};

struct Block {
  int line = 0;
  std::string raw;
  bool marked_to_skip = false;
  std::optional<int> label;
  std::vector<Word> words;
  std::vector<Assignment> assignments;
  std::optional<std::string> comment;  ///< the last one of the line
  Branch branch;
  Statement statement;
};

struct Program {
  std::string file;
  std::vector<Block> blocks;
  Nodes nodes;
  std::map<int, std::size_t> labels;
  std::vector<int> repeated_labels;
  bool fenced = false;
};

/// Reads every line; reports every line it cannot read.
Expected<Program> read_program(const std::string& text, const std::string& file,
                               const ControlSheet& sheet, const Vocabulary& vocabulary);

}  // namespace pivotrace::control
