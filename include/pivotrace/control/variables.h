// The numbered variables of a control, and the parameter file of RS274/NGC.
#pragma once

#include <string>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/control/control_sheet.h"

namespace pivotrace {

class Variables {
 public:
  explicit Variables(const VariableRange& range);

  bool exists(int number) const;
  bool is_set(int number) const;
  /// 0 when never set. The number must exist.
  double value(int number) const;
  void set(int number, double value);

 private:
  VariableRange range_;
  std::vector<double> values_;
  std::vector<char> set_;
};

/// Reads an RS274/NGC parameter file into `variables`: lines "number value", ascending; other
/// lines before the first are a heading; a file without a row is refused. Returns the numbers it holds. NISTIR 6556 section 3.2.1.
Expected<std::vector<int>> read_parameter_file(const std::string& text, const std::string& file,
                                               Variables& variables);

/// The file as the control rewrites it at the end of a program: the rows of `rows` and those the
/// report requires, ascending, six decimals. A number that is in neither is forgotten.
std::string parameter_file(const Variables& variables, const std::vector<int>& rows);

}  // namespace pivotrace
