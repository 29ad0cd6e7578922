#include "formats/toml_reader.h"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "base/utf8.h"
#include "base/words.h"

namespace pivotrace::formats {

namespace {

int as_int(toml::source_index index) { return static_cast<int>(index); }

const char* type_word(const toml::node& node) {
  switch (node.type()) {
    case toml::node_type::string: return "text";
    case toml::node_type::integer:
    case toml::node_type::floating_point: return "a number";
    case toml::node_type::boolean: return "true or false";
    case toml::node_type::array: return "a list";
    case toml::node_type::table: return "a table";
    case toml::node_type::date:
    case toml::node_type::time:
    case toml::node_type::date_time: return "a date or time";
    case toml::node_type::none: break;
  }
  return "nothing";
}

}  // namespace

Expected<toml::table> parse_toml(std::string_view text, const std::string& file) {
  if (trimmed(text).find_first_not_of("\r\n \t") == std::string_view::npos) {
    return failure({ProblemNumber::no_data,
                    "this file is empty",
                    {file, 0, 0},
                    "start from one of the files in the examples folder"});
  }
  if (const auto bad = first_bad_byte(text)) {
    Place place = pivotrace::place_of(text, *bad);
    place.file = file;
    return failure({ProblemNumber::cannot_parse,
                    fmt::format("this is not a text file: byte 0x{:02X} cannot stand here",
                                static_cast<unsigned char>(text[*bad])),
                    place, "check that it is the file you meant, and save it as UTF-8 text"});
  }
  try {
    return toml::parse(text, file);
  } catch (const toml::parse_error& error) {
    const auto& at = error.source().begin;
    return failure({ProblemNumber::cannot_parse,
                    fmt::format("this is not valid TOML: {}", error.description()),
                    {file, as_int(at.line), as_int(at.column)},
                    "write one `key = value` per line, text in \"quotes\", lists in [brackets]"});
  }
}

TomlPlace place_of(const toml::node& node) {
  const auto& at = node.source().begin;
  return {as_int(at.line), as_int(at.column)};
}

TomlTable::TomlTable(const toml::table& table, std::string title, ProblemList& problems,
                     double mm_per_length)
    : table_(table), title_(std::move(title)), problems_(problems), mm_per_length_(mm_per_length) {}

std::string TomlTable::key_text(const char* key) const {
  return title_.empty() ? fmt::format("`{}`", key) : fmt::format("`{}` of {}", key, title_);
}

const toml::node* TomlTable::find(const char* key, Need need) {
  if (std::find(known_keys_.begin(), known_keys_.end(), key) == known_keys_.end()) {
    known_keys_.emplace_back(key);
  }
  const toml::node* node = table_.get(key);
  if (node == nullptr && need == Need::required) {
    report_here(ProblemNumber::missing_key, fmt::format("{} is missing", key_text(key)),
                fmt::format("add a line `{} = ...`; what it means: pivotrace help files", key));
  }
  return node;
}

void TomlTable::report_here(ProblemNumber number, std::string what, std::string advice) {
  const TomlPlace place = place_of(table_);
  problems_.add(number, std::max(place.line, 1), std::max(place.column, 1), std::move(what),
                std::move(advice));
}

void TomlTable::report(const char* key, ProblemNumber number, std::string what,
                       std::string advice) {
  const toml::node* node = table_.get(key);
  if (node == nullptr) {
    report_here(number, std::move(what), std::move(advice));
    return;
  }
  const TomlPlace place = place_of(*node);
  problems_.add(number, place.line, place.column, std::move(what), std::move(advice));
}

bool TomlTable::is_open(const char* key) {
  const toml::node* node = table_.get(key);
  if (node == nullptr || node->value<std::string_view>() != "?") return false;
  find(key, Need::optional);
  return true;
}

std::optional<std::string> TomlTable::text(const char* key, Need need) {
  const toml::node* node = find(key, need);
  if (node == nullptr) return std::nullopt;
  const auto* value = node->as_string();
  if (value == nullptr) {
    report(key, ProblemNumber::wrong_type,
           fmt::format("{} must be text, but is {}", key_text(key), type_word(*node)),
           "put it in \"quotes\"");
    return std::nullopt;
  }
  return value->get();
}

std::optional<std::string> TomlTable::choice(const char* key, Need need,
                                             const std::vector<std::string>& choices) {
  std::optional<std::string> word = text(key, need);
  if (!word) return std::nullopt;
  if (std::find(choices.begin(), choices.end(), *word) != choices.end()) return word;
  report(key, ProblemNumber::unknown_name,
         fmt::format("{} cannot be \"{}\"", key_text(key), excerpt(*word)),
         did_you_mean(*word, choices));
  return std::nullopt;
}

std::optional<long long> TomlTable::integer(const char* key, Need need) {
  const toml::node* node = find(key, need);
  if (node == nullptr) return std::nullopt;
  const auto* value = node->as_integer();
  if (value == nullptr) {
    report(key, ProblemNumber::wrong_type,
           fmt::format("{} must be a whole number, but is {}", key_text(key), type_word(*node)),
           fmt::format("write `{} = 1`", key));
    return std::nullopt;
  }
  return value->get();
}

std::optional<std::vector<std::string>> TomlTable::text_or_texts(const char* key, Need need) {
  const toml::node* node = find(key, need);
  if (node == nullptr) return std::nullopt;
  if (const auto* single = node->as_string()) return std::vector<std::string>{single->get()};
  const auto* list = node->as_array();
  if (list != nullptr && (list->empty() || list->is_homogeneous<std::string>())) {
    std::vector<std::string> texts;
    for (const auto& item : *list) texts.push_back(item.as_string()->get());
    return texts;
  }
  report(key, ProblemNumber::wrong_type,
         fmt::format("{} must be text or a list of texts", key_text(key)),
         fmt::format("write `{} = \"...\"` or `{} = [\"...\", \"...\"]`", key, key));
  return std::nullopt;
}

std::optional<std::vector<std::vector<std::string>>> TomlTable::text_lists(const char* key,
                                                                           Need need) {
  const toml::node* node = find(key, need);
  if (node == nullptr) return std::nullopt;
  std::vector<std::vector<std::string>> lists;
  const auto* outer = node->as_array();
  bool good = outer != nullptr;
  for (std::size_t i = 0; good && i < outer->size(); ++i) {
    const auto* inner = (*outer)[i].as_array();
    good = inner != nullptr && (inner->empty() || inner->is_homogeneous<std::string>());
    if (!good) break;
    lists.emplace_back();
    for (const auto& item : *inner) lists.back().push_back(item.as_string()->get());
  }
  if (good) return lists;
  report(key, ProblemNumber::wrong_type,
         fmt::format("{} must be a list of lists of texts", key_text(key)),
         fmt::format("write `{} = [[\"...\", \"...\"], [\"...\"]]`", key));
  return std::nullopt;
}

std::optional<std::vector<long long>> TomlTable::integers(const char* key, Need need) {
  const toml::node* node = find(key, need);
  if (node == nullptr) return std::nullopt;
  const auto* list = node->as_array();
  if (list != nullptr && (list->empty() || list->is_homogeneous<std::int64_t>())) {
    std::vector<long long> values;
    for (const auto& item : *list) values.push_back(item.as_integer()->get());
    return values;
  }
  report(key, ProblemNumber::wrong_type,
         fmt::format("{} must be a list of whole numbers", key_text(key)),
         fmt::format("write `{} = [1, 2]`", key));
  return std::nullopt;
}

std::optional<double> TomlTable::checked_number(const toml::node& node, const std::string& what,
                                                Sign sign) {
  const TomlPlace place = place_of(node);
  const std::optional<double> value =
      node.is_number() ? node.value<double>() : std::optional<double>();
  if (!value) {
    problems_.add(ProblemNumber::wrong_type, place.line, place.column,
                  fmt::format("{} must be a number, but is {}", what, type_word(node)),
                  "write it without quotes, with a decimal point: 12.5");
    return std::nullopt;
  }
  const char* wanted = nullptr;
  if (!std::isfinite(*value)) {
    wanted = "a finite number";
  } else if (sign == Sign::positive && !(*value > 0.0)) {
    wanted = "greater than 0";
  } else if (sign == Sign::not_negative && *value < 0.0) {
    wanted = "0 or greater";
  }
  if (wanted == nullptr) return value;
  problems_.add(ProblemNumber::out_of_range, place.line, place.column,
                fmt::format("{} is {}, but must be {}", what, *value, wanted),
                "correct the value, or leave the key out if it is optional");
  return std::nullopt;
}

std::optional<double> TomlTable::number(const char* key, Need need, Sign sign) {
  const toml::node* node = find(key, need);
  if (node == nullptr) return std::nullopt;
  return checked_number(*node, key_text(key), sign);
}

Place TomlTable::place() const {
  const TomlPlace at = place_of(table_);
  return {problems_.file(), at.line, at.column};
}

std::optional<bool> TomlTable::boolean(const char* key, Need need) {
  const toml::node* node = find(key, need);
  if (node == nullptr) return std::nullopt;
  const auto* value = node->as_boolean();
  if (value == nullptr) {
    report(key, ProblemNumber::wrong_type,
           fmt::format("{} must be true or false, but is {}", key_text(key), type_word(*node)),
           fmt::format("write `{} = true` or `{} = false`", key, key));
    return std::nullopt;
  }
  return value->get();
}

std::optional<std::vector<std::string>> TomlTable::texts(const char* key, Need need) {
  const toml::node* node = find(key, need);
  if (node == nullptr) return std::nullopt;
  const toml::array* list = node->as_array();
  if (list == nullptr || !list->is_homogeneous<std::string>()) {
    report(key, ProblemNumber::wrong_type,
           fmt::format("{} must be a list of texts, but is {}", key_text(key), type_word(*node)),
           fmt::format("write it like `{} = [\"one\", \"two\"]`", key));
    return std::nullopt;
  }
  std::vector<std::string> values;
  for (const toml::node& element : *list) values.push_back(element.as_string()->get());
  return values;
}

std::optional<std::vector<double>> TomlTable::lengths_mm(const char* key, Need need, Sign sign) {
  const toml::node* node = find(key, need);
  if (node == nullptr) return std::nullopt;
  const toml::array* list = node->as_array();
  if (list == nullptr || list->empty()) {
    report(key, ProblemNumber::wrong_type,
           fmt::format("{} must be a list of numbers, but is {}", key_text(key), type_word(*node)),
           fmt::format("write it like `{} = [0.05, 0.1, 0.2]`", key));
    return std::nullopt;
  }
  std::vector<double> values;
  for (const toml::node& element : *list) {
    const auto value = checked_number(element, "a number in " + key_text(key), sign);
    if (value) values.push_back(*value * mm_per_length_);
  }
  return values;
}

std::optional<double> TomlTable::length_mm(const char* key, Need need, Sign sign) {
  const std::optional<double> length = number(key, need, sign);
  if (!length) return std::nullopt;
  return *length * mm_per_length_;
}

std::optional<std::vector<double>> TomlTable::numbers(const char* key, Need need, std::size_t count,
                                                      const char* example) {
  const toml::node* node = find(key, need);
  if (node == nullptr) return std::nullopt;
  const toml::array* list = node->as_array();
  if (list == nullptr || list->size() != count) {
    const std::string found =
        list == nullptr ? std::string(type_word(*node)) : fmt::format("a list of {}", list->size());
    report(key, ProblemNumber::wrong_type,
           fmt::format("{} must be a list of {} numbers, but is {}", key_text(key), count, found),
           fmt::format("write it like `{} = {}`", key, example));
    return std::nullopt;
  }
  std::vector<double> values;
  for (const toml::node& element : *list) {
    const auto value = checked_number(element, "a number in " + key_text(key), Sign::any);
    if (value) values.push_back(*value);
  }
  if (values.size() != count) return std::nullopt;
  return values;
}

std::optional<Eigen::Vector3d> TomlTable::vector(const char* key, Need need) {
  const auto values = numbers(key, need, 3, "[0.0, 0.0, 1.0]");
  if (!values) return std::nullopt;
  return Eigen::Vector3d((*values)[0], (*values)[1], (*values)[2]);
}

std::optional<Eigen::Vector3d> TomlTable::point_mm(const char* key, Need need) {
  const auto point = vector(key, need);
  if (!point) return std::nullopt;
  return Eigen::Vector3d(*point * mm_per_length_);
}

std::optional<Eigen::Vector3d> TomlTable::direction(const char* key, Need need) {
  const auto raw = vector(key, need);
  if (!raw) return std::nullopt;
  // Scaled first, so that neither tiny nor huge components leave the range of numbers.
  const double largest = raw->cwiseAbs().maxCoeff();
  if (largest > 0.0) return Eigen::Vector3d((*raw / largest).normalized());
  report(
      key, ProblemNumber::out_of_range,
      fmt::format("{} is [0, 0, 0] and points nowhere", key_text(key)),
      "give the direction in machine coordinates, for example [0, 0, 1] for straight up along Z");
  return std::nullopt;
}

std::optional<Range> TomlTable::range(const char* key, Need need) {
  const auto values = numbers(key, need, 2, "[-600.0, 0.0]");
  if (!values) return std::nullopt;
  if ((*values)[0] < (*values)[1]) return Range{(*values)[0], (*values)[1]};
  report(key, ProblemNumber::out_of_range,
         fmt::format("{} runs from {} to {}: the first limit must be the lower one", key_text(key),
                     (*values)[0], (*values)[1]),
         "write the lower limit first, then the higher one");
  return std::nullopt;
}

std::optional<TomlTable> TomlTable::table(const char* key, Need need) {
  const toml::node* node = find(key, need);
  if (node == nullptr) return std::nullopt;
  const toml::table* inner = node->as_table();
  if (inner == nullptr) {
    report(key, ProblemNumber::wrong_type,
           fmt::format("{} must be a table, but is {}", key_text(key), type_word(*node)),
           fmt::format("write `[{0}]` above its lines, or `{0} = {{ ... }}`", key));
    return std::nullopt;
  }
  const std::string inner_title =
      title_.empty() ? fmt::format("[{}]", key) : fmt::format("`{}` of {}", key, title_);
  return TomlTable(*inner, inner_title, problems_, mm_per_length_);
}

std::vector<TomlTable> TomlTable::tables(const char* key, Need need) {
  const toml::node* node = table_.get(key);
  if (node == nullptr && need == Need::required) {
    known_keys_.emplace_back(key);
    report_here(ProblemNumber::missing_key, fmt::format("there is no [[{}]]", key),
                fmt::format("add a block that starts with `[[{}]]`", key));
    return {};
  }
  find(key, Need::optional);
  if (node == nullptr) return {};
  const toml::array* list = node->as_array();
  const bool all_tables = list != nullptr && (list->empty() ? need == Need::optional
                                                            : list->is_homogeneous<toml::table>());
  if (!all_tables) {
    report(key, ProblemNumber::wrong_type, fmt::format("`{}` must be blocks of lines", key),
           fmt::format("start each block with `[[{}]]`, two brackets on either side", key));
    return {};
  }
  std::vector<TomlTable> blocks;
  for (const toml::node& element : *list) {
    blocks.emplace_back(*element.as_table(), fmt::format("[[{}]]", key), problems_, mm_per_length_);
  }
  return blocks;
}

void TomlTable::refuse_unknown_keys() {
  for (const auto& [key, node] : table_) {
    const bool known =
        std::find(known_keys_.begin(), known_keys_.end(), key.str()) != known_keys_.end();
    if (known) continue;
    const auto& at = key.source().begin;
    const std::string owner = title_.empty() ? "this file" : title_;
    problems_.add(ProblemNumber::unknown_key, as_int(at.line), as_int(at.column),
                  fmt::format("{} has no key `{}`", owner, excerpt(key.str())),
                  did_you_mean(key.str(), known_keys_));
  }
}

void TomlTable::refuse(const char* key, const std::string& reason) {
  if (!has(key)) return;
  find(key, Need::optional);
  report(key, ProblemNumber::unknown_key,
         fmt::format("{} cannot be used: {}", key_text(key), reason), "remove this line");
}

}  // namespace pivotrace::formats
