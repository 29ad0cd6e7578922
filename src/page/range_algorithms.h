// The compiler of the page knows the language of 2020, its library lacks the algorithms on ranges: these
// are those the program uses, with the meaning of the standard, for whole containers. Included before every
// file of the page's build (CMakePresets.json), by no other.
#pragma once

#ifdef __cplusplus

#include <algorithm>
#include <functional>
#include <iterator>
#include <version>

#if !defined(__cpp_lib_ranges)

namespace std::ranges {  // NOLINT(cert-dcl58-cpp): it stands in for the library's own

template <class Range, class Predicate, class Projection = identity>
constexpr auto find_if(Range&& range, Predicate predicate, Projection projection = {}) {
  return std::find_if(std::begin(range), std::end(range), [&](auto&& each) -> bool {
    return std::invoke(predicate, std::invoke(projection, each));
  });
}

template <class Range, class Value, class Projection = identity>
constexpr auto find(Range&& range, const Value& value, Projection projection = {}) {
  return ranges::find_if(
      range, [&](const auto& each) -> bool { return each == value; }, projection);
}

template <class Range, class Predicate, class Projection = identity>
constexpr bool any_of(Range&& range, Predicate predicate, Projection projection = {}) {
  return ranges::find_if(range, predicate, projection) != std::end(range);
}

template <class Range, class Predicate, class Projection = identity>
constexpr bool all_of(Range&& range, Predicate predicate, Projection projection = {}) {
  return !ranges::any_of(range, std::not_fn(predicate), projection);
}

template <class Range, class Predicate, class Projection = identity>
constexpr bool none_of(Range&& range, Predicate predicate, Projection projection = {}) {
  return !ranges::any_of(range, predicate, projection);
}

template <class Range, class Predicate, class Projection = identity>
constexpr auto count_if(Range&& range, Predicate predicate, Projection projection = {}) {
  return std::count_if(std::begin(range), std::end(range), [&](auto&& each) -> bool {
    return std::invoke(predicate, std::invoke(projection, each));
  });
}

template <class Range, class Value, class Projection = identity>
constexpr auto count(Range&& range, const Value& value, Projection projection = {}) {
  return ranges::count_if(
      range, [&](const auto& each) -> bool { return each == value; }, projection);
}

/// Compares what a projection makes of two elements.
template <class Compare, class Projection>
constexpr auto compared(Compare& compare, Projection& projection) {
  return [&](auto&& a, auto&& b) -> bool {
    return std::invoke(compare, std::invoke(projection, a), std::invoke(projection, b));
  };
}

template <class Range, class Compare = std::less<>, class Projection = identity>
constexpr auto max_element(Range&& range, Compare compare = {}, Projection projection = {}) {
  return std::max_element(std::begin(range), std::end(range), compared(compare, projection));
}

template <class Range, class Compare = std::less<>, class Projection = identity>
constexpr auto min_element(Range&& range, Compare compare = {}, Projection projection = {}) {
  return std::min_element(std::begin(range), std::end(range), compared(compare, projection));
}

template <class Range, class Compare = std::less<>, class Projection = identity>
constexpr auto minmax(Range&& range, Compare compare = {}, Projection projection = {}) {
  struct Extremes {
    std::decay_t<decltype(*std::begin(range))> min, max;
  };
  const auto [low, high] =
      std::minmax_element(std::begin(range), std::end(range), compared(compare, projection));
  return Extremes{*low, *high};
}

template <class Range, class Compare = std::less<>, class Projection = identity>
constexpr auto sort(Range&& range, Compare compare = {}, Projection projection = {}) {
  std::sort(std::begin(range), std::end(range), compared(compare, projection));
  return std::end(range);
}

template <class Range, class Compare = std::less<>, class Projection = identity>
constexpr auto stable_sort(Range&& range, Compare compare = {}, Projection projection = {}) {
  std::stable_sort(std::begin(range), std::end(range), compared(compare, projection));
  return std::end(range);
}

}  // namespace std::ranges

#endif
#endif
