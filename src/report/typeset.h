// What a page can print and a screen of plain letters cannot.
#pragma once

#include <string>
#include <string_view>

namespace pivotrace::report {

/// The words of a screen with µm for um, ± for +-, the true minus before a number, and no marks round what is
/// typed: a page shows none.
std::string typeset(std::string_view text);

/// A sentence that begins with a capital.
std::string sentence(std::string_view text);

/// The text as a string of a style sheet holds it, between its quotes.
std::string css_string(std::string_view text);

}  // namespace pivotrace::report
