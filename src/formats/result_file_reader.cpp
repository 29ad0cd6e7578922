#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>

#include "formats/emptied_lists.h"
#include "formats/json_reader.h"
#include "formats/result_members.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/result_file.h"

namespace pivotrace {

namespace formats {

namespace {

/// Null stands for "no limit" beside a number and for "not run" beside nothing.
double dof_beside(double dof, double u) {
  const bool no_limit = std::isnan(dof) && !std::isnan(u);
  return no_limit ? std::numeric_limits<double>::infinity() : dof;
}

double internal_per_written(const ValueName& name) {
  return is_angle(name) ? rad_from_deg(1.0) : 1.0;
}

/// The last part of a value's name as a key: X, Y, Z of a centre, A, B, C of an orientation.
std::optional<LinearAxis> direction_named(const std::string& key, char letter, ValueKind kind) {
  for (const LinearAxis direction : {LinearAxis::X, LinearAxis::Y, LinearAxis::Z}) {
    if (direction_text(axis_value(letter, kind, direction)) == key) return direction;
  }
  return std::nullopt;
}

std::optional<std::size_t> index_of(const std::vector<std::string>& words,
                                    const std::string& word) {
  const auto found = std::find(words.begin(), words.end(), word);
  if (found == words.end()) return std::nullopt;
  return static_cast<std::size_t>(found - words.begin());
}

/// Reads the members it is asked for into the fields (result_members.h).
class ResultReader {
 public:
  static constexpr bool reads = true;

  explicit ResultReader(JsonObject& json) : json_(json) {}

  template <class T>
  void member(Key key, T& value) {
    if (is_there(key)) read(key.word, value);
  }

  void quantity(Key key, double& value, const FileUnit& unit) {
    value = unit.from_file(json_.number(key.word));
  }
  void with_unit(Key key, double& value, const FileUnit& unit) {
    quantity((key.word + std::string(unit.suffix)).c_str(), value, unit);
  }
  void freedom(Key key, double& dof, double u) {
    if (is_there(key)) dof = dof_beside(json_.number(key.word), u);
  }
  void bias(Key key, double& value, const FileUnit& unit) {
    const std::string word = std::string(key.word) + unit.suffix;
    if (!is_there({word.c_str(), key.added})) return;
    value = unit.from_file(json_.optional_number(word.c_str()).value_or(0.0));
  }

  void letter(Key key, char& letter) { letter = letter_of(key.word, json_.text(key.word)); }
  void letter_or_null(Key key, char& letter) {
    if (const auto text = json_.optional_text(key.word)) letter = letter_of(key.word, *text);
  }
  template <class Choice>
  void word(Key key, Choice& choice, const Words<Choice>& words) {
    choice = words.choices[json_.choice(key.word, words.words)];
  }
  void either(Key key, bool& state, const char* when_true, const char* when_false,
              const char* complaint) {
    if (!is_there(key)) return;
    const std::string text = json_.text(key.word);
    state = text == when_true;
    if (!state && text != when_false) refuse(key, complaint);
  }
  void either_or_null(Key key, std::optional<bool>& state, const char* when_true,
                      const char* when_false) {
    const auto text = json_.optional_text(key.word);
    if (!text) return;
    state = *text == when_true;
    if (!*state && *text != when_false) refuse(key, "is none of its words");
  }
  template <class T, class Named>
  void spelled(Key key, T& value, Named from_text, const char* complaint) {
    const auto found = from_text(json_.text(key.word));
    if (!found) refuse(key, complaint);
    value = found.value_or(T{});
  }
  void told(Key what, Key advice, Finding& finding) {
    const std::string text = json_.text(what.word);
    finding.details = finding::AsWritten{text, json_.text(advice.word)};
  }
  /// What the file repeats in other words is asked for and not looked at.
  void follows(Key key, double /*value*/) { json_.number(key.word); }
  void follows(Key key, const std::string& /*value*/) { json_.text(key.word); }
  void must_be(Key key, const char* text, const char* complaint) {
    if (json_.text(key.word) != text) refuse(key, complaint);
  }

