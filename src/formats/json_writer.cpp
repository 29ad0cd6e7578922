#include "formats/json_writer.h"

#include <fmt/format.h>

#include <cmath>

#include "base/number_text.h"
#include "base/utf8.h"
#include "base/words.h"

namespace pivotrace::formats {

namespace {

constexpr std::string_view replacement_character = "\xEF\xBF\xBD";

}  // namespace

void JsonWriter::begin_object(std::string_view key, JsonLayout layout) {
  begin(key, layout, '{', '}');
}

void JsonWriter::begin_array(std::string_view key, JsonLayout layout) {
  begin(key, layout, '[', ']');
}

void JsonWriter::begin(std::string_view key, JsonLayout layout, char opening, char closing) {
  const bool inside_line = !levels_.empty() && levels_.back().layout == JsonLayout::one_line;
  start_item(key);
  text_ += opening;
  levels_.push_back({closing, inside_line ? JsonLayout::one_line : layout});
}

void JsonWriter::end() {
  const Level level = levels_.back();
  levels_.pop_back();
  if (!level.empty && level.layout == JsonLayout::lines) new_line();
  text_ += level.closing;
}

void JsonWriter::new_line() {
  text_ += '\n';
  text_.append(2 * levels_.size(), ' ');
}

void JsonWriter::start_item(std::string_view key) {
  if (!levels_.empty()) {
    Level& level = levels_.back();
    if (!level.empty) text_ += ',';
    if (level.layout == JsonLayout::lines) {
      new_line();
    } else if (!level.empty) {
      text_ += ' ';
    }
    level.empty = false;
  }
  if (levels_.empty() || levels_.back().closing == ']') return;
  append_quoted(key);
  text_ += ": ";
}

void JsonWriter::append_quoted(std::string_view value) {
  text_ += '"';
  for (std::size_t i = 0; i < value.size(); ++i) {
    const auto byte = static_cast<unsigned char>(value[i]);
    if (byte == '"' || byte == '\\') {
      text_ += '\\';
      text_ += value[i];
    } else if (byte < 0x20 || byte == 0x7F) {
      text_ += fmt::format("\\u{:04x}", byte);
    } else if (byte < 0x80) {
      text_ += value[i];
    } else if (const std::size_t length = utf8_length(value, i); length > 0) {
      text_ += value.substr(i, length);
      i += length - 1;
    } else {
      // JSON must be UTF-8; a broken byte in a name must not make the whole file unreadable.
      text_ += replacement_character;
    }
  }
  text_ += '"';
}

void JsonWriter::add(std::string_view key, double value) {
  if (!std::isfinite(value)) {
    add_null(key);
    return;
  }
  start_item(key);
  append_shortest(text_, value);
}

void JsonWriter::add(std::string_view key, int value) {
  start_item(key);
  text_ += std::to_string(value);
}

void JsonWriter::add(std::string_view key, bool value) {
  start_item(key);
  text_ += value ? "true" : "false";
}

void JsonWriter::add(std::string_view key, std::string_view value) {
  start_item(key);
  append_quoted(value);
}

void JsonWriter::add(std::string_view key, const std::optional<double>& value) {
  if (value) {
    add(key, *value);
  } else {
    add_null(key);
  }
}

void JsonWriter::add(std::string_view key, const std::vector<double>& values) {
  begin_array(key, JsonLayout::one_line);
  for (const double value : values) add({}, value);
  end();
}

void JsonWriter::add(std::string_view key, const Eigen::Vector3d& vector) {
  add(key, std::vector<double>(vector.begin(), vector.end()));
}

void JsonWriter::add(std::string_view key, const std::vector<std::string>& values) {
  begin_array(key);
  for (const std::string& value : values) add({}, value);
  end();
}

void JsonWriter::add_null(std::string_view key) {
  start_item(key);
  text_ += "null";
}

std::string JsonWriter::take() {
  text_ += '\n';
  return std::move(text_);
}

}  // namespace pivotrace::formats
