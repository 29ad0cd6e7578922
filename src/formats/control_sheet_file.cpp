#include "pivotrace/formats/control_sheet_file.h"

#include <fmt/format.h>

#include <algorithm>
#include <sstream>

#include "base/words.h"
#include "formats/toml_reader.h"
#include "pivotrace/control/slots.h"
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

/// The file without its [proof] table: what a proof is a proof of.
std::string proven_part(std::string_view text) {
  std::istringstream lines{std::string(text)};
  std::string kept;
  bool in_proof = false;
  for (std::string line; std::getline(lines, line);) {
    if (!line.empty() && line.back() == '\r') line.pop_back();
    if (line.starts_with("[")) in_proof = line.starts_with("[proof]");
    if (!in_proof) kept += line + "\n";
  }
  while (kept.ends_with("\n\n")) kept.pop_back();
  return kept;
}

/// Reads one slot into a sheet.
class SlotReader {
 public:
  SlotReader(const Slot& slot, TomlTable& table, ControlSheet& sheet)
      : slot_(slot), table_(table), sheet_(sheet), key_(slot.key.c_str()) {}

  void read() {
    if (table_.is_open(key_)) {
      sheet_.open.push_back(slot_.name());
      return std::visit([&](const auto& place) { leave_open(place); }, slot_.place);
    }
    std::visit([&](const auto& place) { take(place); }, slot_.place);
  }

 private:
  static constexpr Need opt = Need::optional;

  // An open slot stands as if the control could not do it.
  void leave_open(TextPlace place) { place(sheet_).clear(); }
  void leave_open(FlagPlace place) { place(sheet_) = false; }
  void leave_open(RangePlace place) { place(sheet_) = {0, -1}; }
  void leave_open(OptionalRangePlace place) { place(sheet_).reset(); }
  void leave_open(AxesPlace place) { place(sheet_).clear(); }
  void leave_open(LinesPlace place) { place(sheet_).clear(); }
  void leave_open(const ChoicePlace& place) {
    if (slot_.name() == "skip.untriggered") {
      place.set(sheet_, static_cast<int>(WhenUntriggered::not_known));
    }
  }
  template <class Place>
  void leave_open(const Place& /*absent: left at its default*/) {}

  void take(TextPlace place) {
    if (auto text = table_.text(key_, opt)) place(sheet_) = std::move(*text);
  }
  void take(FlagPlace place) {
    if (const auto flag = table_.boolean(key_, opt)) place(sheet_) = *flag;
  }
  void take(WholePlace place) {
    if (const auto number = table_.integer(key_, opt)) place(sheet_) = static_cast<int>(*number);
  }
  void take(NumberPlace place) {
    if (const auto number = table_.number(key_, opt, formats::Sign::not_negative)) {
      place(sheet_) = *number;
    }
  }
  void take(RangePlace place) {
    if (const auto range = numbers_range()) place(sheet_) = *range;
  }
  void take(OptionalRangePlace place) {
    if (const auto range = numbers_range()) place(sheet_) = *range;
  }
  void take(LinesPlace place) {
    if (auto lines = table_.text_or_texts(key_, opt)) place(sheet_) = std::move(*lines);
  }
  void take(const WordPlace& place) {
    if (auto words = table_.text_or_texts(key_, opt)) {
      sheet_.words[place.meaning] = std::move(*words);
    }
  }
  void take(const OperatorPlace& place) {
    if (auto text = table_.text(key_, opt)) sheet_.expressions.operators[place.op] = *text;
  }
  void take(const ComparisonPlace& place) {
    if (auto text = table_.text(key_, opt)) {
      sheet_.expressions.comparisons[place.comparison] = *text;
    }
  }
  void take(const FunctionPlace& place) {
    if (auto text = table_.text(key_, opt)) sheet_.expressions.functions[place.function] = *text;
  }
  void take(const ModalPlace& place) {
    if (const auto number = table_.integer(key_, opt)) {
      sheet_.position.modal_variable[place.group] = static_cast<int>(*number);
    }
  }
  void take(const ChoicePlace& place) {
    const auto word = table_.choice(key_, opt, slot_.choices);
    if (!word) return;
    const auto found = std::find(slot_.choices.begin(), slot_.choices.end(), *word);
    place.set(sheet_, static_cast<int>(found - slot_.choices.begin()));
  }
  void take(AxesPlace place) {
    auto inner = table_.table(key_, opt);
    if (!inner) return;
    for (const char* letter : axis_keys) {
      if (inner->is_open(letter)) {
        if (!sheet_.is_open(slot_.name())) sheet_.open.push_back(slot_.name());
      } else if (const auto number = inner->integer(letter, opt)) {
        place(sheet_)[letter[0]] = static_cast<int>(*number);
      }
    }
    inner->refuse_unknown_keys();
  }

