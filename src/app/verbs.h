// One function per verb of the program; each lives in verb_<name>.cpp.
#pragma once

#include <CLI/CLI.hpp>

#include "app/console.h"

namespace pivotrace::app {

/// Adds every verb, in the order a user meets them. `console` and `action` must outlive `app`.
void add_all_verbs(CLI::App& app, Console& console, VerbAction& action);

void add_new_verb(CLI::App& app, Console& console, VerbAction& action);
void add_check_verb(CLI::App& app, Console& console, VerbAction& action);
void add_plan_verb(CLI::App& app, Console& console, VerbAction& action);
void add_cycle_verb(CLI::App& app, Console& console, VerbAction& action);
void add_rehearse_verb(CLI::App& app, Console& console, VerbAction& action);
void add_fit_verb(CLI::App& app, Console& console, VerbAction& action);
void add_compare_verb(CLI::App& app, Console& console, VerbAction& action);
void add_confirm_verb(CLI::App& app, Console& console, VerbAction& action);
void add_history_verb(CLI::App& app, Console& console, VerbAction& action);
void add_write_verb(CLI::App& app, Console& console, VerbAction& action);
void add_judge_verb(CLI::App& app, Console& console, VerbAction& action);
void add_report_verb(CLI::App& app, Console& console, VerbAction& action);
void add_reseat_verb(CLI::App& app, Console& console, VerbAction& action);
void add_help_verb(CLI::App& app, Console& console, VerbAction& action);
void add_shim_verb(CLI::App& app, Console& console, VerbAction& action);

}  // namespace pivotrace::app
