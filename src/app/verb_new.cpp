#include <algorithm>
#include <cctype>
#include <filesystem>
#include <istream>
#include <memory>
#include <optional>
#include <ostream>

#include "app/control_sheets.h"
#include "app/demo_files.h"
#include "app/machine_guide.h"
#include "app/next_step.h"
#include "app/refusal.h"
#include "app/verbs.h"
#include "base/words.h"
#include "pivotrace/control/slots.h"
#include "pivotrace/disk/file_name.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/control_sheet_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/sheet_answer.h"

namespace pivotrace::app {

namespace {

struct NewArguments {
  std::string control_file;
  std::string machine_file;
  std::string demo;
  std::string from;  ///< machine file or control sheet to begin with
  std::string rows_file;
  bool defaults = false;
  Answers answers;  ///< given as options
};

/// A line as typed, without its end; nothing when the user leaves.
std::optional<std::string> typed_line(const Console& console) {
  std::string answer;
  if (console.in == nullptr || !std::getline(*console.in, answer)) return std::nullopt;
  if (!answer.empty() && answer.back() == '\r') answer.pop_back();
  if (answer == "leave") return std::nullopt;
  return answer;
}

/// The sheet as left off, or a copy of the one to fill in.
/// A sheet begun from a shipped one is the shop's from now on: it bears the name of its file, not that of
/// the pattern. Names with signs of their own stay for the user to write.
std::string renamed(std::string text, const std::string& file) {
  const std::string name = name_of(path_of(file).stem());
  const bool plain = std::ranges::all_of(name, [](unsigned char c) {
    return std::isalnum(c) != 0 || c == '-' || c == '_' || c == ' ';
  });
  const auto replace = [&text](const std::string& line, const std::string& with) {
    if (const std::size_t at = text.find(line); at != std::string::npos) {
      text.replace(at, line.size(), with);
    }
  };
  if (!plain || name.empty()) return text;
  replace("\nname = \"macro\"\n", "\nname = \"" + name + "\"\n");
  replace("\ntitle = \"to fill in: numbered variables, the rest open\"\n",
          "\ntitle = \"filled in from the manual of the control\"\n");
  return text;
}

Expected<std::string> sheet_to_fill(const NewArguments& arguments, FileCalls& disk) {
  const Expected<std::string> begun = read_file(arguments.control_file, disk);
  if (begun || begun.error().front().number != ProblemNumber::cannot_read) return begun;
  return control_sheet_text(arguments.from.empty() ? "macro" : arguments.from, disk)
      .map([&](const SheetText& sheet) { return renamed(sheet.text, arguments.control_file); });
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
    const std::optional<std::string> answer = typed_line(console);
    if (!answer) return false;
    if (answer->empty()) return true;
    const Expected<std::string> changed = answered(text, slot, *answer);
    if (changed) {
      text = *changed;
      return true;
    }
    console.report(changed.error());
  }
}

/// Asks until the answer is good. Nothing: the user leaves.
std::optional<std::string> settle(const Question& question, const std::string& usual,
                                  const Console& console) {
  while (true) {
    console.err << '\n'
                << question.text << "\n  " << question.why << "\n  Enter alone: " << usual
                << "\n> ";
    console.err.flush();
    std::optional<std::string> answer = typed_line(console);
    if (!answer) return std::nullopt;
    if (answer->empty()) answer = usual;
    const std::string wrong = complaint(question, *answer);
    if (wrong.empty()) return answer;
    console.err << "  " << wrong << '\n';
  }
}

/// The answers of an older file, or none.
Expected<Answers> older_answers(const NewArguments& arguments, FileCalls& disk) {
  if (arguments.from.empty()) return Answers{};
  return read_machine(arguments.from, disk).map(answers_of);
}

/// An answer for every question: from an option, from the older file or the usual one, or asked for.
Expected<std::optional<Answers>> all_answers(const NewArguments& arguments,
                                             const Console& console) {
  const Expected<Answers> older = older_answers(arguments, console.disk);
  if (!older) return tl::make_unexpected(older.error());
  Answers answers;
  for (const Question& question : machine_questions()) {
    if (!is_asked(question, answers)) continue;
    const std::string& key = question.key;
    const auto old = older->find(key);
    const std::string usual = old != older->end() ? old->second : default_answer(question, answers);
    if (const auto given = arguments.answers.find(key); given != arguments.answers.end()) {
      const std::string wrong = complaint(question, given->second);
      if (!wrong.empty()) {
        return failure({ProblemNumber::bad_argument, "--" + key + ": " + wrong, {}, question.text});
      }
      answers[key] = given->second;
    } else if (arguments.defaults) {
      answers[key] = usual;
    } else {
      const std::optional<std::string> answer = settle(question, usual, console);
      if (!answer) return std::optional<Answers>();
      answers[key] = *answer;
    }
  }
  return std::optional<Answers>(answers);
}

Expected<void> must_be_new(const std::string& file, const std::string& advice,
                           const Console& console) {
  const Expected<std::string> there = read_file(file, console.disk);
  if (!there && there.error().front().number == ProblemNumber::cannot_read) return {};
  return failure({ProblemNumber::bad_argument, file + " is there already", {}, advice});
}

Expected<void> write_new(const std::string& file, const std::string& text, const Console& console) {
  const auto is_new = must_be_new(file, "choose another name: nothing is overwritten", console);
  if (!is_new) return is_new;
  const auto written = write_file(file, text, console.disk);
  if (written) console.err << "wrote " << file << '\n';
  return written;
}

ExitCode run_machine(const NewArguments& arguments, const Console& console) {
  if (!arguments.defaults) {
    console.err << "Enter alone takes what is offered, 'leave' ends and writes nothing.\n";
  }
  const auto answers = all_answers(arguments, console);
  if (!answers) return refuse(console, answers.error());
  if (!*answers) {
    console.err << "\nleft: nothing is written\n";
    return ExitCode::good;
  }
  const std::string text = machine_text(**answers);
  const Expected<Machine> machine = parse_machine(text, arguments.machine_file);
  if (!machine) return refuse(console, machine.error());
  const auto written = write_new(arguments.machine_file, text, console);
  if (!written) return refuse(console, written.error());
  if (!arguments.rows_file.empty()) {
    const auto rows = write_new(arguments.rows_file, rows_to_fill(**answers), console);
    if (!rows) return refuse(console, rows.error());
    console.err << "fill in its rows, then\n";
    say_next(console, {"fit", arguments.machine_file, arguments.rows_file, "-o",
                       beside(arguments.rows_file, ".result.json")});
    return ExitCode::good;
  }
  console.err << "a bore, a flat, a cylinder in the way: pivotrace help files\n";
  say_next(console, {"check", arguments.machine_file});
  return ExitCode::good;
}

Expected<Demo> named_demo(const std::string& name) {
  std::vector<std::string> names;
  for (const Demo& demo : demos()) {
    if (demo.name == name) return demo;
    names.push_back(demo.name);
  }
  const auto near = nearest_word(name, names);
  return failure(
      {ProblemNumber::bad_argument,
       "there is no demo \"" + name + '"',
       {},
       near ? "type: " + command_line({"new", "--demo", *near}) : "there are: " + joined(names)});
}

/// A demo is followed beside another one: a file that both have stays.
Expected<bool> is_there_already(const CarriedFile& file, const Console& console) {
  const Expected<std::string> there = read_file(file.name, console.disk);
  if (there && *there == file.text) return true;
  const auto is_new = must_be_new(file.name, "work in an empty folder", console);
  return is_new ? Expected<bool>(false) : tl::make_unexpected(is_new.error());
}

/// All files of a demo, or none of them where one of another kind has its name.
ExitCode run_demo(const std::string& name, const Console& console) {
  const Expected<Demo> demo = named_demo(name);
  if (!demo) return refuse(console, demo.error());
  const std::vector<CarriedFile> files = files_of(*demo);
  std::vector<CarriedFile> missing;
  for (const CarriedFile& file : files) {
    const auto there = is_there_already(file, console);
    if (!there) return refuse(console, there.error());
    if (!*there) missing.push_back(file);
  }
  for (const CarriedFile& file : missing) {
    const auto written = write_file(file.name, file.text, console.disk);
    if (!written) return refuse(console, written.error());
    console.err << "wrote " << file.name << '\n';
  }
  console.err << "a demo, all of it invented: never load its programs into a machine\n";
  say_next(console, {"check", files.front().name});
  return ExitCode::good;
}

ExitCode run(const NewArguments& arguments, const Console& console) {
  const int asked = static_cast<int>(!arguments.control_file.empty()) +
                    static_cast<int>(!arguments.machine_file.empty()) +
                    static_cast<int>(!arguments.demo.empty());
  if (asked != 1) {
    return refuse(console, {{ProblemNumber::bad_argument,
                             "say what is new: a machine file, a control sheet, or a demo",
                             {},
                             "type: pivotrace new my.machine.toml, or pivotrace new --control "
                             "my-mill.toml, or pivotrace new --demo fourth-axis"}});
  }
  if (!arguments.demo.empty()) return run_demo(arguments.demo, console);
  if (!arguments.machine_file.empty()) return run_machine(arguments, console);
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
  console.err << "\nwrote " << arguments.control_file << '\n';
  const Expected<ControlSheet> filled = parse_control_sheet(*text, arguments.control_file);
  if (filled && !open_slots(*filled).empty()) {
    console.err << "some questions are still open; see which, and what each is needed for\n";
    say_next(console, {"check", arguments.control_file});
    return ExitCode::good;
  }
  console.err << "then prove it on the control\n";
  say_next(console, {"cycle", "--proof", arguments.control_file, "-o", "proof.nc"});
  return ExitCode::good;
}

std::string list_of_demos() {
  std::string list;
  for (const Demo& demo : demos()) {
    list += "  " + demo.name + std::string(14 - demo.name.size(), ' ') + demo.meaning + '\n';
  }
  return list;
}

}  // namespace

