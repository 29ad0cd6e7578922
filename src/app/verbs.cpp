#include "app/verbs.h"

#include "app/option_words.h"
#include "app/usage_advice.h"

namespace pivotrace::app {

void add_all_verbs(CLI::App& app, Console& console, VerbAction& action) {
  add_new_verb(app, console, action);
  add_check_verb(app, console, action);
  add_plan_verb(app, console, action);
  add_cycle_verb(app, console, action);
  add_rehearse_verb(app, console, action);
  add_fit_verb(app, console, action);
  add_compare_verb(app, console, action);
  add_history_verb(app, console, action);
  add_write_verb(app, console, action);
  add_confirm_verb(app, console, action);
  add_judge_verb(app, console, action);
  add_report_verb(app, console, action);
  add_reseat_verb(app, console, action);
  add_shim_verb(app, console, action);
  add_help_verb(app, console, action);
  for (CLI::App* verb : app.get_subcommands({})) {
    verb->group("Commands");
    accept_typed_names(*verb);
    keep_options_apart(*verb);
    verb->parse_complete_callback([verb, &console] {
      console.what_to_type = [verb, &console](const Problems& problems) {
        return wrong_file_advice(*verb, problems, console.disk);
      };
    });
  }
}

}  // namespace pivotrace::app
