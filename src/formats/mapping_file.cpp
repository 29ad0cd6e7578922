#include "pivotrace/formats/mapping_file.h"

#include <algorithm>
#include <limits>

#include "formats/plain_toml.h"
#include "pivotrace/disk/text_file.h"

namespace pivotrace {

namespace {

using formats::Need;
using formats::TomlTable;

int as_int(long long number) {
  constexpr long long largest = std::numeric_limits<int>::max();
  return static_cast<int>(std::clamp(number, -largest, largest));
}

FileUnit unit_of(TomlTable& block, const char* key) {
  static const std::vector<std::string> words = {"mm",     "inch",       "deg",     "rad",
                                                 "arcsec", "mm_per_300", "mm_per_m"};
  static constexpr FileUnit units[] = {FileUnit::mm,      FileUnit::inch,   FileUnit::deg,
                                       FileUnit::rad,     FileUnit::arcsec, FileUnit::mm_per_300,
                                       FileUnit::mm_per_m};
  const auto word = block.choice(key, Need::optional, words);
  for (std::size_t i = 0; i < words.size(); ++i) {
    if (word == words[i]) return units[i];
  }
  return FileUnit::automatic;
}

NumberFormat format_of(TomlTable& block) {
  NumberFormat format;
  format.decimals = as_int(block.integer("decimals", Need::optional).value_or(format.decimals));
  format.plus_sign = block.boolean("plus_sign", Need::optional).value_or(false);
  const auto mark = block.choice("decimal_mark", Need::optional, {".", ","});
  if (mark) format.decimal_mark = mark->front();
  return format;
}

MappingEntry read_entry(TomlTable& block) {
  MappingEntry entry;
  entry.where = block.place();
  entry.value = block.text("value", Need::required).value_or("");
  entry.key = block.text("key", Need::optional);
  entry.pattern = block.text("pattern", Need::optional);
  const auto number = block.integer("number", Need::optional);
  if (number) entry.number = as_int(*number);
  const auto line = block.integer("line", Need::optional);
  if (line) entry.line = as_int(*line);
  entry.unit = unit_of(block, "unit");
  entry.sign = static_cast<double>(block.integer("sign", Need::optional).value_or(1));
  entry.scale = block.number("scale", Need::optional, formats::Sign::positive).value_or(1.0);
  entry.reference = block.number("reference", Need::optional).value_or(0.0);
  entry.reference_unit = unit_of(block, "reference_unit");
  entry.reference_value = block.text("reference_value", Need::optional);
  entry.format = format_of(block);
  entry.largest_change = block.number("largest_change", Need::optional, formats::Sign::positive);
  block.refuse_unknown_keys();
  return entry;
}

}  // namespace

Expected<Mapping> parse_mapping(std::string_view text, const std::string& name) {
  const auto root = formats::parse_toml(text, name);
  if (!root) return tl::make_unexpected(root.error());
  ProblemList problems(name);
  TomlTable top(*root, "", problems);
  Mapping mapping;
  mapping.file = name;
  if (formats::read_opening(top, formats::Units::optional)) {
    top.refuse("units", "each entry has its own `unit`");
    mapping.machine = top.text("machine", Need::optional).value_or("");
    for (TomlTable& block : top.tables("entry", Need::required)) {
      mapping.entries.push_back(read_entry(block));
    }
    top.refuse_unknown_keys();
  }
  if (!problems.empty()) return problems.as_failure();
  Problems wrong = mapping.validate();
  if (!wrong.empty()) return tl::make_unexpected(std::move(wrong));
  return mapping;
}

Expected<Mapping> read_mapping(const std::string& path, FileCalls& disk) {
  const auto text = read_file(path, disk);
  if (!text) return tl::make_unexpected(text.error());
  return parse_mapping(*text, path);
}

}  // namespace pivotrace