void add_new_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<NewArguments>();
  CLI::App* verb = app.add_subcommand(
      "new",
      "Make a machine file, or fill in a control sheet, question by question; or get a demo");
  verb->footer(
      "Examples:\n"
      "  pivotrace new my.machine.toml --rows my.touches.csv\n"
      "asks what a setter can answer, offers what is usual, checks as it goes, and writes the "
      "machine\n"
      "file and a touch record to fill in by hand. Every answer is an option as well.\n"
      "  pivotrace new other.machine.toml --from my.machine.toml --defaults --letter B\n"
      "takes the answers of an older file, but for those given here.\n"
      "  pivotrace new --control my-mill.toml\n"
      "asks what the manual of your control answers: how a variable is set, how a line is written\n"
      "to a file, which variables hold the position. Every answer is kept at once; leave with\n"
      "'leave' and go on later with the same command. The sheet begins as macro, which knows the\n"
      "words of ISO 6983; --from blank asks for every word, for a control of another language.\n"
      "  pivotrace new --demo fourth-axis\n"
      "writes the files of a demo into this folder, to follow the manual with; all invented.\n" +
      list_of_demos());
  verb->add_option("MACHINE_FILE", arguments->machine_file,
                   "the machine file to make (*.machine.toml)")
      ->type_name("FILE");
  verb->add_option("--demo", arguments->demo,
                   "write the files of a demo into this folder: fourth-axis, trunnion, "
                   "swivel-head, pin-in-chuck, spoiled or year")
      ->type_name("DEMO");
  verb->add_option("--control", arguments->control_file, "the control sheet to fill in")
      ->type_name("FILE");
  verb->add_option(
          "--from", arguments->from,
          "begin with the answers of this machine file; with --control: with this sheet, macro "
          "or blank")
      ->type_name("FILE|SHEET");
  verb->add_option("--rows", arguments->rows_file, "also write a touch record to fill in by hand")
      ->type_name("FILE");
  verb->add_flag("--defaults", arguments->defaults, "ask nothing: take what is offered");
  for (const Question& question : machine_questions()) {
    verb->add_option_function<std::string>(
            "--" + question.key,
            [arguments, key = question.key](const std::string& answer) {
              arguments->answers[key] = answer;
            },
            question.text)
        ->type_name(question.choices.empty() ? "TEXT" : "WORD");
  }
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
