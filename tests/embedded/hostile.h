// Random and hostile input for the core: whatever the bytes say, a status and no wild number.
#pragma once

#include <cstdint>
#include <string>

#include "board.h"

namespace pivotrace::testing {

/// One input made from this seed, sent to the build. Empty when all is well, else what went wrong.
std::string hostile_trial(const Build& build, std::uint64_t seed);

}  // namespace pivotrace::testing
