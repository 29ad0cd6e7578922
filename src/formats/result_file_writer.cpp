#include <fmt/format.h>

#include <map>

#include "formats/json_writer.h"
#include "formats/result_members.h"
#include "pivotrace/formats/result_file.h"

namespace pivotrace {

namespace formats {

namespace {

JsonLayout layout_of(Row row) {
  return row == Row::one_line ? JsonLayout::one_line : JsonLayout::lines;
}

std::string letter_text(char letter) { return std::string(1, letter); }

/// Rows and columns of angles are in degrees.
double written_per_internal(const ValueName& name) {
  return is_angle(name) ? deg_from_rad(1.0) : 1.0;
}

/// Writes the members it is asked for (result_members.h).
class ResultWriter {
 public:
  static constexpr bool reads = false;

  ResultWriter(JsonWriter& json, FindingTeller tell) : json_(json), tell_(tell) {}

  template <class T>
  void member(Key key, const T& value) {
    json_.add(key.word, value);
  }
  void member(Key key, const std::optional<std::string>& text) {
    if (text) {
      json_.add(key.word, *text);
    } else {
      json_.add_null(key.word);
    }
  }
  void member(Key key, const std::optional<Eigen::Vector3d>& vector) {
    if (vector) {
      json_.add(key.word, *vector);
    } else {
      json_.add_null(key.word);
    }
  }

  void quantity(Key key, double value, const FileUnit& unit) {
    json_.add(key.word, unit.to_file(value));
  }
  void with_unit(Key key, double value, const FileUnit& unit) {
    json_.add(std::string(key.word) + unit.suffix, unit.to_file(value));
  }
  void freedom(Key key, double dof, double /*u*/) { json_.add(key.word, dof); }
  void bias(Key key, double value, const FileUnit& unit) { with_unit(key, value, unit); }

  void letter(Key key, char letter) { json_.add(key.word, letter_text(letter)); }
  void letter_or_null(Key key, char letter) {
    if (letter == '?') {
      json_.add_null(key.word);
    } else {
      this->letter(key, letter);
    }
  }
  template <class Choice>
  void word(Key key, Choice choice, const Words<Choice>& words) {
    json_.add(key.word, words[choice]);
  }
  void either(Key key, bool state, const char* when_true, const char* when_false,
              const char* /*complaint*/) {
    json_.add(key.word, state ? when_true : when_false);
  }
  void either_or_null(Key key, const std::optional<bool>& state, const char* when_true,
                      const char* when_false) {
    if (state) {
      either(key, *state, when_true, when_false, "");
    } else {
      json_.add_null(key.word);
    }
  }
  template <class T, class Named>
  void spelled(Key key, const T& value, Named /*from_text*/, const char* /*complaint*/) {
    json_.add(key.word, text_of(value));
  }
  void told(Key what, Key advice, const Finding& finding) {
    const finding::AsWritten words = tell_(finding);
    json_.add(what.word, words.text);
    json_.add(advice.word, words.advice);
  }
  template <class T>
  void follows(Key key, const T& value) {
    json_.add(key.word, value);
  }
  void must_be(Key key, const char* text, const char* /*complaint*/) { json_.add(key.word, text); }

  template <class Inside>
  void object(Key key, Row row, Inside inside) {
    json_.begin_object(key.word, layout_of(row));
    inside(*this);
    json_.end();
  }
  template <class T, class Inside>
  void object_or_null(Key key, Row row, const std::optional<T>& value, Inside inside) {
    if (value) {
      object(key, row, [&](ResultWriter& inner) { inside(inner, *value); });
    } else {
      json_.add_null(key.word);
    }
  }
  template <class T, class Inside>
  void rows(Key key, Row row, const std::vector<T>& items, Inside inside) {
    json_.begin_array(key.word);
    for (const T& item : items) {
      object("", row, [&](ResultWriter& inner) { inside(inner, item); });
    }
    json_.end();
  }
  template <class Inside>
  void named(Key key, const std::vector<AxisResult>& axes, Inside inside) {
    object_of_objects(key, Row::lines, axes, inside,
                      [](const AxisResult& axis) { return letter_text(axis.letter); });
  }
  template <class Inside>
  void named(Key key, const std::vector<ArtefactResult>& artefacts, Inside inside) {
    object_of_objects(key, Row::lines, artefacts, inside,
                      [](const ArtefactResult& artefact) { return artefact.name; });
  }
  template <class Inside>
  void directions(Key key, const std::vector<NamedEstimate>& values, char /*letter*/,
                  ValueKind /*kind*/, Inside inside) {
    object_of_objects(key, Row::one_line, values, inside,
                      [](const NamedEstimate& named) { return direction_text(named.name); });
  }
  template <class Inside>
  void heights(Key key, const std::vector<NamedEstimate>& heights, const std::string& /*flat*/,
               Inside inside) {
    object_of_objects(
        key, Row::one_line, heights,
        [&](ResultWriter& inner, const NamedEstimate& height) { inside(inner, height.estimate); },
        [](const NamedEstimate& height) { return letter_text(height.name.axis); });
  }

