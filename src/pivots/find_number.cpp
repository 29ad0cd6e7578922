#include "pivots/find_number.h"

#include <fmt/format.h>

#include <cctype>
#include <regex>

namespace pivotrace {

namespace {

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

using Spans = std::vector<std::pair<std::size_t, std::size_t>>;

std::size_t skip_blanks(const std::string& line, std::size_t i) {
  while (i < line.size() && (line[i] == ' ' || line[i] == '\t')) ++i;
  return i;
}

/// key, closing quote, blanks, one of = : , and blanks; at least one of these must part the key
/// from the number.
Spans numbers_after_key(const std::string& line, const MappingEntry& entry) {
  Spans spans;
  const std::string& key = *entry.key;
  for (std::size_t at = line.find(key); at != std::string::npos; at = line.find(key, at + 1)) {
    const bool inside_longer_key =
        at > 0 && is_key_part(key.front()) && (is_key_part(line[at - 1]) || line[at - 1] == '.');
    if (inside_longer_key) continue;
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

Spans captures_of(const std::string& line, const std::regex& pattern) {
  Spans spans;
  for (std::sregex_iterator match(line.begin(), line.end(), pattern), none; match != none;
       ++match) {
    if (!(*match)[1].matched) continue;
    const auto begin = static_cast<std::size_t>(match->position(1));
    spans.emplace_back(begin, begin + static_cast<std::size_t>(match->length(1)));
  }
  return spans;
}

/// Every number of a line that is not part of a word ("G54" holds none).
Spans free_numbers(const std::string& line, const MappingEntry& entry) {
  Spans spans;
  for (std::size_t i = 0; i < line.size();) {
    const bool may_begin = i == 0 || (!is_key_part(line[i - 1]) && line[i - 1] != '.');
    const std::size_t end = may_begin ? number_end(line, i, mark_of(entry)) : i;
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
  std::string text = entry.key ? fmt::format("the key \"{}\" with a number after it", *entry.key)
                     : entry.pattern ? fmt::format("the pattern '{}'", *entry.pattern)
                                     : std::string("a number");
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

Expected<FoundNumber> search(const TextView& view, const MappingEntry& entry,
                             const std::string& file) {
  std::optional<std::regex> pattern;
  if (entry.pattern) pattern.emplace(*entry.pattern, std::regex::ECMAScript);
  std::vector<FoundNumber> found;
  for (std::size_t i = 0; i < view.lines.size(); ++i) {
    const int number = static_cast<int>(i) + 1;
    if (entry.line && *entry.line != number) continue;
    const TextLine& place = view.lines[i];
    if (place.end - place.begin > longest_searched_line) {
      return failure(
          {ProblemNumber::too_large,
           fmt::format("line {} is longer than {} characters", number, longest_searched_line),
           {file, number, 0},
           "such lines are not searched; name the line in the mapping (line = ...) if "
           "the number stands elsewhere"});
    }
    const std::string line = view.text.substr(place.begin, place.end - place.begin);
    const Spans spans = entry.key ? numbers_after_key(line, entry)
                        : pattern ? captures_of(line, *pattern)
                                  : free_numbers(line, entry);
    for (const auto& [begin, end] : spans) {
      if (is_ambiguous(line, begin, end, entry)) {
        return failure({ProblemNumber::ambiguous_number,
                        fmt::format("{}: \"{}\" can be read in two ways", entry.value.written,
                                    line.substr(begin, end - begin + 2)),
                        {file, number, static_cast<int>(begin) + 1},
                        "say in the mapping which it is: decimal_mark = \",\" or \".\""});
      }
      found.push_back({place.begin + begin, place.begin + end, number});
    }
  }
  if (found.size() != 1) return not_once(found, entry, file);
  return found.front();
}

}  // namespace

Expected<FoundNumber> find_number(const TextView& view, const MappingEntry& entry,
                                  const std::string& file) {
  try {
    return search(view, entry, file);
  } catch (const std::regex_error& error) {
    return failure({ProblemNumber::bad_mapping,
                    fmt::format("the pattern '{}' is too costly to search with: {}",
                                entry.pattern.value_or(""), error.what()),
                    entry.where, "write a simpler pattern, or use key"});
  }
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
