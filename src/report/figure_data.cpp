#include "report/figure_data.h"

#include <string>
#include <vector>

#include "report/typeset.h"

namespace pivotrace::report {

namespace {

using kainjow::mustache::data;

/// Longer tables stay on the screen: printed they would be pages of numbers. Common practice, no source.
constexpr std::size_t longest_printed_table = 40;

data cells_of(const std::vector<std::string>& texts) {
  data list{data::type::list};
  for (const std::string& text : texts) list << data("cell", typeset(text));
  return list;
}

}  // namespace

data figure_data(const Figure& figure) {
  data rows{data::type::list};
  for (const auto& row : figure.numbers.rows) rows << data("cells", cells_of(row));
  data entry;
  entry.set("claim", typeset(figure.claim));
  entry.set("subtitle", typeset(figure.subtitle));
  entry.set("svg", figure.svg);
  entry.set("head", cells_of(figure.numbers.head));
  entry.set("rows", rows);
  entry.set("long", figure.numbers.rows.size() > longest_printed_table);
  return entry;
}

}  // namespace pivotrace::report