  void plane(Key key, const std::optional<LinearAxis>& along, double at_mm) {
    json_.begin_object(key.word, JsonLayout::one_line);
    json_.add(along ? axis_letters[static_cast<std::size_t>(*along)] : plane_across, at_mm);
    json_.end();
  }
  template <class Pairs>
  void by_letter(Key key, const Pairs& values, const FileUnit& unit) {
    json_.begin_object(key.word, JsonLayout::one_line);
    for (const auto& [letter, value] : values) json_.add(letter_text(letter), unit.to_file(value));
    json_.end();
  }
  void by_value(Key key, const std::vector<std::pair<ValueName, double>>& values) {
    json_.begin_object(key.word);
    for (const auto& [name, value] : values) {
      json_.add(text_of(name), unit_of(name).to_file(value));
    }
    json_.end();
  }
  void texts_by_name(Key key, const std::map<std::string, std::string>& texts) {
    json_.begin_object(key.word, JsonLayout::one_line);
    for (const auto& [name, text] : texts) json_.add(name, text);
    json_.end();
  }

  void value_names(Key key, const std::vector<ValueName>& names) {
    json_.begin_array(key.word, JsonLayout::one_line);
    for (const ValueName& name : names) json_.add({}, text_of(name));
    json_.end();
  }
  void units_of_values(Key key, const std::vector<ValueName>& names) {
    json_.begin_array(key.word, JsonLayout::one_line);
    for (const ValueName& name : names) json_.add({}, unit_of(name).word);
    json_.end();
  }
  void matrix(Key key, const Eigen::MatrixXd& matrix, const std::vector<ValueName>& names) {
    json_.begin_array(key.word);
    for (Eigen::Index row = 0; row < matrix.rows(); ++row) {
      json_.begin_array({}, JsonLayout::one_line);
      for (Eigen::Index column = 0; column < matrix.cols(); ++column) {
        const double factor = written_per_internal(names[static_cast<std::size_t>(row)]) *
                              written_per_internal(names[static_cast<std::size_t>(column)]);
        json_.add({}, matrix(row, column) * factor);
      }
      json_.end();
    }
    json_.end();
  }
  void plain_matrix(Key key, const Eigen::MatrixXd& matrix, std::size_t /*size*/) {
    json_.begin_array(key.word);
    for (Eigen::Index row = 0; row < matrix.rows(); ++row) {
      json_.begin_array({}, JsonLayout::one_line);
      for (const double number : matrix.row(row)) json_.add({}, number);
      json_.end();
    }
    json_.end();
  }
  /// In the unit of the value by the unit of the term.
  void gains(Key key, const Eigen::VectorXd& gains, const FileUnit& unit,
             const std::vector<ValueName>& names) {
    json_.begin_array(key.word);
    for (std::size_t k = 0; k < names.size(); ++k) {
      json_.add({}, gains[static_cast<Eigen::Index>(k)] * written_per_internal(names[k]) /
                        unit.to_file(1.0));
    }
    json_.end();
  }

 private:
  template <class T, class Inside, class Name>
  void object_of_objects(Key key, Row row, const std::vector<T>& items, Inside inside, Name name) {
    json_.begin_object(key.word);
    for (const T& item : items) {
      json_.begin_object(name(item), layout_of(row));
      inside(*this, item);
      json_.end();
    }
    json_.end();
  }

  JsonWriter& json_;
  FindingTeller tell_;
};

}  // namespace

}  // namespace formats

std::string write_result(const FitResult& result, FindingTeller tell) {
  formats::JsonWriter json;
  json.begin_object();
  formats::ResultWriter writer(json, tell);
  formats::members(writer, result);
  json.end();
  return json.take();
}

}  // namespace pivotrace
