// The regular expression of a mapping entry, searched for in one line in time linear in its length.
#pragma once

#include <memory>
#include <string>
#include <utility>
#include <vector>

namespace re2 {
class RE2;
}

namespace pivotrace {

/// Places in a text: first character and the one after the last.
using Spans = std::vector<std::pair<std::size_t, std::size_t>>;

class LinePattern {
 public:
  explicit LinePattern(const std::string& pattern);
  ~LinePattern();
  LinePattern(const LinePattern&) = delete;
  LinePattern& operator=(const LinePattern&) = delete;

  /// Why it cannot be used, in words; empty when it compiles and captures exactly once.
  std::string fault() const;

  /// What its capture takes in, for every match in the line that does not overlap an earlier one,
  /// `most` at most.
  Spans captures(const std::string& line, std::size_t most) const;

 private:
  std::unique_ptr<re2::RE2> expression_;
};

}  // namespace pivotrace
