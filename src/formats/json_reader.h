// Reads a JSON tree member by member: every problem is collected with the path of its key, unknown
// keys are refused. JSON keeps no line numbers once it is well formed; the path says where.
#pragma once

#include <Eigen/Core>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "base/problem_list.h"

namespace pivotrace::formats {

using Json = nlohmann::ordered_json;

/// What to do about a file that is not as a program wrote it.
inline constexpr const char* advice_to_refit =
    "results are written by `pivotrace fit`: make the file anew rather than mending it by hand";

/// The tree, or the first syntax error as P101 with line and column; an empty file is P110.
Expected<Json> parse_json(std::string_view text, const std::string& file);

/// One object of the tree. Ask for every member, then refuse_unknown_keys(). Members that are
/// missing or of the wrong type are reported and read as "not run", empty, 0 or false.
class JsonObject {
 public:
  JsonObject(const Json& json, std::string path, ProblemList& problems);

  bool has(const char* key) const { return json_->contains(key); }
  double number(const char* key);  ///< null = NaN
  std::optional<double> optional_number(const char* key);
  int integer(const char* key);
  bool boolean(const char* key);
  std::string text(const char* key);
  std::optional<std::string> optional_text(const char* key);
  /// Index of the member's text in `choices`.
  std::size_t choice(const char* key, const std::vector<std::string>& choices);
  Eigen::Vector3d vector(const char* key);
  std::optional<Eigen::Vector3d> optional_vector(const char* key);
  std::vector<std::string> texts(const char* key);
  /// An array of `size` numbers; zeros when it is not.
  Eigen::VectorXd numbers(const char* key, std::size_t size);
  /// An array of `size` rows of `size` numbers, or an empty array.
  Eigen::MatrixXd matrix(const char* key, std::size_t size);

  std::optional<JsonObject> object(const char* key);
  /// As object(), where null means that there is none.
  std::optional<JsonObject> optional_object(const char* key);
  std::vector<JsonObject> objects(const char* key);

  /// Every member of an object whose keys are names: (name, value as object).
  std::vector<std::pair<std::string, JsonObject>> named_objects();
  /// Every member of an object whose keys are names: (name, number).
  std::vector<std::pair<std::string, double>> named_numbers();

  /// Every member of an object whose keys are names: (name, text).
  std::vector<std::pair<std::string, std::string>> named_texts();

  void refuse_unknown_keys();
  void report(const std::string& key, ProblemNumber number, std::string what, std::string advice);

 private:
  const Json* find(const char* key);
  std::string path_of(const std::string& key) const;
  void report_type(const std::string& key, const char* wanted, const Json& found);
  double number_of(const Json& value, const std::string& key);
  Eigen::Vector3d vector_of(const Json& value, const std::string& key);

  const Json* json_;
  std::string path_;
  ProblemList* problems_;
  std::vector<std::string> known_keys_;
};

}  // namespace pivotrace::formats