  template <class Inside>
  void object(Key key, Row /*row*/, Inside inside) {
    if (!is_there(key)) return;
    if (auto json = json_.object(key.word)) read_whole(*json, inside);
  }
  template <class T, class Inside>
  void object_or_null(Key key, Row /*row*/, std::optional<T>& value, Inside inside) {
    if (!is_there(key)) return;
    auto json = json_.optional_object(key.word);
    if (!json) return;
    value.emplace();
    read_whole(*json, [&](ResultReader& inner) { inside(inner, *value); });
  }
  template <class T, class Inside>
  void rows(Key key, Row /*row*/, std::vector<T>& items, Inside inside) {
    if (!is_there(key)) return;
    for (JsonObject& row : json_.objects(key.word)) {
      T& item = items.emplace_back();
      read_whole(row, [&](ResultReader& inner) { inside(inner, item); });
    }
  }
  template <class Inside>
  void named(Key key, std::vector<AxisResult>& axes, Inside inside) {
    each_named(key, inside, axes, [](ResultReader& owner, const std::string& name) {
      AxisResult axis;
      axis.letter = owner.letter_of(name.c_str(), name);
      return axis;
    });
  }
  template <class Inside>
  void named(Key key, std::vector<ArtefactResult>& artefacts, Inside inside) {
    each_named(key, inside, artefacts, [](ResultReader& /*owner*/, const std::string& name) {
      ArtefactResult artefact;
      artefact.name = name;
      return artefact;
    });
  }
  template <class Inside>
  void directions(Key key, std::vector<NamedEstimate>& values, char letter, ValueKind kind,
                  Inside inside) {
    each_named(key, inside, values, [&](ResultReader& owner, const std::string& name) {
      const auto direction = direction_named(name, letter, kind);
      if (!direction) {
        owner.json_.report(name, ProblemNumber::unknown_key, "is no direction of such a value",
                           advice_to_refit);
      }
      return NamedEstimate{axis_value(letter, kind, direction), {}};
    });
  }
  template <class Inside>
  void heights(Key key, std::vector<NamedEstimate>& heights, const std::string& flat,
               Inside inside) {
    each_named(
        key, [&](ResultReader& inner, NamedEstimate& height) { inside(inner, height.estimate); },
        heights,
        [&](ResultReader& owner, const std::string& name) {
          return NamedEstimate{height_value(flat, owner.letter_of(name.c_str(), name)), {}};
        });
  }

  void plane(Key key, std::optional<LinearAxis>& along, double& at_mm) {
    auto json = json_.object(key.word);
    if (!json) return;
    const auto members = json->named_numbers();
    const std::string word = members.size() == 1 ? members[0].first : std::string();
    const auto index = index_of(axis_letters, word);
    if (!index && word != plane_across) {
      json_.report(key.word, ProblemNumber::wrong_type,
                   "must have one member named X, Y, Z or direction", advice_to_refit);
      return;
    }
    at_mm = members[0].second;
    if (index) along = static_cast<LinearAxis>(*index);
  }
  /// `values`: pairs of letter and number, in any container.
  template <class Pairs>
  void by_letter(Key key, Pairs& values, const FileUnit& unit) {
    if (!is_there(key)) return;
    auto json = json_.object(key.word);
    if (!json) return;
    for (const auto& [name, value] : json->named_numbers()) {
      const char letter = ResultReader(*json).letter_of(name.c_str(), name);
      values.insert(values.end(), {letter, unit.from_file(value)});
    }
  }
  void by_value(Key key, std::vector<std::pair<ValueName, double>>& values) {
    auto json = json_.object(key.word);
    if (!json) return;
    for (const auto& [text, value] : json->named_numbers()) {
      const ValueName name = ResultReader(*json).value_of(text.c_str(), text);
      values.emplace_back(name, unit_of(name).from_file(value));
    }
  }
  void texts_by_name(Key key, std::map<std::string, std::string>& texts) {
    auto json = json_.object(key.word);
    if (!json) return;
    for (const auto& [name, text] : json->named_texts()) texts[name] = text;
  }

  void value_names(Key key, std::vector<ValueName>& names) {
    for (const std::string& text : json_.texts(key.word)) {
      names.push_back(value_of(key.word, text));
    }
  }
  void units_of_values(Key key, const std::vector<ValueName>& names) {
    const std::vector<std::string> units = json_.texts(key.word);
    const bool good = std::equal(
        units.begin(), units.end(), names.begin(), names.end(),
        [](const std::string& unit, const ValueName& name) { return unit == unit_of(name).word; });
    if (!good) refuse(key, "does not fit `names`");
  }
  void matrix(Key key, Eigen::MatrixXd& matrix, const std::vector<ValueName>& names) {
    matrix = json_.matrix(key.word, names.size());
    for (Eigen::Index row = 0; row < matrix.rows(); ++row) {
      for (Eigen::Index column = 0; column < matrix.cols(); ++column) {
        matrix(row, column) *= internal_per_written(names[static_cast<std::size_t>(row)]) *
                               internal_per_written(names[static_cast<std::size_t>(column)]);
      }
    }
  }
  void plain_matrix(Key key, Eigen::MatrixXd& matrix, std::size_t size) {
    if (is_there(key)) matrix = json_.matrix(key.word, size);
  }
  void gains(Key key, Eigen::VectorXd& gains, const FileUnit& unit,
             const std::vector<ValueName>& names) {
    gains = json_.numbers(key.word, names.size());
    for (Eigen::Index k = 0; k < gains.size(); ++k) {
      gains[k] *= unit.to_file(1.0) * internal_per_written(names[static_cast<std::size_t>(k)]);
    }
  }

