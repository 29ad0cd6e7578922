// What a shell offers: every command and option stands in all three files, and bash itself completes.
#include <doctest/doctest.h>

#include <cstdlib>
#include <fstream>
#include <iostream>

#include "app/completion.h"
#include "app/option_words.h"
#include "app/verbs.h"
#include "formats/scratch_folder.h"

using namespace pivotrace;
using namespace pivotrace::app;

namespace {

class Program {
 public:
  Program() { add_all_verbs(app_, console_, action_); }
  const CLI::App& app() const { return app_; }

 private:
  Console console_{std::cout, std::cerr};
  VerbAction action_;
  CLI::App app_{"", "pivotrace"};
};

/// What bash puts in place of the last of these words.
std::string completed(const std::string& folder, const std::string& words, int at) {
  const std::string script = "cd " + folder + " && source ./bash && COMP_WORDS=(" + words +
                             ") COMP_CWORD=" + std::to_string(at) +
                             " && _pivotrace && echo \"${COMPREPLY[*]}\" >said";
  std::ofstream(folder + "/ask") << script;
  REQUIRE(std::system(("bash " + folder + "/ask").c_str()) == 0);
  std::string said;
  std::ifstream stream(folder + "/said");
  std::getline(stream, said);
  return said;
}

}  // namespace

TEST_CASE("Every command and option can be completed in every shell") {
  const Program program;
  const auto files = completion_files(program.app(), {"sheet"});
  REQUIRE(files.size() == 3);
  for (const CompletionFile& file : files) {
    CAPTURE(file.place);
    for (const CLI::App* verb : program.app().get_subcommands({})) {
      CHECK(file.text.find(verb->get_name()) != std::string::npos);
      for (const CLI::Option* option : verb->get_options()) {
        for (const std::string& name : option->get_lnames()) {
          const bool fish = file.place.ends_with(".fish");
          CHECK(file.text.find((fish ? "-l " : "--") + name) != std::string::npos);
        }
      }
    }
  }
}

TEST_CASE("Every option that names a file says so") {
  // Else a shell offers nothing, and on Windows its name would travel as it was typed.
  const Program program;
  for (const CLI::App* verb : program.app().get_subcommands({})) {
    for (const CLI::Option* option : verb->get_options()) {
      const std::string about = option->get_description();
      const bool of_files = about.find(" here") != std::string::npos ||
                            about.find("file (*.") != std::string::npos ||
                            about.find("control sheet") != std::string::npos;
      if (!of_files || !takes_word(*option)) continue;
      CAPTURE(verb->get_name() + " " + option->get_name());
      CHECK((named_by(*option).file || option->get_name() == "--start"));
    }
  }
}

TEST_CASE("bash completes commands, options, their words, files and pages") {
  const Program program;
  const test::ScratchFolder folder;
  std::ofstream(folder.file("bash"))
      << completion_files(program.app(), {"sheet", "shim"}).front().text;
  std::ofstream(folder.file("two words.machine.toml")) << "";
  const auto bash = [&](const std::string& words, int at) {
    return completed(folder.file("."), words, at);
  };
  CHECK(bash("pivotrace reh", 1) == "rehearse");
  CHECK(bash("pivotrace plan --for cr", 3) == "crash");
  CHECK(bash("pivotrace cycle --control ng", 3) == "ngc");
  CHECK(bash("pivotrace fit --json two", 3) == "two words.machine.toml");
  CHECK(bash("pivotrace fit two", 2) == "two words.machine.toml");
  CHECK(bash("pivotrace fit --ke", 2) == "--keep-all");
  CHECK(bash("pivotrace fit --trials ''", 3).empty());
  CHECK(bash("pivotrace help sh", 2) == "sheet shim");
}
