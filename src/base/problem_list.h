// Collects every problem of one file, in file order, without drowning the reader.
#pragma once

#include <string>

#include "pivotrace/base/problem.h"

namespace pivotrace {

/// Problems shown per file; the rest is only counted.
inline constexpr std::size_t shown_problems = 50;

class ProblemList {
 public:
  explicit ProblemList(std::string file) : file_(std::move(file)) {}

  void add(ProblemNumber number, int line, int column, std::string what, std::string advice);

  bool empty() const { return problems_.empty(); }
  std::size_t count() const { return problems_.size() + not_kept_; }
  const std::string& file() const { return file_; }

  /// The problems sorted by line and column; after the first `shown_problems` one line says how
  /// many more there are. Call only when not empty().
  tl::unexpected<Problems> as_failure() const;

 private:
  std::string file_;
  Problems problems_;
  std::size_t not_kept_ = 0;
};

}  // namespace pivotrace
