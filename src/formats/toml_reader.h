// Reads a TOML table key by key: every problem is collected with its line and column, unknown keys
// are refused, lengths are converted to mm at this boundary. Shared by all readers of TOML files.
#pragma once

#include <toml++/toml.h>

#include <Eigen/Core>
#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/problem_list.h"
#include "pivotrace/machine/machine.h"

namespace pivotrace::formats {

/// The parsed file, or its first syntax error as P101; an empty file is P110, other than UTF-8
/// text P101.
Expected<toml::table> parse_toml(std::string_view text, const std::string& file);

enum class Need { required, optional };

/// What a number must be, beyond finite.
enum class Sign { any, not_negative, positive };

struct TomlPlace {
  int line = 0;
  int column = 0;
};

TomlPlace place_of(const toml::node& node);

/// One table of the file. Readers ask for each key they know and end with refuse_unknown_keys().
/// A reader that returns an empty optional for a required key has already reported why.
class TomlTable {
 public:
  /// `title` names the table in messages, as the user wrote it: "[probe]", "[[rotary]]".
  TomlTable(const toml::table& table, std::string title, ProblemList& problems,
            double mm_per_length = 1.0);

  bool has(std::string_view key) const { return table_.contains(key); }
  const std::string& title() const { return title_; }
  /// Where the block starts, for problems found later.
  Place place() const;
  /// A better name for messages, once the block has told it: "[[rotary]] A".
  void retitle(std::string title) { title_ = std::move(title); }
  double mm_per_length() const { return mm_per_length_; }
  /// For the top table: the factor is only known once its `units` have been read.
  void set_mm_per_length(double factor) { mm_per_length_ = factor; }

  /// The value is "?": the user has left the question open.
  bool is_open(const char* key);
  std::optional<std::string> text(const char* key, Need need);
  /// One of `choices`; anything else is P106 with the nearest choice.
  std::optional<std::string> choice(const char* key, Need need,
                                    const std::vector<std::string>& choices);
  std::optional<long long> integer(const char* key, Need need);
  std::optional<bool> boolean(const char* key, Need need);
  /// A list of texts, at least one.
  std::optional<std::vector<std::string>> texts(const char* key, Need need);
  /// One text or a list of texts.
  std::optional<std::vector<std::string>> text_or_texts(const char* key, Need need);
  /// A list of lists of texts.
  std::optional<std::vector<std::vector<std::string>>> text_lists(const char* key, Need need);
  /// A list of whole numbers.
  std::optional<std::vector<long long>> integers(const char* key, Need need);
  std::optional<double> number(const char* key, Need need, Sign sign = Sign::any);
  /// A list of lengths in the file's unit, at least one, returned in mm.
  std::optional<std::vector<double>> lengths_mm(const char* key, Need need, Sign sign = Sign::any);
  /// A length or coordinate in the file's unit, returned in mm.
  std::optional<double> length_mm(const char* key, Need need, Sign sign = Sign::any);
  /// `[x, y, z]` as written.
  std::optional<Eigen::Vector3d> vector(const char* key, Need need);
  std::optional<Eigen::Vector3d> point_mm(const char* key, Need need);
  /// `[x, y, z]` of any length but zero, returned as a unit vector.
  std::optional<Eigen::Vector3d> direction(const char* key, Need need);
  /// `[low, high]` with low < high, as written.
  std::optional<Range> range(const char* key, Need need);
  /// A table in braces or under its own header.
  std::optional<TomlTable> table(const char* key, Need need);
  /// Every `[[key]]` in file order.
  std::vector<TomlTable> tables(const char* key, Need need);

  /// P102 for every key nobody asked for. Call when all known keys have been asked for.
  void refuse_unknown_keys();
  /// Keys that exist in this file format but not for this kind of thing: P102 with `reason`.
  void refuse(const char* key, const std::string& reason);

  /// A problem at the value of `key` (or at the table itself when the key is absent).
  void report(const char* key, ProblemNumber number, std::string what, std::string advice);
  void report_here(ProblemNumber number, std::string what, std::string advice);

 private:
  const toml::node* find(const char* key, Need need);
  std::string key_text(const char* key) const;
  std::optional<double> checked_number(const toml::node& node, const std::string& what, Sign sign);
  std::optional<std::vector<double>> numbers(const char* key, Need need, std::size_t count,
                                             const char* example);

  const toml::table& table_;
  std::string title_;
  ProblemList& problems_;
  double mm_per_length_;
  std::vector<std::string> known_keys_;
};

}  // namespace pivotrace::formats
