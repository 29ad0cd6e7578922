#include "formats/touch_preamble.h"

#include <fmt/format.h>

#include <algorithm>
#include <map>

#include "base/iso_time.h"
#include "base/words.h"
#include "formats/conditions_reader.h"

namespace pivotrace::formats {

namespace {

const std::vector<std::string>& preamble_keys() {
  static const std::vector<std::string> keys = [] {
    std::vector<std::string> all = {"format", "units",        "machine",  "started",
                                    "kind",   "length_datum", "simulated"};
    all.insert(all.end(), condition_keys().begin(), condition_keys().end());
    return all;
  }();
  return keys;
}

struct KeyValue {
  std::string key;  ///< lower case; empty when the line is a plain remark
  std::string_view value;
  std::size_t value_at = 0;  ///< bytes from the start of the line
};

/// A line as a spreadsheet saves it: every row filled up with separators to the same length, and a
/// cell that holds a separator in quotes.
std::string_view without_padding(std::string_view line) {
  const std::size_t last = line.find_last_not_of(",; \t");
  std::string_view inner = trimmed(line.substr(0, last == std::string_view::npos ? 0 : last + 1));
  const bool quoted = inner.size() >= 2 && inner.front() == '"' && inner.back() == '"';
  if (quoted && trimmed(inner.substr(1)).front() == '#') {
    inner = trimmed(inner.substr(1, inner.size() - 2));
  }
  return inner;
}

/// `# key: value`, the key one word; everything else after # is a remark.
KeyValue split(std::string_view line) {
  KeyValue result;
  const std::string_view body = trimmed(without_padding(line).substr(1));
  const std::size_t colon = body.find(':');
  if (colon == std::string_view::npos) return result;
  const std::string_view key = trimmed(body.substr(0, colon));
  const bool one_word = !key.empty() && key.find_first_of(" \t") == std::string_view::npos;
  if (!one_word) return result;
  result.key = lower_case(key);
  result.value = trimmed(body.substr(colon + 1));
  result.value_at = static_cast<std::size_t>(
      (result.value.empty() ? body.data() + colon : result.value.data()) - line.data());
  return result;
}

bool is_known(const std::string& key) {
  return std::find(preamble_keys().begin(), preamble_keys().end(), key) != preamble_keys().end();
}

class PreambleReader {
 public:
  PreambleReader(std::string_view text, ProblemList& problems) : text_(text), problems_(problems) {}

  TouchPreamble read(std::size_t offset) {
    std::size_t at = offset;
    while (at < text_.size()) {
      const std::size_t end = std::min(text_.find_first_of("\r\n", at), text_.size());
      const std::string_view line = text_.substr(at, end - at);
      const std::string_view inner = without_padding(line);
      if (!inner.empty() && inner.front() != '#') break;
      if (!inner.empty()) read_line(line);
      at = end + (text_.substr(end, 2) == "\r\n" ? 2 : 1);
      ++preamble_.header_line;
    }
    preamble_.header_offset = std::min(at, text_.size());
    preamble_.units_wanted = !preamble_.units_stated && !units_misspelt_;
    return preamble_;
  }

 private:
  void report(const KeyValue& entry, ProblemNumber number, std::string what, std::string advice) {
    problems_.add(number, preamble_.header_line, static_cast<int>(entry.value_at) + 1,
                  std::move(what), std::move(advice));
  }

  void read_line(std::string_view line) {
    const KeyValue entry = split(line);
    if (entry.key.empty()) return;
    if (!is_known(entry.key)) {
      report_misspelling(entry);
      return;
    }
    const auto [earlier, is_new] = lines_.emplace(entry.key, preamble_.header_line);
    if (!is_new) {
      report(entry, ProblemNumber::duplicate_name,
             fmt::format("`# {}:` stands in line {} already", entry.key, earlier->second),
             "keep one of the two lines");
      return;
    }
    read_entry(entry);
  }

  void report_misspelling(const KeyValue& entry) {
    const auto meant = nearest_word(entry.key, preamble_keys());
    if (!meant) return;
    units_misspelt_ = units_misspelt_ || *meant == "units";
    report(entry, ProblemNumber::unknown_key,
           fmt::format("`# {}:` looks like a misspelt `# {}:`", excerpt(entry.key), *meant),
           fmt::format("write `# {}:`; a remark should not look like `# word:`", *meant));
  }

  void read_kind(const KeyValue& entry) {
    const auto word = choice(entry, {"touch", "centre", "indicator"});
    preamble_.kind = word == "centre"      ? TouchKind::centre
                     : word == "indicator" ? TouchKind::indicator
                                           : TouchKind::touch;
  }

  void read_entry(const KeyValue& entry) {
    if (entry.key == "format") {
      read_format(entry);
    } else if (entry.key == "units") {
      preamble_.units_stated = true;
      preamble_.units_line = preamble_.header_line;
      preamble_.inch = choice(entry, {"mm", "inch"}) == "inch";
    } else if (entry.key == "machine") {
      preamble_.machine_name = std::string(entry.value);
      preamble_.machine_line = preamble_.header_line;
    } else if (entry.key == "started") {
      read_started(entry);
    } else if (entry.key == "kind") {
      read_kind(entry);
    } else if (entry.key == "simulated") {
      preamble_.simulated = choice(entry, {"yes", "no"}) == "yes";
    } else if (entry.key == "length_datum") {
      const bool tip = choice(entry, {"centre", "tip"}) == "tip";
      preamble_.length_datum = tip ? LengthDatum::tip : LengthDatum::centre;
    } else {
      read_condition(
          entry.key, entry.value, preamble_.conditions, [&](std::string what, std::string advice) {
            report(entry, ProblemNumber::out_of_range, std::move(what), std::move(advice));
          });
    }
  }

  void read_format(const KeyValue& entry) {
    if (entry.value == "1") return;
    report(entry, ProblemNumber::unsupported_format,
           fmt::format("this record has format \"{}\", this program reads format 1",
                       excerpt(entry.value)),
           "use a newer pivotrace, or write the record anew with `# format: 1`");
  }

  void read_started(const KeyValue& entry) {
    if (seconds_from_iso(entry.value)) {
      preamble_.started = std::string(entry.value);
      return;
    }
    report(entry, ProblemNumber::out_of_range,
           fmt::format("`# started:` is \"{}\", which is no date and time", excerpt(entry.value)),
           "write year-month-day and the time, for example `# started: 2026-03-05T14:30:00`");
  }

  std::string choice(const KeyValue& entry, const std::vector<std::string>& choices) {
    std::string word = lower_case(entry.value);
    if (std::find(choices.begin(), choices.end(), word) != choices.end()) return word;
    report(entry, ProblemNumber::unknown_name,
           fmt::format("`# {}:` cannot be \"{}\"", entry.key, excerpt(entry.value)),
           did_you_mean(word, choices));
    return {};
  }

  std::string_view text_;
  ProblemList& problems_;
  TouchPreamble preamble_;
  std::map<std::string, int> lines_;  ///< key -> the line it stands in
  bool units_misspelt_ = false;
};

}  // namespace

TouchPreamble read_touch_preamble(std::string_view text, std::size_t offset,
                                  ProblemList& problems) {
  return PreambleReader(text, problems).read(offset);
}

bool is_preamble_line(std::string_view line) { return is_known(split(line).key); }

}  // namespace pivotrace::formats
