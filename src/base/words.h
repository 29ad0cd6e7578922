// Small helpers on text: letters, excerpts for messages, places in a text, near misses.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "pivotrace/base/problem.h"

namespace pivotrace {

/// ASCII only, so that the result does not depend on the user's language settings.
std::string lower_case(std::string_view text);

/// Without spaces and tabs at both ends.
std::string_view trimmed(std::string_view text);

/// At most 40 characters for a message, control characters made visible.
std::string excerpt(std::string_view text);

/// The file's name without its folders.
std::string base_name(std::string_view path);

/// Line and column (both from 1, column in characters) of a byte. Lines end at LF, CR or CRLF.
Place place_of(std::string_view text, std::size_t offset);

/// Number of single-letter insertions, deletions, replacements and swaps of neighbours between two
/// words, upper and lower case alike (optimal string alignment distance).
std::size_t edit_distance(std::string_view first, std::string_view second);

/// The candidate that `word` was probably meant to be, if one is near enough.
std::optional<std::string> nearest_word(std::string_view word,
                                        const std::vector<std::string>& candidates);

/// Up to `count` candidates, nearest first; as they stand among equals.
std::vector<std::string> nearest_words(std::string_view word,
                                       const std::vector<std::string>& candidates,
                                       std::size_t count);

/// "did you mean `station_sigma`?", or the list of all candidates when none is near.
std::string did_you_mean(std::string_view word, const std::vector<std::string>& candidates);

/// "a, b, c"
std::string joined(const std::vector<std::string>& words);

}  // namespace pivotrace
