#include "app/console.h"

#include <fstream>
#include <ostream>

namespace pivotrace::app {

void Console::report(const Problems& problems) const {
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

Expected<bool> deliver(const Console& console, const std::string& file, const std::string& text) {
  if (file.empty() || file == "-") {
    console.out << text;
    return true;
  }
  std::ofstream stream(file, std::ios::binary);
  stream << text;
  stream.close();
  if (!stream) {
    return failure(
        {ProblemNumber::cannot_write,
         "this file cannot be written",
         {file, 0, 0},
         "check that the folder exists, that you may write there and that the disk is not full"});
  }
  return true;
}

}  // namespace pivotrace::app
