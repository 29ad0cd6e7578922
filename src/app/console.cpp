#include "app/console.h"

#include <ostream>

#include "pivotrace/disk/text_file.h"

namespace pivotrace::app {

void Console::report(const Problems& problems) const {
  if (what_to_type) {
    if (const auto line = what_to_type(problems)) {
      err << *line << '\n';
      return;
    }
  }
  for (const Problem& problem : problems) err << describe(problem) << '\n';
}

ExitCode exit_code_for(const Problems& problems) {
  ExitCode code = ExitCode::internal;
  for (const Problem& problem : problems) {
    const int hundreds = static_cast<int>(problem.number) / 100;
    if (hundreds == 6) return ExitCode::cannot_access;
    code = hundreds == 2 || hundreds == 3 ? ExitCode::cannot_solve : ExitCode::wrong_input;
  }
  return code;
}

Expected<void> deliver(const Console& console, const std::string& file, const std::string& text) {
  if (!file.empty() && file != "-") return write_file(file, text, console.disk);
  console.out << text;
  return {};
}

}  // namespace pivotrace::app
