// A page is one file: what tests of pages share.
#pragma once

#include <doctest/doctest.h>

#include <regex>
#include <string>

namespace pivotrace::report {

inline bool says(const std::string& text, const std::string& words) {
  return text.find(words) != std::string::npos;
}

/// No network: nothing is fetched, nothing linked.
inline void check_alone(const std::string& page) {
  for (const char* words : {"<link", "<img", "@import", "url(", "src=", "href="}) {
    INFO(words);
    CHECK_FALSE(says(page, words));
  }
  const std::regex address(R"(https?://[^" ]*)");
  for (std::sregex_iterator one(page.begin(), page.end(), address), none; one != none; ++one) {
    CHECK(one->str() == "http://www.w3.org/2000/svg");
  }
}

}  // namespace pivotrace::report
