#include "pivotrace/formats/limits_file.h"

#include "formats/plain_toml.h"
#include "pivotrace/disk/text_file.h"

namespace pivotrace {

namespace {

using formats::Need;
using formats::TomlTable;

LimitUnit unit_of(TomlTable& block) {
  const auto word =
      block.choice("unit", Need::optional, {"mm", "inch", "deg", "arcsec", "mm_per_300"});
  if (word == "mm") return LimitUnit::mm;
  if (word == "inch") return LimitUnit::inch;
  if (word == "deg") return LimitUnit::deg;
  if (word == "arcsec") return LimitUnit::arcsec;
  if (word == "mm_per_300") return LimitUnit::mm_per_300;
  return LimitUnit::automatic;
}

/// `nominal` with `within` is another way to say low and high.
void read_nominal(TomlTable& block, Limit& limit) {
  const auto nominal = block.number("nominal", Need::optional);
  const auto within = block.number("within", Need::optional, formats::Sign::positive);
  if (!nominal && !within) return;
  if (!nominal || !within || limit.low || limit.high) {
    block.report_here(ProblemNumber::missing_key,
                      "a limit is either `low` and `high`, or `nominal` with `within`",
                      "give one pair or the other");
    return;
  }
  limit.low = *nominal - *within;
  limit.high = *nominal + *within;
}

Limit read_limit(TomlTable& block) {
  Limit limit;
  limit.where = block.place();
  limit.value = block.text("value", Need::required).value_or("");
  limit.low = block.number("low", Need::optional);
  limit.high = block.number("high", Need::optional);
  read_nominal(block, limit);
  limit.unit = unit_of(block);
  limit.change = block.boolean("change", Need::optional).value_or(false);
  block.refuse_unknown_keys();
  return limit;
}

PartEnvelope read_part(TomlTable& block) {
  PartEnvelope part;
  part.where = block.place();
  part.from_mm = block.point_mm("from", Need::required).value_or(part.from_mm);
  part.to_mm = block.point_mm("to", Need::required).value_or(part.to_mm);
  part.at = block.texts("at", Need::required).value_or(part.at);
  part.mismatch_mm = block.length_mm("mismatch", Need::optional, formats::Sign::positive);
  block.refuse_unknown_keys();
  return part;
}

}  // namespace

Expected<Limits> parse_limits(std::string_view text, const std::string& name) {
  const auto root = formats::parse_toml(text, name);
  if (!root) return tl::make_unexpected(root.error());
  ProblemList problems(name);
  TomlTable top(*root, "", problems);
  Limits limits;
  limits.file = name;
  if (formats::read_opening(top, formats::Units::required)) {
    limits.inch = formats::in_inches(top);
    limits.machine = top.text("machine", Need::optional).value_or("");
    limits.guard_factor = top.number("guard_factor", Need::optional).value_or(1.0);
    for (TomlTable& block : top.tables("limit", Need::optional)) {
      limits.limits.push_back(read_limit(block));
    }
    if (auto part = top.table("part", Need::optional)) limits.part = read_part(*part);
    top.refuse_unknown_keys();
  }
  if (!problems.empty()) return problems.as_failure();
  Problems wrong = limits.validate();
  if (!wrong.empty()) return tl::make_unexpected(std::move(wrong));
  return limits;
}

Expected<Limits> read_limits(const std::string& path, FileCalls& disk) {
  const auto text = read_file(path, disk);
  if (!text) return tl::make_unexpected(text.error());
  return parse_limits(*text, path);
}

}  // namespace pivotrace