  std::optional<VariableRange> numbers_range() {
    const auto values = table_.integers(key_, opt);
    if (!values) return std::nullopt;
    if (values->size() != 2) {
      table_.report(key_, ProblemNumber::wrong_type,
                    fmt::format("`{}` must be [first, last]", key_),
                    fmt::format("write `{} = [700, 799]`", key_));
      return std::nullopt;
    }
    return VariableRange{static_cast<int>((*values)[0]), static_cast<int>((*values)[1])};
  }

  const Slot& slot_;
  TomlTable& table_;
  ControlSheet& sheet_;
  const char* key_;
};

class ControlSheetParser {
 public:
  explicit ControlSheetParser(const std::string& file) : problems_(file) { sheet_.file = file; }

  Expected<ControlSheet> parse(const toml::table& root, std::string_view text) {
    TomlTable top(root, "", problems_);
    if (const auto format = top.integer("format", Need::required);
        format && *format != newest_format) {
      top.report("format", ProblemNumber::unsupported_format,
                 fmt::format("this control sheet has format {}, this program reads format {}",
                             *format, newest_format),
                 "use a newer pivotrace, or start from a control sheet in its routines folder");
      return problems_.as_failure();
    }
    sheet_.fingerprint = sha256_hex(proven_part(text));
    read_top(top);
    read_tables(top);
    top.refuse_unknown_keys();
    if (!problems_.empty()) return problems_.as_failure();
    Problems unusable = sheet_.validate();
    if (!unusable.empty()) return tl::make_unexpected(std::move(unusable));
    return std::move(sheet_);
  }

 private:
  static constexpr Need opt = Need::optional;

  void read_slots(const std::string& table_name, TomlTable& table) {
    for (const Slot& slot : slots()) {
      if (slot.table == table_name) SlotReader(slot, table, sheet_).read();
    }
  }

  void read_top(TomlTable& top) {
    top.text("name", Need::required);
    read_slots("", top);
    read_setup(top);
    if (auto proof = top.table("proof", opt)) {
      sheet_.proof.emplace();
      sheet_.proof->date = proof->text("date", Need::required).value_or("");
      sheet_.proof->fingerprint = proof->text("fingerprint", Need::required).value_or("");
      proof->refuse_unknown_keys();
    }
    if (auto pages = top.table("pages", opt)) {
      for (const Slot& slot : slots()) {
        if (auto page = pages->text(slot.name().c_str(), opt)) sheet_.pages[slot.name()] = *page;
      }
      pages->refuse_unknown_keys();
    }
    for (TomlTable& refusal : top.tables("refuse", opt)) read_refusal(refusal);
  }

  /// Every table a slot names, those within another table included.
  void read_tables(TomlTable& top) {
    std::vector<std::string> names;
    for (const Slot& slot : slots()) {
      const std::string outer = slot.table.substr(0, slot.table.find('.'));
      if (outer.empty() || std::find(names.begin(), names.end(), outer) != names.end()) continue;
      names.push_back(outer);
    }
    for (const std::string& name : names) {
      auto table = top.table(name.c_str(), opt);
      if (!table) continue;
      read_slots(name, *table);
      if (name == "expressions") read_precedence(*table);
      for (const std::string& inner : inner_tables(name)) {
        auto within = table->table(inner.c_str(), opt);
        if (!within) continue;
        read_slots(name + "." + inner, *within);
        within->refuse_unknown_keys();
      }
      table->refuse_unknown_keys();
    }
  }

