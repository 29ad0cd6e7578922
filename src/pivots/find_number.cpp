#include "pivots/find_number.h"

#include <fmt/format.h>

#include <cctype>
#include <optional>

#include "pivots/line_pattern.h"

namespace pivotrace {

namespace {

/// More places than this are not counted any further: one is wanted.
constexpr std::size_t most_places = 1000;

bool is_digit(char c) { return c >= '0' && c <= '9'; }

/// Letters, digits, '_' and every non-ASCII byte: what can be part of a longer key.
bool is_key_part(char c) {
  const auto byte = static_cast<unsigned char>(c);
  return byte >= 0x80 || std::isalnum(byte) != 0 || c == '_';
}

char mark_of(const MappingEntry& entry) { return entry.format.decimal_mark.value_or('.'); }

/// End of the number that begins at `at` within `line`, or `at` when none begins there.
/// Sign, digits, one decimal mark, digits, exponent.
std::size_t number_end(const std::string& line, std::size_t at, char mark) {
  std::size_t i = at;
  if (i < line.size() && (line[i] == '+' || line[i] == '-')) ++i;
  std::size_t digits = 0;
  for (; i < line.size() && is_digit(line[i]); ++i) ++digits;
  if (i < line.size() && line[i] == mark) {
    std::size_t fraction = i + 1;
    while (fraction < line.size() && is_digit(line[fraction])) ++fraction;
    // In "3," the comma separates; in "3." the point belongs to the number.
    if (fraction > i + 1 || mark == '.') {
      digits += fraction - i - 1;
      i = fraction;
    }
  }
  if (digits == 0) return at;
  if (i < line.size() && (line[i] == 'e' || line[i] == 'E')) {
    std::size_t power = i + 1;
    if (power < line.size() && (line[power] == '+' || line[power] == '-')) ++power;
    const std::size_t first = power;
    while (power < line.size() && is_digit(line[power])) ++power;
    if (power > first) i = power;
  }
  return i;
}

/// "12abc", "0x1F" and "1.2.3" are not numbers that may be replaced in part.
bool runs_on(const std::string& line, std::size_t end) {
  return end < line.size() && (is_key_part(line[end]) || line[end] == '.');
}

std::size_t skip_blanks(const std::string& line, std::size_t i) {
  while (i < line.size() && (line[i] == ' ' || line[i] == '\t')) ++i;
  return i;
}

bool inside_longer_key(const std::string& text, std::size_t at, const std::string& key) {
  return at > 0 && is_key_part(key.front()) && (is_key_part(text[at - 1]) || text[at - 1] == '.');
}

/// key, closing quote, blanks, one of = : , and blanks; at least one of these must part the key
/// from the number.
Spans numbers_after_key(const std::string& line, const MappingEntry& entry) {
  Spans spans;
  const std::string& key = *entry.key;
  for (std::size_t at = line.find(key); at != std::string::npos; at = line.find(key, at + 1)) {
    if (inside_longer_key(line, at, key)) continue;
    const std::size_t after_key = at + key.size();
    std::size_t i = after_key;
    if (i < line.size() && (line[i] == '"' || line[i] == '\'')) ++i;
    i = skip_blanks(line, i);
    if (i < line.size() && (line[i] == '=' || line[i] == ':' || line[i] == ',')) ++i;
    i = skip_blanks(line, i);
    if (i == after_key && is_key_part(key.back())) continue;
    const std::size_t end = number_end(line, i, mark_of(entry));
    if (end > i && !runs_on(line, end)) spans.emplace_back(i, end);
  }
  return spans;
}

/// A number may begin after anything but a word or a point: "G54" and "Y-200" hold none.
bool may_begin(const std::string& text, std::size_t i) {
  if (i == 0) return true;
  const char before = text[i - 1];
  const bool sign_of_word = (before == '+' || before == '-') && i > 1 && is_key_part(text[i - 2]);
  return !is_key_part(before) && before != '.' && !sign_of_word;
}

/// Every number of a line that is not part of a word ("G54" holds none).
Spans free_numbers(const std::string& line, const MappingEntry& entry) {
  Spans spans;
  for (std::size_t i = 0; i < line.size();) {
    const std::size_t end = may_begin(line, i) ? number_end(line, i, mark_of(entry)) : i;
    if (end > i) {
      if (!runs_on(line, end)) spans.emplace_back(i, end);
      i = end;
    } else {
      ++i;
    }
  }
  return spans;
}

std::string sought(const MappingEntry& entry) {
  std::string text;
  if (entry.key && entry.number) {
    text = fmt::format("the key \"{}\" with {} numbers after it", *entry.key, *entry.number);
  } else if (entry.key) {
    text = fmt::format("the key \"{}\" with a number after it", *entry.key);
  } else {
    text = entry.pattern ? fmt::format("the pattern '{}'", *entry.pattern) : "a number";
  }
  if (entry.line) text += fmt::format(" on line {}", *entry.line);
  return text;
}

Expected<FoundNumber> not_once(const std::vector<FoundNumber>& found, const MappingEntry& entry,
                               const std::string& file) {
  constexpr std::size_t most_listed = 8;
  std::string lines;
  for (std::size_t i = 0; i < found.size() && i < most_listed; ++i) {
    lines += fmt::format("{}{}", i == 0 ? "" : ", ", found[i].line);
  }
  if (found.size() > most_listed) lines += " ...";
  const std::string what = found.empty() ? fmt::format("{} is not in this file", sought(entry))
                                         : fmt::format("{} is in this file {} times (lines {})",
                                                       sought(entry), found.size(), lines);
  return failure(
      {ProblemNumber::target_not_found,
       fmt::format("{}: {}", entry.value.written, what),
       {file, found.empty() ? 0 : found.front().line, 0},
       fmt::format("the mapping ({}:{}) must fit exactly one place: correct it, or use "
                   "a pattern that takes in more of the line",
                   entry.where.file.empty() ? "entry" : entry.where.file, entry.where.line)});
}

/// "12,5" where the mark is not stated: 12 followed by 5, or twelve and a half?
bool is_ambiguous(const std::string& line, std::size_t begin, std::size_t end,
                  const MappingEntry& entry) {
  if (entry.format.decimal_mark) return false;
  const std::string number = line.substr(begin, end - begin);
  const bool whole = number.find('.') == std::string::npos;
  return whole && end + 1 < line.size() && line[end] == ',' && is_digit(line[end + 1]);
}

/// The list of numbers after a key: to the end of the line, or to the bracket that closes the first
/// one opened, over several lines if need be.
std::size_t list_end(const std::string& text, std::size_t from) {
  int depth = 0;
  for (std::size_t i = from; i < text.size(); ++i) {
    const char c = text[i];
    if (c == '[' || c == '{' || c == '(') ++depth;
    if ((c == ']' || c == '}' || c == ')') && --depth <= 0) return i;
    if ((c == '\n' || c == '\r') && depth == 0) return i;
    if (i - from > longest_searched_line) return i;
  }
  return text.size();
}

/// The search of one text for one entry.
class Search {
 public:
  Search(const TextView& view, const MappingEntry& entry, const std::string& file)
      : view_(view), entry_(entry), file_(file) {
    if (entry.pattern) pattern_.emplace(*entry.pattern);
  }

