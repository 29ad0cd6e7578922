#include <fmt/format.h>

#include <memory>
#include <ostream>

#include "app/completion.h"
#include "app/verb_pages.h"
#include "app/verbs.h"
#include "app/version.h"
#include "base/words.h"
#include "pivotrace/disk/file_name.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/manual/pages.h"
#include "pivotrace/manual/writers.h"

namespace pivotrace::app {

namespace {

struct HelpArguments {
  std::string topic;
  std::string book_file;
  std::string man_folder;
  std::string completion_folder;
};

std::string contents() {
  std::size_t width = 0;
  for (const std::string& topic : manual::topics()) width = std::max(width, topic.size());
  std::string text;
  for (const manual::Chapter& chapter : manual::chapters()) {
    text += chapter.title + '\n';
    for (const manual::ManualPage& page : chapter.pages) {
      text += fmt::format("  {:<{}}  {}\n", page.topic, width, manual::title_of(page.markdown));
    }
    text += '\n';
  }
  return text;
}

const CLI::App* find_verb(const CLI::App& program, const std::string& name) {
  for (const CLI::App* verb : program.get_subcommands({})) {
    if (verb->get_name() == name) return verb;
  }
  return nullptr;
}

/// What `help` can show.
std::vector<std::string> all_topics(const CLI::App& program) {
  std::vector<std::string> known = manual::topics();
  for (const CLI::App* verb : program.get_subcommands({})) {
    if (manual::find_page(verb->get_name()) == nullptr) known.push_back(verb->get_name());
  }
  return known;
}

Problem no_such_topic(const CLI::App& program, const std::string& topic) {
  const auto near = nearest_word(topic, all_topics(program));
  return {ProblemNumber::bad_argument,
          "there is no page \"" + excerpt(topic) + "\"",
          {},
          near ? "type: pivotrace help " + *near : "see all pages: pivotrace help"};
}

ExitCode show(const CLI::App& program, const std::string& topic, const Console& console) {
  if (topic.empty()) {
    console.out << contents();
    console.err << "read one: pivotrace help " << manual::topics().front()
                << "\nof a command: pivotrace fit --help\n";
    return ExitCode::good;
  }
  const CLI::App* verb = find_verb(program, topic);
  if (const manual::ManualPage* page = manual::find_page(topic)) {
    console.out << manual::screen_text(page->markdown);
    if (verb != nullptr) console.err << "its options: pivotrace " << topic << " --help\n";
    return ExitCode::good;
  }
  if (verb != nullptr) {
    console.out << manual::screen_text(verb_page(*verb));
    return ExitCode::good;
  }
  const Problem problem = no_such_topic(program, topic);
  console.report({problem});
  return exit_code_for({problem});
}

Expected<void> write_man_pages(const CLI::App& program, const std::string& folder,
                               FileCalls& disk) {
  const std::filesystem::path man1 = path_of(folder) / "man1";
  const std::filesystem::path man7 = path_of(folder) / "man7";
  std::error_code ignored;  // a folder that is not there shows when the first page is written
  std::filesystem::create_directories(man1, ignored);
  std::filesystem::create_directories(man7, ignored);
  Expected<void> written =
      write_file(name_of(man1 / "pivotrace.1"),
                 manual::man_page(program_page(program), {"pivotrace", 1, version}), disk);
  for (const CLI::App* verb : program.get_subcommands({})) {
    if (!written) return written;
    const std::string name = "pivotrace-" + verb->get_name();
    written = write_file(name_of(man1 / (name + ".1")),
                         manual::man_page(verb_page(*verb), {name, 1, version}), disk);
  }
  for (const manual::Chapter& chapter : manual::chapters()) {
    for (const manual::ManualPage& page : chapter.pages) {
      if (!written) return written;
      const std::string name = "pivotrace-" + page.topic;
      written = write_file(name_of(man7 / (name + ".7")),
                           manual::man_page(page.markdown, {name, 7, version}), disk);
    }
  }
  return written;
}

Expected<void> write_completions(const CLI::App& program, const std::string& folder,
                                 FileCalls& disk) {
  for (const CompletionFile& file : completion_files(program, all_topics(program))) {
    const std::filesystem::path path = path_of(folder) / file.place;
    std::error_code ignored;  // a folder that is not there shows when the file is written
    std::filesystem::create_directories(path.parent_path(), ignored);
    const Expected<void> written = write_file(name_of(path), file.text, disk);
    if (!written) return written;
  }
  return {};
}

ExitCode run(const HelpArguments& arguments, const CLI::App& program, const Console& console) {
  if (arguments.book_file.empty() && arguments.man_folder.empty() &&
      arguments.completion_folder.empty()) {
    return show(program, arguments.topic, console);
  }
  Expected<void> written;
  if (!arguments.completion_folder.empty()) {
    written = write_completions(program, arguments.completion_folder, console.disk);
  }
  if (written && !arguments.man_folder.empty()) {
    written = write_man_pages(program, arguments.man_folder, console.disk);
  }
  if (written && !arguments.book_file.empty()) {
    written = deliver(console, arguments.book_file, manual::html_book(book_of(program), version));
  }
  if (written) return ExitCode::good;
  console.report(written.error());
  return exit_code_for(written.error());
}

}  // namespace

void add_help_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<HelpArguments>();
  CLI::App* verb = app.add_subcommand("help", "Show a page of the manual, or all of them");
  verb->footer(
      "Example:\n"
      "  pivotrace help                    lists the pages\n"
      "  pivotrace help fourth-axis        shows one\n"
      "  pivotrace help --book manual.html keeps the whole manual as one page for a browser");
  verb->add_option("TOPIC", arguments->topic, "page to show; without it: the list of pages")
      ->type_name("WORD");
  verb->add_option("--book", arguments->book_file, "write the whole manual here (HTML)")
      ->type_name("FILE");
  verb->add_option("--man", arguments->man_folder, "write man pages into this folder")
      ->type_name("FOLDER");
  verb->add_option("--completions", arguments->completion_folder,
                   "write what bash, zsh and fish complete into this folder")
      ->type_name("FOLDER");
  verb->callback([arguments, &app, &console, &action] {
    action = [arguments, &app, &console] { return run(*arguments, app, console); };
  });
}

}  // namespace pivotrace::app
