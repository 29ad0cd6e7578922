// Whether a count can be by chance what a promise says.
#pragma once

#include <boost/math/distributions/binomial.hpp>

namespace pivotrace::testing {

constexpr double chance_of_a_false_verdict = 0.001;

/// Counts every question asked, so that the chance of a false verdict is shared out among them.
class Verdicts {
 public:
  explicit Verdicts(int expected_questions)
      : level_(chance_of_a_false_verdict / expected_questions) {}

  /// Whether `held` of `count` can be when the true share lies within low..high.
  bool within(int held, int count, double low, double high) {
    if (count == 0) return true;
    const bool too_few = boost::math::cdf(boost::math::binomial(count, low), held) < 0.5 * level_;
    const bool too_many =
        held > 0 && boost::math::cdf(boost::math::complement(boost::math::binomial(count, high),
                                                             held - 1)) < 0.5 * level_;
    broken_ += too_few || too_many;
    return !too_few && !too_many;
  }
  int broken() const { return broken_; }

 private:
  double level_;
  int broken_ = 0;
};

}  // namespace pivotrace::testing
