#include <CLI/CLI.hpp>
#include <exception>
#include <iostream>

#include "app/console.h"
#include "app/start.h"
#include "app/usage_advice.h"
#include "app/verbs.h"
#include "app/version.h"

namespace {

using pivotrace::app::Console;
using pivotrace::app::ExitCode;
using pivotrace::app::VerbAction;

constexpr const char* description =
    "pivotrace finds where a rotary axis of a milling machine really is and how far it leans,\n"
    "from touches of a probe, and writes the pivot values with an uncertainty that can be trusted.";

constexpr const char* footer =
    "A session:\n"
    "  pivotrace plan my.machine.toml -o my.plan.toml\n"
    "  pivotrace cycle my.plan.toml --control demo-control -o probe.nc --sheet probe.html\n"
    "  pivotrace rehearse probe.nc --machine my.machine.toml --plan my.plan.toml --control "
    "demo-control\n"
    "  (run it on the machine, bring the log back as my.touches.csv)\n"
    "  pivotrace check my.machine.toml my.touches.csv\n"
    "  pivotrace fit my.machine.toml my.touches.csv -o my.result.json\n"
    "  pivotrace write my.result.json --work-offset 2 --control ngc -o offsets.nc\n\n"
    "The manual: pivotrace help\n\n"
    "Exit codes: 0 done and good; 1 done, but out of limits or not usable; 2 usage or input "
    "wrong;\n"
    "3 cannot be solved from these data; 4 could not read or write; 5 internal error.";

Console console(pivotrace::app::Streams& streams) {
  Console console{std::cout, std::cerr};
  console.out_is_terminal = streams.out_is_terminal();
  console.err_is_terminal = streams.err_is_terminal();
  console.in = &streams.in();
  return console;
}

/// A full disk behind standard output shows only when the last byte is handed over.
bool all_was_shown(const Console& speaking) {
  speaking.out.flush();
  if (speaking.out.good()) return true;
  speaking.report({{pivotrace::ProblemNumber::cannot_write,
                    "the result could not be written to standard output",
                    {},
                    "check that the disk is not full, or keep the result with -o"}});
  return false;
}

int parse_and_run(const std::vector<std::string>& words, pivotrace::app::Streams& streams) {
  Console speaking = console(streams);
  VerbAction action;
  CLI::App app{description, "pivotrace"};
  app.footer(footer);
  app.set_version_flag("--version", std::string("pivotrace ") + pivotrace::app::version);
  app.require_subcommand(1);
  const auto labels = app.get_formatter();
  labels->label("SUBCOMMAND", "COMMAND");
  labels->label("Positionals", "Files");
  labels->label("REQUIRED", "(required)");
  labels->label("Excludes", "not with");
  pivotrace::app::add_all_verbs(app, speaking, action);
  try {
    app.parse(std::vector<std::string>(words.rbegin(), words.rend()));
  } catch (const CLI::ParseError& error) {
    // CLI11 has exit codes of its own from 100 up; help and version are not failures.
    if (error.get_exit_code() == 0) return app.exit(error);
    speaking.err << pivotrace::app::usage_advice(app, words, error) << '\n';
    return static_cast<int>(ExitCode::wrong_input);
  }
  const ExitCode code = action ? action() : ExitCode::wrong_input;
  return static_cast<int>(all_was_shown(speaking) ? code : ExitCode::cannot_access);
}

}  // namespace

int main(int argc, char** argv) {
  try {
    pivotrace::app::Streams streams;
    const std::vector<std::string> words = pivotrace::app::spoken_words(argc, argv);
    if (!pivotrace::app::opened_by_mouse(words)) return parse_and_run(words, streams);
    pivotrace::app::greet(pivotrace::system_file_calls());
    return 0;
  } catch (const std::exception& error) {
    std::cerr << "internal error: " << error.what()
              << "\n     this is a fault of pivotrace, not of your files; nothing was written\n";
    return static_cast<int>(ExitCode::internal);
  }
}
