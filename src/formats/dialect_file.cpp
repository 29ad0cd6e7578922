#include "pivotrace/formats/dialect_file.h"

#include <fmt/format.h>

#include <algorithm>

#include "base/words.h"
#include "formats/toml_reader.h"
#include "pivotrace/disk/text_file.h"

namespace pivotrace {

namespace {

using formats::Need;
using formats::TomlTable;

constexpr int newest_format = 1;
constexpr const char* axis_keys[] = {"X", "Y", "Z", "A", "B", "C", "U", "V", "W"};

template <class T>
std::vector<std::string> keys_of(const std::vector<T>& items) {
  std::vector<std::string> keys;
  keys.reserve(items.size());
  for (const T& item : items) keys.push_back(key_of(item));
  return keys;
}

class DialectParser {
 public:
  explicit DialectParser(const std::string& file) : problems_(file) { dialect_.file = file; }

  Expected<Dialect> parse(const toml::table& root) {
    TomlTable top(root, "", problems_);
    if (const auto format = top.integer("format", Need::required);
        format && *format != newest_format) {
      top.report("format", ProblemNumber::unsupported_format,
                 fmt::format("this dialect has format {}, this program reads format {}", *format,
                             newest_format),
                 "use a newer pivotrace, or start from a dialect in its routines folder");
      return problems_.as_failure();
    }
    read_top(top);
    read_tables(top);
    top.refuse_unknown_keys();
    if (!problems_.empty()) return problems_.as_failure();
    Problems unusable = dialect_.validate();
    if (!unusable.empty()) return tl::make_unexpected(std::move(unusable));
    return dialect_;
  }

 private:
  static void set(std::string& target, std::optional<std::string> value) {
    if (value) target = std::move(*value);
  }
  static void set(bool& target, std::optional<bool> value) { target = value.value_or(target); }
  static void set(int& target, std::optional<long long> value) {
    if (value) target = static_cast<int>(*value);
  }
  static void set(double& target, std::optional<double> value) { target = value.value_or(target); }

  void text(TomlTable& t, const char* key, std::string& target) { set(target, t.text(key, opt)); }
  void flag(TomlTable& t, const char* key, bool& target) { set(target, t.boolean(key, opt)); }
  void whole(TomlTable& t, const char* key, int& target) { set(target, t.integer(key, opt)); }

  void numbers_range(TomlTable& t, const char* key, VariableRange& target) {
    const auto values = t.integers(key, opt);
    if (!values) return;
    if (values->size() != 2) {
      t.report(key, ProblemNumber::wrong_type, fmt::format("`{}` must be [first, last]", key),
               fmt::format("write `{} = [100, 199]`", key));
      return;
    }
    target = {static_cast<int>((*values)[0]), static_cast<int>((*values)[1])};
  }

  void per_axis(TomlTable& t, const char* key, std::map<char, int>& target) {
    auto inner = t.table(key, opt);
    if (!inner) return;
    for (const char* letter : axis_keys) {
      if (const auto number = inner->integer(letter, opt)) {
        target[letter[0]] = static_cast<int>(*number);
      }
    }
    inner->refuse_unknown_keys();
  }

  template <class T>
  void spellings(TomlTable& t, const char* key, const std::vector<T>& items,
                 std::map<T, std::string>& target) {
    auto inner = t.table(key, opt);
    if (!inner) return;
    for (const T& item : items) {
      if (auto word = inner->text(key_of(item).c_str(), opt)) target[item] = std::move(*word);
    }
    inner->refuse_unknown_keys();
  }

  void read_top(TomlTable& top) {
    set(dialect_.name, top.text("name", Need::required));
    text(top, "title", dialect_.title);
    text(top, "axis_letters", dialect_.axis_letters);
    if (auto lines = top.text_or_texts("program_start", opt)) dialect_.program_start = *lines;
    if (auto lines = top.text_or_texts("program_end", opt)) dialect_.program_end = *lines;
    read_setup(top);
  }

