#include "golden/normalise.h"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <regex>
#include <string_view>

namespace pivotrace::golden {

namespace {

void replace_all(std::string& text, const std::string& what, const std::string& by) {
  if (what.empty()) return;
  for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at)) {
    text.replace(at, what.size(), by);
    at += by.size();
  }
}

std::string digits_of(std::string text) {
  std::erase_if(text, [](char c) { return c < '0' || c > '9'; });
  return text;
}

void replace_times(std::string& line, const Pass& pass) {
  // Two backups of one second are told apart by a count, which is as much a matter of time.
  static const std::regex stamp(R"((\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ|\d{8}T\d{6}Z)(-\d+(?=\.bak))?)",
                                std::regex::optimize);
  const std::string now = utc_digits();
  std::string replaced;
  auto from = line.cbegin();
  for (std::sregex_iterator one(line.begin(), line.end(), stamp), none; one != none; ++one) {
    const std::string digits = digits_of((*one)[1].str());
    const bool of_this_pass = digits >= pass.began_at && digits <= now;
    replaced.append(from, (*one)[0].first);
    replaced += of_this_pass ? "<now>" : one->str();
    from = (*one)[0].second;
  }
  replaced.append(from, line.cend());
  line = std::move(replaced);
}

/// One line without its end.
std::string normalised_line(std::string line, const Pass& pass) {
  static const std::regex version(R"re((pivotrace |"version": ")\d+\.\d+\.\d+)re",
                                  std::regex::optimize);
  static const std::regex hash(R"(\b[0-9a-f]{64}\b)", std::regex::optimize);
  // The foot of a page: the hash of a result made a moment ago begins as it will.
  static const std::regex hash_in_foot(R"((<now> )[0-9a-f]{12}\b)", std::regex::optimize);
  static const std::regex trial_seconds(R"((seed \d+, )\d+\.\d+ s\b)", std::regex::optimize);
  static const std::regex solver_seconds(R"re(("solver_seconds": )[^,]+)re", std::regex::optimize);
  // How many steps a solver takes is its own affair.
  static const std::regex solver_steps(R"re(("iterations": )\d+)re", std::regex::optimize);
  const auto holds = [&line](std::string_view word) {
    return line.find(word) != std::string::npos;
  };
  for (const auto& [path, name] : pass.folders) replace_all(line, path, name);
  if (holds("Z")) replace_times(line, pass);
  if (holds("pivotrace ") || holds("version"))
    line = std::regex_replace(line, version, "$1<version>");
  if (line.size() >= 64) line = std::regex_replace(line, hash, "<sha256>");
  if (holds("@page")) line = std::regex_replace(line, hash_in_foot, "$1<sha256>");
  if (holds("seed ")) line = std::regex_replace(line, trial_seconds, "$1<seconds> s");
  if (holds("solver_seconds")) line = std::regex_replace(line, solver_seconds, "$1<seconds>");
  if (line.starts_with("next: ")) std::ranges::replace(line, '"', '\'');
  if (holds("iterations")) line = std::regex_replace(line, solver_steps, "$1<steps>");
  return line;
}

/// Length of the UTF-8 character that begins at `at`, 0 when none does.
std::size_t character_length(std::string_view text, std::size_t at) {
  const auto byte = [&](std::size_t k) {
    return k < text.size() ? static_cast<unsigned char>(text[k]) : 0u;
  };
  const unsigned first = byte(at);
  const std::size_t length = first < 0x80               ? 1
                             : (first & 0xE0u) == 0xC0u ? 2
                             : (first & 0xF0u) == 0xE0u ? 3
                             : (first & 0xF8u) == 0xF0u ? 4
                                                        : 0;
  for (std::size_t k = 1; k < length; ++k) {
    if ((byte(at + k) & 0xC0u) != 0x80u) return 0;
  }
  return length;
}

std::string printable(std::string_view text) {
  std::string shown;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t length = character_length(text, at);
    const auto byte = static_cast<unsigned char>(text[at]);
    const bool control = byte < 0x20 && byte != '\t' && byte != '\n';
    if (length == 0 || control || byte == 0x7F) {
      shown += fmt::format("\\x{:02X}", byte);
      ++at;
    } else {
      shown += text.substr(at, length);
      at += length;
    }
  }
  return shown;
}

}  // namespace

std::string utc_digits() {
  using namespace std::chrono;
  const auto now = floor<seconds>(system_clock::now());
  const auto day = floor<days>(now);
  const year_month_day date{day};
  const hh_mm_ss time{now - day};
  return fmt::format("{:04}{:02}{:02}{:02}{:02}{:02}", static_cast<int>(date.year()),
                     static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()),
                     time.hours().count(), time.minutes().count(), time.seconds().count());
}

std::string normalised(const std::string& text, const Pass& pass) {
  // What some systems promise of a power cut and others do not.
  constexpr std::string_view system_note = "note: this system does not promise";
  std::string result;
  std::size_t from = 0;
  while (from < text.size()) {
    const std::size_t end = std::min(text.find('\n', from), text.size());
    if (text.compare(from, system_note.size(), system_note) == 0) {
      from = end + 1;
      continue;
    }
    result += normalised_line(text.substr(from, end - from), pass);
    if (end < text.size()) result += '\n';
    from = end + 1;
  }
  return printable(result);
}

}  // namespace pivotrace::golden
