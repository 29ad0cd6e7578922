// The pages of the manual, carried by the program: one source for the screen, man pages and the book.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace pivotrace::manual {

/// A page as it is written (Markdown): what `pivotrace help TOPIC` shows.
struct ManualPage {
  std::string topic;     ///< one word; the name of its file in src/manual without .md
  std::string markdown;  ///< begins with "# title"
};

/// What a reader looks for: a job to be done, or something to look up.
struct Chapter {
  std::string title;
  std::vector<ManualPage> pages;
};

/// The whole manual in the order of the book.
const std::vector<Chapter>& chapters();

/// The page of this topic, or null.
const ManualPage* find_page(std::string_view topic);

/// All topics, in the order of the book.
std::vector<std::string> topics();

/// The first line of a page without its mark.
std::string title_of(std::string_view markdown);

}  // namespace pivotrace::manual