  Expected<FoundNumber> run() {
    for (std::size_t i = 0; i < view_.lines.size() && found_.size() < most_places; ++i) {
      if (entry_.line && *entry_.line != static_cast<int>(i) + 1) continue;
      if (auto problem = search_line(i)) return failure(*problem);
    }
    if (found_.size() != 1) return not_once(found_, entry_, file_);
    return found_.front();
  }

 private:
  std::optional<Problem> search_line(std::size_t index) {
    const TextLine& place = view_.lines[index];
    if (place.end - place.begin > longest_searched_line) return too_long(index);
    const std::string line = view_.text.substr(place.begin, place.end - place.begin);
    if (entry_.number) return count_after_keys(line, index);
    const Spans spans = entry_.key ? numbers_after_key(line, entry_)
                        : pattern_ ? pattern_->captures(line, most_places)
                                   : free_numbers(line, entry_);
    for (const auto& [begin, end] : spans) {
      if (is_ambiguous(line, begin, end, entry_))
        return ambiguous(line.substr(begin, end - begin + 2), place.begin + begin);
      found_.push_back({place.begin + begin, place.begin + end, static_cast<int>(index) + 1});
    }
    return std::nullopt;
  }

  std::optional<Problem> count_after_keys(const std::string& line, std::size_t index) {
    const std::string& key = *entry_.key;
    for (std::size_t at = line.find(key); at != std::string::npos; at = line.find(key, at + 1)) {
      const std::size_t after = at + key.size();
      const bool longer =
          after < line.size() && is_key_part(key.back()) && is_key_part(line[after]);
      if (longer || inside_longer_key(line, at, key)) continue;
      if (auto problem = count_from(view_.lines[index].begin + after, index)) return problem;
    }
    return std::nullopt;
  }