  static std::vector<std::string> inner_tables(const std::string& outer) {
    std::vector<std::string> names;
    for (const Slot& slot : slots()) {
      if (!slot.table.starts_with(outer + ".")) continue;
      const std::string inner = slot.table.substr(outer.size() + 1);
      if (std::find(names.begin(), names.end(), inner) == names.end()) names.push_back(inner);
    }
    return names;
  }

  void read_setup(TomlTable& top) {
    const auto lines = top.text_lists("setup", opt);
    if (!lines) return;
    for (const auto& line : *lines) {
      sheet_.setup.emplace_back();
      for (const std::string& key : line) {
        if (const auto meaning = meaning_from_key(key)) {
          sheet_.setup.back().push_back(*meaning);
        } else {
          top.report("setup", ProblemNumber::unknown_name,
                     fmt::format("`setup` asks for `{}`, which means nothing here", key),
                     did_you_mean(key, keys_of(all_meanings())));
        }
      }
    }
  }

  void read_precedence(TomlTable& t) {
    const auto lists = t.text_lists("precedence", opt);
    if (!lists) return;
    sheet_.expressions.precedence.clear();
    const std::vector<Operator> operators = all_operators();
    for (const auto& list : *lists) {
      sheet_.expressions.precedence.emplace_back();
      for (const std::string& key : list) {
        const auto found = std::find_if(operators.begin(), operators.end(),
                                        [&](Operator op) { return key_of(op) == key; });
        if (found == operators.end()) {
          t.report("precedence", ProblemNumber::unknown_name,
                   fmt::format("`{}` is no operator", key), did_you_mean(key, keys_of(operators)));
        } else {
          sheet_.expressions.precedence.back().push_back(*found);
        }
      }
    }
  }

  void read_refusal(TomlTable& t) {
    Refusal refusal;
    if (const auto group = t.choice("group", Need::required, keys_of(all_groups()))) {
      refusal.group = *group_from_key(*group);
    }
    if (const auto allowed = t.integers("allowed", Need::required)) {
      for (const long long number : *allowed) refusal.allowed.push_back(static_cast<int>(number));
    }
    refusal.text = t.text("text", Need::required).value_or("");
    t.refuse_unknown_keys();
    sheet_.refusals.push_back(std::move(refusal));
  }

  ProblemList problems_;
  ControlSheet sheet_;
};

}  // namespace

Expected<ControlSheet> parse_control_sheet(std::string_view text, const std::string& name) {
  return formats::parse_toml(text, name)
      .and_then([&](const toml::table& root) -> Expected<ControlSheet> {
        return ControlSheetParser(name).parse(root, text);
      });
}

Expected<ControlSheet> read_control_sheet(const std::string& path, FileCalls& disk) {
  return read_file(path, disk).and_then([&](const std::string& text) {
    return parse_control_sheet(text, path);
  });
}

std::string with_proof(std::string_view text, const ProofRecord& proof) {
  return proven_part(text) + fmt::format("\n[proof]\ndate = \"{}\"\nfingerprint = \"{}\"\n",
                                         proof.date, proof.fingerprint);
}

Expected<std::string> find_control_sheet(const std::string& wanted,
                                         const std::vector<std::string>& folders, FileCalls& disk) {
  if (wanted.find('/') != std::string::npos || wanted.ends_with(".toml")) return wanted;
  Expected<std::string> found = find_in_folders(wanted + ".toml", folders, disk);
  if (!found || !found->empty()) return found;
  return failure({ProblemNumber::cannot_read,
                  fmt::format("there is no control sheet `{}`", wanted),
                  {wanted + ".toml", 0, 0},
                  fmt::format("it was looked for in {}; name the file itself, or copy one of the "
                              "shipped control sheets (macro, ngc) there and fill it in",
                              joined(folders))});
}

}  // namespace pivotrace
