#include "formats/json_reader.h"

#include <fmt/format.h>

#include <algorithm>
#include <limits>

#include "base/words.h"

namespace pivotrace::formats {

namespace {

constexpr double nothing = std::numeric_limits<double>::quiet_NaN();
/// The library's text names its own states; users need the place and the plain fact.
Problem syntax_problem(std::string_view text, const std::string& file, std::size_t byte) {
  const std::size_t offset = byte == 0 ? 0 : byte - 1;
  Place place = place_of(text, offset);
  place.file = file;
  const std::string what =
      offset >= text.size()
          ? std::string("this JSON text ends too early")
          : fmt::format("this is not valid JSON from `{}` on", excerpt(text.substr(offset, 20)));
  return {ProblemNumber::cannot_parse, what, place, advice_to_refit};
}

}  // namespace

Expected<Json> parse_json(std::string_view text, const std::string& file) {
  if (text.find_first_not_of(" \t\r\n") == std::string_view::npos) {
    return failure({ProblemNumber::no_data, "this file is empty", {file, 0, 0}, advice_to_refit});
  }
  try {
    return Json::parse(text);
  } catch (const Json::parse_error& error) {
    return failure(syntax_problem(text, file, error.byte));
  } catch (const Json::exception&) {
    // Numbers beyond what a double holds.
    return failure({ProblemNumber::out_of_range,
                    "a number in this JSON text is too large",
                    {file, 0, 0},
                    advice_to_refit});
  }
}

JsonObject::JsonObject(const Json& json, std::string path, ProblemList& problems)
    : json_(&json), path_(std::move(path)), problems_(&problems) {}

std::string JsonObject::path_of(const std::string& key) const {
  return path_.empty() ? key : path_ + "." + key;
}

void JsonObject::report(const std::string& key, ProblemNumber number, std::string what,
                        std::string advice) {
  problems_->add(number, 0, 0, fmt::format("`{}` {}", path_of(key), what), std::move(advice));
}

void JsonObject::report_type(const std::string& key, const char* wanted, const Json& found) {
  report(key, ProblemNumber::wrong_type,
         fmt::format("must be {}, but is {}", wanted, found.type_name()), advice_to_refit);
}

const Json* JsonObject::find(const char* key) {
  known_keys_.emplace_back(key);
  const auto member = json_->find(key);
  if (member != json_->end()) return &*member;
  report(key, ProblemNumber::missing_key, "is missing", advice_to_refit);
  return nullptr;
}

double JsonObject::number_of(const Json& value, const std::string& key) {
  if (value.is_null()) return nothing;
  if (value.is_number()) return value.get<double>();
  report_type(key, "a number or null", value);
  return nothing;
}

double JsonObject::number(const char* key) {
  const Json* value = find(key);
  return value == nullptr ? nothing : number_of(*value, key);
}

std::optional<double> JsonObject::optional_number(const char* key) {
  const Json* value = find(key);
  if (value == nullptr || value->is_null()) return std::nullopt;
  return number_of(*value, key);
}

int JsonObject::integer(const char* key) {
  const Json* value = find(key);
  if (value == nullptr) return 0;
  if (value->is_number_integer()) {
    // As a double, because a 64-bit number without a sign would wrap around.
    const auto whole = value->get<double>();
    const bool fits =
        whole >= std::numeric_limits<int>::min() && whole <= std::numeric_limits<int>::max();
    if (fits) return static_cast<int>(whole);
  }
  report_type(key, "a whole number", *value);
  return 0;
}

bool JsonObject::boolean(const char* key) {
  const Json* value = find(key);
  if (value == nullptr) return false;
  if (value->is_boolean()) return value->get<bool>();
  report_type(key, "true or false", *value);
  return false;
}

std::string JsonObject::text(const char* key) {
  const Json* value = find(key);
  if (value == nullptr) return {};
  if (value->is_string()) return value->get<std::string>();
  report_type(key, "text", *value);
  return {};
}

std::optional<std::string> JsonObject::optional_text(const char* key) {
  const Json* value = find(key);
  if (value == nullptr || value->is_null()) return std::nullopt;
  if (value->is_string()) return value->get<std::string>();
  report_type(key, "text or null", *value);
  return std::nullopt;
}

std::size_t JsonObject::choice(const char* key, const std::vector<std::string>& choices) {
  const Json* value = find(key);
  if (value == nullptr) return 0;
  const std::string word = value->is_string() ? value->get<std::string>() : std::string();
  const auto chosen = std::find(choices.begin(), choices.end(), word);
  if (chosen != choices.end()) return static_cast<std::size_t>(chosen - choices.begin());
  report(key, ProblemNumber::wrong_type, fmt::format("must be one of: {}", joined(choices)),
         advice_to_refit);
  return 0;
}

Eigen::Vector3d JsonObject::vector_of(const Json& value, const std::string& key) {
  Eigen::Vector3d vector = Eigen::Vector3d::Constant(nothing);
  if (!value.is_array() || value.size() != 3) {
    report_type(key, "an array of 3 numbers", value);
    return vector;
  }
  for (std::size_t i = 0; i < 3; ++i) {
    vector[static_cast<Eigen::Index>(i)] = number_of(value[i], fmt::format("{}[{}]", key, i));
  }
  return vector;
}

Eigen::Vector3d JsonObject::vector(const char* key) {
  const Json* value = find(key);
  return value == nullptr ? Eigen::Vector3d::Constant(nothing) : vector_of(*value, key);
}

std::optional<Eigen::Vector3d> JsonObject::optional_vector(const char* key) {
  const Json* value = find(key);
  if (value == nullptr || value->is_null()) return std::nullopt;
  return vector_of(*value, key);
}

std::vector<std::string> JsonObject::texts(const char* key) {
  const Json* value = find(key);
  std::vector<std::string> words;
  if (value == nullptr) return words;
  const bool all_texts =
      value->is_array() &&
      std::all_of(value->begin(), value->end(), [](const Json& word) { return word.is_string(); });
  if (!all_texts) {
    report_type(key, "an array of texts", *value);
    return words;
  }
  for (const Json& word : *value) words.push_back(word.get<std::string>());
  return words;
}

Eigen::VectorXd JsonObject::numbers(const char* key, std::size_t size) {
  const auto count = static_cast<Eigen::Index>(size);
  const Json* value = find(key);
  if (value == nullptr) return Eigen::VectorXd::Zero(count);
  if (!value->is_array() || value->size() != size) {
    report(key, ProblemNumber::wrong_type, fmt::format("must have {} numbers", size),
           advice_to_refit);
    return Eigen::VectorXd::Zero(count);
  }
  Eigen::VectorXd numbers(count);
  for (Eigen::Index k = 0; k < count; ++k) {
    numbers[k] = number_of((*value)[static_cast<std::size_t>(k)], key);
  }
  return numbers;
}

Eigen::MatrixXd JsonObject::matrix(const char* key, std::size_t size) {
  const Json* value = find(key);
  if (value == nullptr || (value->is_array() && value->empty())) return {};
  const bool square = value->is_array() && value->size() == size &&
                      std::all_of(value->begin(), value->end(), [size](const Json& row) {
                        return row.is_array() && row.size() == size;
                      });
  if (!square) {
    report(key, ProblemNumber::wrong_type, fmt::format("must have {0} rows of {0} numbers", size),
           advice_to_refit);
    return {};
  }
  const auto count = static_cast<Eigen::Index>(size);
  Eigen::MatrixXd matrix(count, count);
  for (Eigen::Index row = 0; row < count; ++row) {
    for (Eigen::Index column = 0; column < count; ++column) {
      matrix(row, column) =
          number_of((*value)[static_cast<std::size_t>(row)][static_cast<std::size_t>(column)],
                    fmt::format("{}[{}][{}]", key, row, column));
    }
  }
  return matrix;
}

std::optional<JsonObject> JsonObject::object(const char* key) {
  const Json* value = find(key);
  if (value == nullptr) return std::nullopt;
  if (value->is_object()) return JsonObject(*value, path_of(key), *problems_);
  report_type(key, "an object", *value);
  return std::nullopt;
}

std::optional<JsonObject> JsonObject::optional_object(const char* key) {
  const auto member = json_->find(key);
  if (member == json_->end() || !member->is_null()) return object(key);
  known_keys_.emplace_back(key);
  return std::nullopt;
}

std::vector<JsonObject> JsonObject::objects(const char* key) {
  const Json* value = find(key);
  std::vector<JsonObject> items;
  if (value == nullptr) return items;
  if (!value->is_array()) {
    report_type(key, "an array", *value);
    return items;
  }
  items.reserve(value->size());
  for (std::size_t i = 0; i < value->size(); ++i) {
    const std::string item_key = fmt::format("{}[{}]", key, i);
    if ((*value)[i].is_object()) {
      items.emplace_back((*value)[i], path_of(item_key), *problems_);
    } else {
      report_type(item_key, "an object", (*value)[i]);
    }
  }
  return items;
}

std::vector<std::pair<std::string, JsonObject>> JsonObject::named_objects() {
  std::vector<std::pair<std::string, JsonObject>> members;
  for (const auto& [name, value] : json_->items()) {
    if (value.is_object()) {
      members.emplace_back(name, JsonObject(value, path_of(name), *problems_));
    } else {
      report_type(name, "an object", value);
    }
  }
  return members;
}

std::vector<std::pair<std::string, double>> JsonObject::named_numbers() {
  std::vector<std::pair<std::string, double>> members;
  for (const auto& [name, value] : json_->items()) {
    members.emplace_back(name, number_of(value, name));
  }
  return members;
}

std::vector<std::pair<std::string, std::string>> JsonObject::named_texts() {
  std::vector<std::pair<std::string, std::string>> members;
  for (const auto& [name, value] : json_->items()) {
    if (value.is_string()) {
      members.emplace_back(name, value.get<std::string>());
    } else {
      report_type(name, "a text", value);
    }
    known_keys_.push_back(name);
  }
  return members;
}

void JsonObject::refuse_unknown_keys() {
  for (const auto& [name, value] : json_->items()) {
    if (std::find(known_keys_.begin(), known_keys_.end(), name) != known_keys_.end()) continue;
    report(excerpt(name), ProblemNumber::unknown_key, "is no key of a result file",
           did_you_mean(name, known_keys_));
  }
}

}  // namespace pivotrace::formats
