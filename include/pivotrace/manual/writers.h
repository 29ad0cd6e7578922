// One page, three ways: on a screen, as a man page, in the book.
#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "pivotrace/manual/pages.h"

namespace pivotrace::manual {

/// For a terminal, at most 100 columns: no escape sequences, so that it can be piped.
std::string screen_text(std::string_view markdown);

/// Where a man page stands.
struct ManHead {
  std::string name;  ///< "pivotrace-fit"
  int section = 1;   ///< 1: commands; 7: everything else
  std::string version;
};

/// For `man`, with the macros of the package man (man(7)).
std::string man_page(std::string_view markdown, const ManHead& head);

/// The whole manual on one HTML page without scripts: a table of contents, then every page. Links from
/// page to page lead inside the book.
std::string html_book(const std::vector<Chapter>& parts, std::string_view version);

}  // namespace pivotrace::manual
