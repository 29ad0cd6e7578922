// The opening every TOML input file shares: `format = 1`, `units`, and no unknown keys.
#pragma once

#include "formats/toml_reader.h"

namespace pivotrace::formats {

enum class Units {
  required,
  optional,  ///< mm when absent
};

/// Checks `format`. False when the file is newer than this program: then nothing else in it can be
/// trusted.
bool format_is_known(TomlTable& top);

/// Checks `format`, reads `units` into the table's length factor. False when the format is newer
/// than this program: then nothing else in the file can be trusted.
bool read_opening(TomlTable& top, Units units);

/// True when the file states inches.
bool in_inches(const TomlTable& top);

}  // namespace pivotrace::formats