  void read_setup(TomlTable& top) {
    const auto lines = top.text_lists("setup", opt);
    if (!lines) return;
    for (const auto& line : *lines) {
      dialect_.setup.emplace_back();
      for (const std::string& key : line) {
        if (const auto meaning = meaning_from_key(key)) {
          dialect_.setup.back().push_back(*meaning);
        } else {
          top.report("setup", ProblemNumber::unknown_name,
                     fmt::format("`setup` asks for `{}`, which means nothing here", key),
                     did_you_mean(key, keys_of(all_meanings())));
        }
      }
    }
  }

  void read_tables(TomlTable& top) {
    each(top, "text", [&](TomlTable& t) { read_text(t); });
    each(top, "numbers", [&](TomlTable& t) { read_numbers(t); });
    each(top, "variables", [&](TomlTable& t) { read_variables(t); });
    each(top, "expressions", [&](TomlTable& t) { read_expressions(t); });
    each(top, "assignment", [&](TomlTable& t) { read_assignment(t); });
    each(top, "branches", [&](TomlTable& t) { read_branches(t); });
    each(top, "motion", [&](TomlTable& t) {
      flag(t, "machine_coordinates_at_feed", dialect_.motion.machine_coordinates_at_feed);
      flag(t, "clamp_words", dialect_.motion.clamp_words);
    });
    each(top, "skip", [&](TomlTable& t) { read_skip(t); });
    each(top, "position", [&](TomlTable& t) { read_position(t); });
    each(top, "stops", [&](TomlTable& t) { read_stops(t); });
    each(top, "log", [&](TomlTable& t) { read_log(t); });
    each(top, "offsets", [&](TomlTable& t) { read_offsets(t); });
    each(top, "dwell", [&](TomlTable& t) {
      text(t, "letter", dialect_.dwell.letter);
      set(dialect_.dwell.seconds_per_unit,
          t.number("seconds_per_unit", opt, formats::Sign::positive));
    });
    each(top, "spindle",
         [&](TomlTable& t) { text(t, "orient_form", dialect_.spindle.orient_form); });
    each(top, "words", [&](TomlTable& t) { read_words(t); });
    for (TomlTable& t : top.tables("refuse", opt)) read_refusal(t);
  }

  template <class Read>
  void each(TomlTable& top, const char* key, Read read) {
    auto table = top.table(key, opt);
    if (!table) return;
    read(*table);
    table->refuse_unknown_keys();
  }

  void read_text(TomlTable& t) {
    TextRules& rules = dialect_.text;
    text(t, "comment_open", rules.comment_open);
    text(t, "comment_close", rules.comment_close);
    whole(t, "max_line_length", rules.max_line_length);
    whole(t, "max_comment_length", rules.max_comment_length);
    flag(t, "upper_case_only", rules.upper_case_only);
    flag(t, "case_matters", rules.case_matters);
    flag(t, "spaces_ignored", rules.spaces_ignored);
    text(t, "comment_punctuation", rules.comment_punctuation);
    text(t, "block_end", rules.block_end);
    flag(t, "carriage_return", rules.carriage_return);
    text(t, "line_number_prefix", rules.line_number_prefix);
    whole(t, "line_number_step", rules.line_number_step);
    whole(t, "line_number_max", rules.line_number_max);
    text(t, "block_skip", rules.block_skip);
    flag(t, "repeated_letter_is_error", rules.repeated_letter_is_error);
  }

  void read_numbers(TomlTable& t) {
    NumberRules& rules = dialect_.numbers;
    whole(t, "decimals_mm", rules.decimals_mm);
    whole(t, "decimals_inch", rules.decimals_inch);
    whole(t, "decimals_deg", rules.decimals_deg);
    whole(t, "decimals_feed", rules.decimals_feed);
    whole(t, "decimals_factor", rules.decimals_factor);
    flag(t, "point_always", rules.point_always);
    text(t, "decimal_mark", rules.decimal_mark);
    flag(t, "exponent_allowed", rules.exponent_allowed);
    flag(t, "plus_sign_allowed", rules.plus_sign_allowed);
    whole(t, "max_digits", rules.max_digits);
  }

