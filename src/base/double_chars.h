// std::from_chars and std::to_chars for double, also where the standard library lacks them.
#pragma once

#include <charconv>
#include <string>

namespace pivotrace {

/// As std::from_chars(first, last, value): longest decimal number at `first`; value is left alone
/// when there is none or when no double can hold it.
std::from_chars_result double_from_chars(const char* first, const char* last, double& value);

/// As std::to_chars(value): of the texts with the fewest digits that read back as the same double the
/// shorter one, plain before scientific. Finite values only.
std::string double_to_chars(double value);

/// What double_to_chars does where the library has no such function: kept apart for its test.
std::string double_to_chars_by_digits(double value);

}  // namespace pivotrace
