// Writes JSON text in a fixed order without building a tree first: a result may hold a million rows.
#pragma once

#include <Eigen/Core>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace pivotrace::formats {

enum class JsonLayout { lines, one_line };

class JsonWriter {
 public:
  void begin_object(std::string_view key = {}, JsonLayout layout = JsonLayout::lines);
  void begin_array(std::string_view key = {}, JsonLayout layout = JsonLayout::lines);
  void end();

  /// Members of an object; with an empty key, elements of an array. Numbers that are not finite
  /// become null.
  void add(std::string_view key, double value);
  void add(std::string_view key, int value);
  void add(std::string_view key, bool value);
  void add(std::string_view key, std::string_view value);
  void add(std::string_view key, const std::string& value) { add(key, std::string_view(value)); }
  void add(std::string_view key, const char* value) { add(key, std::string_view(value)); }
  void add(std::string_view key, const std::optional<double>& value);
  void add(std::string_view key, const std::vector<double>& values);  ///< on one line
  void add(std::string_view key, const Eigen::Vector3d& vector);      ///< on one line
  void add(std::string_view key, const std::vector<std::string>& values);
  void add_null(std::string_view key);

  /// The finished text; every begin must have met its end.
  std::string take();

 private:
  struct Level {
    char closing;
    JsonLayout layout;
    bool empty = true;
  };

  void begin(std::string_view key, JsonLayout layout, char opening, char closing);
  void start_item(std::string_view key);
  void new_line();
  void append_quoted(std::string_view value);

  std::string text_;
  std::vector<Level> levels_;
};

}  // namespace pivotrace::formats
