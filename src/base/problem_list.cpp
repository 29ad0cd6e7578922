#include "base/problem_list.h"

#include <fmt/format.h>

#include <algorithm>
#include <tuple>

namespace pivotrace {

namespace {

/// More are kept than shown, so that sorting can still bring the first ones to the front.
constexpr std::size_t kept_problems = 1000;

bool stands_before(const Problem& first, const Problem& second) {
  return std::tie(first.where.line, first.where.column) <
         std::tie(second.where.line, second.where.column);
}

}  // namespace

void ProblemList::add(ProblemNumber number, int line, int column, std::string what,
                      std::string advice) {
  if (problems_.size() == kept_problems) {
    ++not_kept_;
    return;
  }
  problems_.push_back({number, std::move(what), {file_, line, column}, std::move(advice)});
}

tl::unexpected<Problems> ProblemList::as_failure() const {
  Problems sorted = problems_;
  std::stable_sort(sorted.begin(), sorted.end(), stands_before);
  if (sorted.size() > shown_problems) {
    const std::size_t more = sorted.size() - shown_problems + not_kept_;
    const ProblemNumber number = sorted[shown_problems].number;
    sorted.resize(shown_problems);
    sorted.push_back({number,
                      fmt::format("and {} more problems in this file", more),
                      {file_, 0, 0},
                      "mend the first ones and check the file again"});
  }
  return tl::make_unexpected(std::move(sorted));
}

}  // namespace pivotrace