  /// Counts from this character on; every number passed has to be read in one way only.
  std::optional<Problem> count_from(std::size_t from, std::size_t index) {
    const std::string list = view_.text.substr(from, list_end(view_.text, from) - from);
    const Spans spans = free_numbers(list, entry_);
    const auto wanted = static_cast<std::size_t>(*entry_.number);
    if (spans.size() < wanted) return std::nullopt;
    for (std::size_t i = 0; i < wanted; ++i) {
      const auto [begin, end] = spans[i];
      if (is_ambiguous(list, begin, end, entry_)) {
        return ambiguous(list.substr(begin, end - begin + 2), from + begin);
      }
    }
    const auto [begin, end] = spans[wanted - 1];
    found_.push_back({from + begin, from + end, line_of(from + begin, index)});
    return std::nullopt;
  }

  /// The line, from 1, that holds a character at or after line `index`.
  int line_of(std::size_t character, std::size_t index) const {
    while (index + 1 < view_.lines.size() && view_.lines[index + 1].begin <= character) ++index;
    return static_cast<int>(index) + 1;
  }

  Problem too_long(std::size_t index) const {
    const int number = static_cast<int>(index) + 1;
    return {ProblemNumber::too_large,
            fmt::format("line {} is longer than {} characters", number, longest_searched_line),
            {file_, number, 0},
            "such lines are not searched; name the line in the mapping (line = ...) if "
            "the number stands elsewhere"};
  }

  Problem ambiguous(const std::string& read, std::size_t character) const {
    const int line = line_of(character, 0);
    const std::size_t line_begin = view_.lines[static_cast<std::size_t>(line) - 1].begin;
    return {ProblemNumber::ambiguous_number,
            fmt::format("{}: \"{}\" can be read in two ways", entry_.value.written, read),
            {file_, line, static_cast<int>(character - line_begin) + 1},
            "say in the mapping which it is: decimal_mark = \",\" or \".\""};
  }

  const TextView& view_;
  const MappingEntry& entry_;
  const std::string& file_;
  std::optional<LinePattern> pattern_;
  std::vector<FoundNumber> found_;
};

}  // namespace

Expected<FoundNumber> find_number(const TextView& view, const MappingEntry& entry,
                                  const std::string& file) {
  return Search(view, entry, file).run();
}

Expected<NumberInFile> read_number(const TextView& view, const MappingEntry& entry,
                                   const std::string& file) {
  const Expected<FoundNumber> found = find_number(view, entry, file);
  if (!found) return tl::make_unexpected(found.error());
  NumberInFile read;
  read.where = *found;
  read.column = static_cast<int>(found->begin - view.lines[found->line - 1].begin) + 1;
  read.text = view.text.substr(found->begin, found->end - found->begin);
  Expected<double> number = parse_number(read.text, entry.format);
  if (!number) {
    for (Problem& problem : number.error()) problem.where = {file, found->line, read.column};
    return tl::make_unexpected(number.error());
  }
  read.number = *number;
  return read;
}

}  // namespace pivotrace
