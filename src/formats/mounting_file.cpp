#include "pivotrace/formats/mounting_file.h"

#include <algorithm>

#include "formats/plain_toml.h"
#include "pivotrace/disk/text_file.h"

namespace pivotrace {

namespace {

using formats::Need;
using formats::Sign;
using formats::TomlTable;

Foot read_foot(TomlTable& block) {
  Foot foot;
  foot.where = block.place();
  foot.name = block.text("name", Need::required).value_or("");
  foot.at_mm = block.point_mm("at", Need::required).value_or(foot.at_mm);
  foot.fixed = block.boolean("fixed", Need::optional).value_or(false);
  block.refuse_unknown_keys();
  return foot;
}

Key read_key(TomlTable& block) {
  Key key;
  key.name = block.text("name", Need::required).value_or("");
  key.at_mm = block.point_mm("at", Need::required).value_or(key.at_mm);
  key.clearance_mm = block.length_mm("clearance", Need::optional, Sign::not_negative).value_or(0.0);
  block.refuse_unknown_keys();
  return key;
}

void read_rest(TomlTable& block, Mounting& mounting) {
  mounting.table_normal =
      block.direction("table_normal", Need::optional).value_or(mounting.table_normal);
  mounting.tailstock_mm = block.point_mm("tailstock", Need::optional);
  mounting.shims_mm =
      block.lengths_mm("shims", Need::optional, Sign::positive).value_or(mounting.shims_mm);
  const auto most = block.integer("most_shims", Need::optional);
  if (most) mounting.most_shims = static_cast<int>(std::clamp(*most, 0LL, 100LL));
  mounting.part_reach_mm = block.length_mm("part_reach", Need::optional, Sign::not_negative)
                               .value_or(mounting.part_reach_mm);
  mounting.mismatch_mm =
      block.length_mm("mismatch", Need::optional, Sign::positive).value_or(mounting.mismatch_mm);
  block.refuse_unknown_keys();
}

}  // namespace

Expected<Mounting> parse_mounting(std::string_view text, const std::string& name) {
  const auto root = formats::parse_toml(text, name);
  if (!root) return tl::make_unexpected(root.error());
  ProblemList problems(name);
  TomlTable top(*root, "", problems);
  Mounting mounting;
  mounting.file = name;
  if (formats::read_opening(top, formats::Units::required)) {
    const bool machine_file = top.has("rotary");
    mounting.machine = top.text(machine_file ? "name" : "machine", Need::optional).value_or("");
    for (TomlTable& block : top.tables("foot", Need::required)) {
      mounting.feet.push_back(read_foot(block));
    }
    for (TomlTable& block : top.tables("key", Need::optional)) {
      mounting.keys.push_back(read_key(block));
    }
    if (auto block = top.table("mounting", Need::optional)) read_rest(*block, mounting);
    if (!machine_file) top.refuse_unknown_keys();
  }
  if (!problems.empty()) return problems.as_failure();
  Problems wrong = mounting.validate();
  if (!wrong.empty()) return tl::make_unexpected(std::move(wrong));
  return mounting;
}

Expected<Mounting> read_mounting(const std::string& path, FileCalls& disk) {
  const auto text = read_file(path, disk);
  if (!text) return tl::make_unexpected(text.error());
  return parse_mounting(*text, path);
}

}  // namespace pivotrace