 private:
  void read(const char* key, double& value) { value = json_.number(key); }
  void read(const char* key, int& value) { value = json_.integer(key); }
  void read(const char* key, bool& value) { value = json_.boolean(key); }
  void read(const char* key, std::string& value) { value = json_.text(key); }
  void read(const char* key, Eigen::Vector3d& value) { value = json_.vector(key); }
  void read(const char* key, std::optional<double>& value) { value = json_.optional_number(key); }
  void read(const char* key, std::optional<std::string>& value) {
    value = json_.optional_text(key);
  }
  void read(const char* key, std::optional<Eigen::Vector3d>& value) {
    value = json_.optional_vector(key);
  }

  bool is_there(const Key& key) const { return !key.added || json_.has(key.word); }

  void refuse(const Key& key, const char* complaint) {
    json_.report(key.word, ProblemNumber::out_of_range, complaint, advice_to_refit);
  }

  char letter_of(const char* key, const std::string& word) {
    if (word.size() == 1) return word[0];
    json_.report(key, ProblemNumber::wrong_type, "must be one letter", advice_to_refit);
    return '?';
  }

  /// A value by its name; reported when the text names none.
  ValueName value_of(const char* key, const std::string& text) {
    const auto name = value_named(text);
    if (!name) refuse(key, "names no value");
    return name.value_or(ValueName{});
  }

  template <class Inside>
  static void read_whole(JsonObject& json, Inside inside) {
    ResultReader inner(json);
    inside(inner);
    json.refuse_unknown_keys();
  }

  /// Every member of an object whose keys are names; `made` makes an item of its name.
  template <class T, class Inside, class Made>
  void each_named(Key key, Inside inside, std::vector<T>& items, Made made) {
    const bool by_former = key.former != nullptr && json_.has(key.former);
    if (!is_there(key)) return;
    auto owner = json_.object(by_former ? key.former : key.word);
    if (!owner) return;
    ResultReader of_owner(*owner);
    for (auto& [name, json] : owner->named_objects()) {
      T& item = items.emplace_back(made(of_owner, name));
      read_whole(json, [&](ResultReader& inner) { inside(inner, item); });
    }
  }

  JsonObject& json_;
};

/// What says it may be written must have what is written.
void refuse_gaps_in_usable_result(const FitResult& result, JsonObject& json) {
  if (!result.usable) return;
  for (const AxisResult& axis : result.axes) {
    if (!axis.estimated) continue;
    bool complete = axis.line.point_mm.allFinite() && axis.line.direction.allFinite();
    for (const NamedEstimate& named : axis.centre) {
      complete = complete && std::isfinite(named.estimate.value) &&
                 std::isfinite(named.estimate.U95_absolute);
    }
    if (complete) continue;
    json.report(fmt::format("axes.{}", axis.letter), ProblemNumber::out_of_range,
                "lacks values although the result says that it is usable", advice_to_refit);
  }
}

Expected<FitResult> result_of(const Json& root, const std::string& file) {
  ProblemList problems(file);
  JsonObject top(root, "", problems);
  FitResult result;
  ResultReader reader(top);
  members(reader, result);
  top.refuse_unknown_keys();
  if (problems.empty()) refuse_gaps_in_usable_result(result, top);
  if (!problems.empty()) return problems.as_failure();
  return result;
}

Problem format_problem(const Json& root, const std::string& file) {
  Problem problem{ProblemNumber::unsupported_format,
                  "this JSON file is no result of pivotrace",
                  {file, 0, 0},
                  "name a file written by `pivotrace fit ... -o`"};
  const bool stated = root.is_object() && root.contains("format") && root["format"].is_string();
  if (stated && root["format"].get<std::string>().starts_with("pivotrace-result-")) {
    problem.what = fmt::format("this result has format \"{}\", this program reads \"{}\"",
                               root["format"].get<std::string>().substr(0, 40), result_format);
    problem.advice = "use a newer pivotrace, or run `pivotrace fit` again";
  }
  return problem;
}

}  // namespace

}  // namespace formats

Expected<FitResult> parse_result(std::string_view text, const std::string& name) {
  const Expected<formats::Json> root = formats::parse_json(text, name);
  if (!root) return tl::make_unexpected(root.error());
  const bool stated = root->is_object() && root->contains("format");
  const bool supported =
      stated && ((*root)["format"] == result_format || (*root)["format"] == former_result_format);
  if (!supported) return failure(formats::format_problem(*root, name));
  return formats::result_of(*root, name);
}

Expected<FitResult> parse_result_values(std::string_view text, const std::string& name) {
  const auto result =
      parse_result(formats::with_emptied_lists(
                       text, {"touches", "stations", "budget", "bounds", "findings", "effects"}),
                   name);
  // Lines are counted in the whole text.
  return result ? result : parse_result(text, name);
}

Expected<FitResult> read_result_values(const std::string& path, FileCalls& disk) {
  const Expected<std::string> text = read_file(path, disk, result_read_limit_bytes);
  if (!text) return tl::make_unexpected(text.error());
  return parse_result_values(*text, path);
}

Expected<FitResult> read_result(const std::string& path, FileCalls& disk) {
  const Expected<std::string> text = read_file(path, disk, result_read_limit_bytes);
  if (!text) return tl::make_unexpected(text.error());
  return parse_result(*text, path);
}

}  // namespace pivotrace
