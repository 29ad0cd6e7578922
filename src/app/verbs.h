// One function per verb of the program; each lives in verb_<name>.cpp.
#pragma once

#include <CLI/CLI.hpp>

#include "app/console.h"

namespace pivotrace::app {

void add_check_verb(CLI::App& app, Console& console, VerbAction& action);
void add_fit_verb(CLI::App& app, Console& console, VerbAction& action);
void add_write_verb(CLI::App& app, Console& console, VerbAction& action);

}  // namespace pivotrace::app