  void read_variables(TomlTable& t) {
    VariableRules& rules = dialect_.variables;
    text(t, "prefix", rules.prefix);
    text(t, "suffix", rules.suffix);
    text(t, "index_open", rules.index_open);
    text(t, "index_close", rules.index_close);
    flag(t, "chained", rules.chained);
    numbers_range(t, "readable", rules.readable);
    numbers_range(t, "working", rules.working);
    numbers_range(t, "table", rules.table);
    if (t.has("results")) {
      rules.results.emplace();
      numbers_range(t, "results", *rules.results);
    }
    flag(t, "unset_is_error", rules.unset_is_error);
  }

  void read_expressions(TomlTable& t) {
    ExpressionRules& rules = dialect_.expressions;
    text(t, "open", rules.open);
    text(t, "close", rules.close);
    spellings(t, "operators", all_operators(), rules.operators);
    spellings(t, "comparisons", all_comparisons(), rules.comparisons);
    spellings(t, "functions", all_functions(), rules.functions);
    static const std::map<std::string, ArctangentForm> forms = {{"slash", ArctangentForm::slash},
                                                                {"comma", ArctangentForm::comma},
                                                                {"single", ArctangentForm::single}};
    if (const auto form = t.choice("arctangent_form", opt, {"slash", "comma", "single"})) {
      rules.arctangent_form = forms.at(*form);
    }
    read_precedence(t);
    flag(t, "sign_before_variable", rules.sign_before_variable);
    flag(t, "round_down_towards_zero", rules.round_down_towards_zero);
    flag(t, "modulo_never_negative", rules.modulo_never_negative);
    whole(t, "max_nesting", rules.max_nesting);
    flag(t, "word_needs_brackets", rules.word_needs_brackets);
    text(t, "word_mark", rules.word_mark);
  }

  void read_precedence(TomlTable& t) {
    const auto lists = t.text_lists("precedence", opt);
    if (!lists) return;
    dialect_.expressions.precedence.clear();
    const std::vector<Operator> operators = all_operators();
    for (const auto& list : *lists) {
      dialect_.expressions.precedence.emplace_back();
      for (const std::string& key : list) {
        const auto found = std::find_if(operators.begin(), operators.end(),
                                        [&](Operator op) { return key_of(op) == key; });
        if (found == operators.end()) {
          t.report("precedence", ProblemNumber::unknown_name,
                   fmt::format("`{}` is no operator", key), did_you_mean(key, keys_of(operators)));
        } else {
          dialect_.expressions.precedence.back().push_back(*found);
        }
      }
    }
  }

  void read_assignment(TomlTable& t) {
    AssignmentRules& rules = dialect_.assignment;
    text(t, "form", rules.form);
    flag(t, "takes_effect_after_block", rules.takes_effect_after_block);
    whole(t, "per_block", rules.per_block);
    flag(t, "value_needs_brackets", rules.value_needs_brackets);
  }

  void read_branches(TomlTable& t) {
    BranchRules& rules = dialect_.branches;
    text(t, "jump", rules.jump);
    text(t, "jump_if", rules.jump_if);
    text(t, "label", rules.label);
    text(t, "while_begin", rules.while_begin);
    text(t, "while_end", rules.while_end);
    whole(t, "while_levels", rules.while_levels);
  }

  void read_skip(TomlTable& t) {
    SkipRules& rules = dialect_.skip;
    const auto coordinates = [&](const char* key, Coordinates& target) {
      if (const auto word = t.choice(key, opt, {"program", "machine"})) {
        target = *word == "machine" ? Coordinates::machine : Coordinates::program;
      }
    };
    coordinates("target", rules.target);
    coordinates("trip_point", rules.trip_point);
    per_axis(t, "trip_variable", rules.trip_variable);
    if (const auto word = t.choice("untriggered", opt, {"goes-on", "stops-with-error"})) {
      rules.untriggered =
          *word == "goes-on" ? WhenUntriggered::goes_on : WhenUntriggered::stops_with_error;
    }
    flag(t, "triggered_at_start_is_error", rules.triggered_at_start_is_error);
    set(rules.min_distance_mm, t.number("min_distance_mm", opt, formats::Sign::not_negative));
    flag(t, "rotary_words_allowed", rules.rotary_words_allowed);
    flag(t, "feed_in_same_block", rules.feed_in_same_block);
  }

