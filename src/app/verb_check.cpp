#include <memory>
#include <ostream>

#include "app/check.h"
#include "app/verbs.h"

namespace pivotrace::app {

namespace {

struct CheckArguments {
  std::vector<std::string> files;
  std::string machine_file;
  bool json = false;
};

void show(const FileCheck& check, const Console& console) {
  if (check.good()) {
    console.out << check.file << ": " << check.kind << ", good: " << check.summary;
  } else {
    console.report(check.problems);
  }
}

ExitCode run(const CheckArguments& arguments, const Console& console) {
  const std::optional<std::string> machine_file =
      arguments.machine_file.empty() ? std::nullopt : std::optional(arguments.machine_file);
  const std::vector<FileCheck> checks = check_files(arguments.files, machine_file, console.disk);
  if (arguments.json) console.out << write_checks(checks);
  Problems problems;
  for (const FileCheck& check : checks) {
    if (!arguments.json) show(check, console);
    problems.insert(problems.end(), check.problems.begin(), check.problems.end());
  }
  return problems.empty() ? ExitCode::good : exit_code_for(problems);
}

}  // namespace

void add_check_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<CheckArguments>();
  CLI::App* verb = app.add_subcommand(
      "check", "Check machine files, touch records and results, and say what they contain");
  verb->footer(
      "Example:\n"
      "  pivotrace check fourth-axis.machine.toml fourth-axis.touches.csv\n"
      "says in plain words what both files contain, or lists everything that is wrong with them,\n"
      "each with line, column and what to do. Touch records and truth files are checked against\n"
      "the machine file named with --machine, or against the one among FILE...; without one, only\n"
      "what needs no machine is checked. Nothing is changed.\n"
      "Exit code 2: something in a file is wrong. Exit code 4: a file cannot be read.");
  verb->add_option("FILE", arguments->files, "files to check, of any kind")->required();
  verb->add_option("-m,--machine", arguments->machine_file,
                   "machine file the touch records and truth files belong to")
      ->type_name("FILE");
  verb->add_flag("--json", arguments->json, "print the outcome as JSON");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
