// Reads conditions key by key; the machine file and the touch record use the same words.
#pragma once

#include <functional>

#include "formats/toml_reader.h"
#include "pivotrace/machine/conditions.h"

namespace pivotrace::formats {

/// `[conditions]` of a machine file; problems are collected in the table's list.
Conditions read_conditions(TomlTable& table);

/// Keys of conditions in the preamble of a touch record.
const std::vector<std::string>& condition_keys();

/// One such line. `report(what, advice)` is called where the value is none.
void read_condition(const std::string& key, std::string_view value, Conditions& conditions,
                    const std::function<void(std::string, std::string)>& report);

}  // namespace pivotrace::formats
