#include "pivotrace/formats/sheet_answer.h"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <sstream>

#include "base/words.h"

namespace pivotrace {

namespace {

constexpr std::string_view open_mark = "\"?\"";

Expected<std::string> unsuited(const Slot& slot, const std::string& answer) {
  return failure({ProblemNumber::bad_argument,
                  fmt::format("'{}' is no answer to {}", answer, slot.name()),
                  {},
                  "give " + answer_form(slot)});
}

std::string quoted(std::string text) {
  if (text.size() >= 2 && text.front() == '"' && text.back() == '"') {
    text = text.substr(1, text.size() - 2);
  }
  std::string safe;
  for (const char c : text) {
    if (c == '"' || c == '\\') safe += '\\';
    safe += c;
  }
  return '"' + safe + '"';
}

std::optional<int> whole(std::string_view text) {
  int number = 0;
  const char* last = text.data() + text.size();
  const auto read = std::from_chars(text.data(), last, number);
  return read.ec == std::errc() && read.ptr == last ? std::optional(number) : std::nullopt;
}

std::vector<std::string> words_of(const std::string& text) {
  std::vector<std::string> words;
  std::istringstream stream(text);
  for (std::string word; stream >> word;) words.push_back(word);
  return words;
}

/// An answer as TOML, or why it does not suit.
class AnswerWriter {
 public:
  AnswerWriter(const Slot& slot, const std::string& answer) : slot_(slot), answer_(answer) {}

  Expected<std::string> write() const {
    return std::visit([&](const auto& place) { return toml(place); }, slot_.place);
  }

 private:
  Expected<std::string> no() const { return unsuited(slot_, answer_); }

  Expected<std::string> toml(TextPlace) const { return quoted(answer_); }
  Expected<std::string> toml(const OperatorPlace&) const { return quoted(answer_); }
  Expected<std::string> toml(const ComparisonPlace&) const { return quoted(answer_); }
  Expected<std::string> toml(const FunctionPlace&) const { return quoted(answer_); }
  Expected<std::string> toml(const WordPlace&) const {
    const bool one_word = words_of(answer_).size() == 1;
    return one_word ? Expected<std::string>(quoted(answer_)) : no();
  }
  Expected<std::string> toml(FlagPlace) const {
    const std::string word = lower_case(answer_);
    if (word == "yes" || word == "true") return "true";
    if (word == "no" || word == "false") return "false";
    return no();
  }
  Expected<std::string> toml(WholePlace) const { return number(); }
  Expected<std::string> toml(const ModalPlace&) const { return number(); }
  Expected<std::string> toml(NumberPlace) const { return number(); }
  Expected<std::string> toml(RangePlace) const { return range(); }
  Expected<std::string> toml(OptionalRangePlace) const { return range(); }
  Expected<std::string> toml(const ChoicePlace&) const {
    const auto known = std::find(slot_.choices.begin(), slot_.choices.end(), answer_);
    return known != slot_.choices.end() ? Expected<std::string>(quoted(answer_)) : no();
  }
  Expected<std::string> toml(LinesPlace) const {
    std::string list;
    std::size_t at = 0;
    while (at <= answer_.size()) {
      const std::size_t end = std::min(answer_.find(" | ", at), answer_.size());
      list += (list.empty() ? "" : ", ") + quoted(answer_.substr(at, end - at));
      at = end + 3;
    }
    return "[" + list + "]";
  }
  Expected<std::string> toml(AxesPlace) const {
    std::string table;
    for (const std::string& word : words_of(answer_)) {
      const bool letter = word.size() > 2 && word[1] == '=' && word[0] >= 'A' && word[0] <= 'Z';
      if (!letter || !whole(std::string_view(word).substr(2))) return no();
      table += fmt::format("{}{} = {}", table.empty() ? "" : ", ", word[0], word.substr(2));
    }
    return table.empty() ? no() : Expected<std::string>("{ " + table + " }");
  }

  Expected<std::string> number() const {
    const auto value = whole(answer_);
    return value && *value >= 0 ? Expected<std::string>(std::to_string(*value)) : no();
  }
  Expected<std::string> range() const {
    const std::vector<std::string> words = words_of(answer_);
    if (words.size() != 2) return no();
    const auto first = whole(words[0]), last = whole(words[1]);
    if (!first || !last || *first > *last) return no();
    return fmt::format("[{}, {}]", *first, *last);
  }

  const Slot& slot_;
  const std::string& answer_;
};

/// True for the line that leaves this slot open.
bool leaves_open(const std::string& line, const std::string& key) {
  const std::string_view start = trimmed(std::string_view(line));
  if (!start.starts_with(key)) return false;
  const std::string_view rest = trimmed(start.substr(key.size()));
  return rest.starts_with("=") && trimmed(rest.substr(1)).starts_with(open_mark);
}

}  // namespace

std::string answer_form(const Slot& slot) {
  struct Form {
    std::string operator()(FlagPlace) const { return "yes or no"; }
    std::string operator()(WholePlace) const { return "a whole number"; }
    std::string operator()(NumberPlace) const { return "a whole number"; }
    std::string operator()(const ModalPlace&) const { return "the number of a variable"; }
    std::string operator()(RangePlace) const { return "two whole numbers, first and last"; }
    std::string operator()(OptionalRangePlace) const { return "two whole numbers, first and last"; }
    std::string operator()(AxesPlace) const {
      return "variable numbers by axis, X=number Y=number";
    }
    std::string operator()(LinesPlace) const { return "lines, separated by ' | '"; }
    std::string operator()(const WordPlace&) const { return "one word"; }
    std::string operator()(TextPlace) const { return "the text as it stands in a program"; }
    std::string operator()(const OperatorPlace&) const { return "a word or a mark"; }
    std::string operator()(const ComparisonPlace&) const { return "a word or a mark"; }
    std::string operator()(const FunctionPlace&) const { return "a word"; }
    std::string operator()(const ChoicePlace&) const { return ""; }
  };
  if (slot.choices.empty()) return std::visit(Form{}, slot.place);
  std::string choices;
  for (const std::string& choice : slot.choices)
    choices += (choices.empty() ? "" : " or ") + choice;
  return choices;
}

Expected<std::string> answered(std::string_view text, const Slot& slot, const std::string& answer) {
  const Expected<std::string> value = AnswerWriter(slot, answer).write();
  if (!value) return value;
  std::istringstream lines{std::string(text)};
  std::string changed;
  std::string table;
  bool done = false;
  for (std::string line; std::getline(lines, line);) {
    if (line.starts_with("[") && !line.starts_with("[[")) {
      table = line.substr(1, line.find(']') - 1);
    } else if (line.starts_with("[[")) {
      table = line;
    }
    if (!done && table == slot.table && leaves_open(line, slot.key)) {
      line.replace(line.find(open_mark), open_mark.size(), *value);
      done = true;
    }
    changed += line + "\n";
  }
  if (done) return changed;
  return failure({ProblemNumber::bad_argument,
                  slot.name() + " stands open nowhere in this sheet",
                  {},
                  "write `" + slot.key + " = \"?\"` under [" + slot.table + "]"});
}

}  // namespace pivotrace
