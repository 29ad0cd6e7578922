#include <istream>
#include <memory>
#include <ostream>

#include "app/control_sheets.h"
#include "app/refusal.h"
#include "app/verbs.h"
#include "pivotrace/control/slots.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/control_sheet_file.h"
#include "pivotrace/formats/sheet_answer.h"

namespace pivotrace::app {

namespace {

struct NewArguments {
  std::string control_file;
  std::string from = "macro";
};

/// The sheet as left off, or a copy of the one to fill in.
Expected<std::string> sheet_to_fill(const NewArguments& arguments, FileCalls& disk) {
  const Expected<std::string> begun = read_file(arguments.control_file, disk);
  if (begun || begun.error().front().number != ProblemNumber::cannot_read) return begun;
  return find_control_sheet(arguments.from, control_sheet_folders(disk), disk)
      .and_then([&](const std::string& path) { return read_file(path, disk); });
}

void ask(const Slot& slot, const Console& console) {
  console.err << '\n'
              << slot.name() << ": " << slot.question << "\n  needed for " << slot.needed_for
              << '\n';
  if (!slot.without.empty()) console.err << "  without it: " << slot.without << '\n';
  console.err << "  answer with " << answer_form(slot);
  if (!slot.example.empty()) console.err << ", for example " << slot.example;
  console.err << "\n> ";
  console.err.flush();
}

/// Asks one question until it is answered or left open. False: the user leaves.
bool settle(const Slot& slot, std::string& text, const Console& console) {
  while (true) {
    ask(slot, console);
    std::string answer;
    if (console.in == nullptr || !std::getline(*console.in, answer)) return false;
    if (!answer.empty() && answer.back() == '\r') answer.pop_back();
    if (answer == "leave") return false;
    if (answer.empty()) return true;
    const Expected<std::string> changed = answered(text, slot, answer);
    if (changed) {
      text = *changed;
      return true;
    }
    console.report(changed.error());
  }
}

ExitCode run(const NewArguments& arguments, const Console& console) {
  Expected<std::string> text = sheet_to_fill(arguments, console.disk);
  if (!text) return refuse(console, text.error());
  const Expected<ControlSheet> sheet = parse_control_sheet(*text, arguments.control_file);
  if (!sheet) return refuse(console, sheet.error());
  console.err << "Answer with the control's manual beside you. Enter alone leaves a question open, "
                 "\"\" answers nothing at all, 'leave' ends; ask again later with the same "
                 "command.\n";
  bool more = true;
  for (const Slot* slot : open_slots(*sheet)) {
    if (!more) break;
    if (!slot->is_asked()) continue;
    more = settle(*slot, *text, console);
    const auto written = write_file(arguments.control_file, *text, console.disk);
    if (!written) return refuse(console, written.error());
  }
  console.err << "\nwrote " << arguments.control_file
              << "; see what is still open: pivotrace check " << arguments.control_file
              << "\nthen prove it: pivotrace cycle --proof " << arguments.control_file << '\n';
  return ExitCode::good;
}

}  // namespace

void add_new_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<NewArguments>();
  CLI::App* verb = app.add_subcommand("new", "Fill in a control sheet, question by question");
  verb->footer(
      "Example:\n"
      "  pivotrace new --control my-mill.toml\n"
      "asks what the manual of your control answers: how a variable is set, how a line is written\n"
      "to a file, which variables hold the position. Every answer is kept at once; leave with\n"
      "'leave' and go on later with the same command. The sheet begins as macro, which knows the\n"
      "words of ISO 6983; --from blank asks for every word, for a control of another language.");
  verb->add_option("--control", arguments->control_file, "the control sheet to fill in")
      ->type_name("FILE")
      ->required();
  verb->add_option("--from", arguments->from, "control sheet a new one begins as: macro or blank")
      ->type_name("SHEET")
      ->capture_default_str();
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