  void read_position(TomlTable& t) {
    PositionRules& rules = dialect_.position;
    per_axis(t, "machine_position", rules.machine_position);
    per_axis(t, "program_position", rules.program_position);
    per_axis(t, "work_origin_1", rules.work_origin_1);
    per_axis(t, "axis_offset", rules.axis_offset);
    whole(t, "work_origin_step", rules.work_origin_step);
    whole(t, "active_work_offset", rules.active_work_offset);
    auto modal = t.table("modal_variable", opt);
    if (!modal) return;
    for (const ModalGroup group : all_groups()) {
      if (const auto number = modal->integer(key_of(group).c_str(), opt)) {
        rules.modal_variable[group] = static_cast<int>(*number);
      }
    }
    modal->refuse_unknown_keys();
  }

  void read_refusal(TomlTable& t) {
    Refusal refusal;
    if (const auto group = t.choice("group", Need::required, keys_of(all_groups()))) {
      refusal.group = *group_from_key(*group);
    }
    if (const auto allowed = t.integers("allowed", Need::required)) {
      for (const long long number : *allowed) refusal.allowed.push_back(static_cast<int>(number));
    }
    set(refusal.text, t.text("text", Need::required));
    t.refuse_unknown_keys();
    dialect_.refusals.push_back(std::move(refusal));
  }

  void read_stops(TomlTable& t) {
    StopRules& rules = dialect_.stops;
    text(t, "message", rules.message);
    text(t, "operator_stop", rules.operator_stop);
    text(t, "alarm", rules.alarm);
    numbers_range(t, "alarm_numbers", rules.alarm_numbers);
    whole(t, "max_alarm_text", rules.max_alarm_text);
    text(t, "demand", rules.demand);
    flag(t, "root_of_negative_stops", rules.root_of_negative_stops);
  }

  void read_log(TomlTable& t) {
    LogRules& rules = dialect_.log;
    text(t, "open_form", rules.open_form);
    text(t, "close_form", rules.close_form);
    text(t, "begin", rules.begin);
    text(t, "end", rules.end);
    text(t, "join", rules.join);
    text(t, "text_item", rules.text_item);
    text(t, "space_in_text", rules.space_in_text);
    text(t, "value_item", rules.value_item);
    whole(t, "whole_digits", rules.whole_digits);
    whole(t, "decimals", rules.decimals);
    text(t, "separator", rules.separator);
    text(t, "decimal_mark", rules.decimal_mark);
  }

  void read_offsets(TomlTable& t) {
    text(t, "form", dialect_.offsets.form);
    whole(t, "first_system", dialect_.offsets.first_system);
    whole(t, "last_system", dialect_.offsets.last_system);
  }

  void read_words(TomlTable& t) {
    for (const Meaning meaning : all_meanings()) {
      if (auto words = t.text_or_texts(key_of(meaning).c_str(), opt)) {
        dialect_.words[meaning] = std::move(*words);
      }
    }
  }

  static constexpr Need opt = Need::optional;
  ProblemList problems_;
  Dialect dialect_;
};

}  // namespace

Expected<Dialect> parse_dialect(std::string_view text, const std::string& name) {
  return formats::parse_toml(text, name)
      .and_then([&](const toml::table& root) -> Expected<Dialect> {
        return DialectParser(name).parse(root);
      });
}

Expected<Dialect> read_dialect(const std::string& path, FileCalls& disk) {
  return read_file(path, disk).and_then([&](const std::string& text) {
    return parse_dialect(text, path);
  });
}

Expected<std::string> find_dialect(const std::string& wanted,
                                   const std::vector<std::string>& folders, FileCalls& disk) {
  if (wanted.find('/') != std::string::npos || wanted.ends_with(".toml")) return wanted;
  Expected<std::string> found = find_in_folders(wanted + ".toml", folders, disk);
  if (!found || !found->empty()) return found;
  return failure({ProblemNumber::cannot_read,
                  fmt::format("there is no dialect `{}`", wanted),
                  {wanted + ".toml", 0, 0},
                  fmt::format("it was looked for in {}; name the file itself, or copy one of the "
                              "shipped dialects (macro, ngc) there and edit it",
                              joined(folders))});
}

}  // namespace pivotrace
