#include <memory>
#include <ostream>

#include "app/check.h"
#include "app/clock.h"
#include "app/next_step.h"
#include "app/refusal.h"
#include "app/verbs.h"
#include "pivotrace/control/proof.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/control_sheet_file.h"
#include "pivotrace/formats/machine_file.h"

namespace pivotrace::app {

namespace {

struct CheckArguments {
  std::vector<std::string> files;
  std::string machine_file;
  bool json = false;
  std::string proof_file;
  bool apply = false;
};

void show(const FileCheck& check, const Console& console) {
  if (check.good()) {
    console.out << check.file << ": " << check.kind << ", good: " << check.summary;
  } else {
    console.report(check.problems);
  }
}

/// What the proof showed, slot by slot.
void show_proof(const ProofReading& reading, const Console& console) {
  for (const ProofLine& line : reading.lines) {
    const char* verdict = line.verdict == ProofVerdict::holds      ? "holds "
                          : line.verdict == ProofVerdict::no_value ? "no value"
                                                                   : "WRONG ";
    console.out << verdict << "  " << line.slot;
    if (line.verdict == ProofVerdict::fails) {
      console.out << ", found " << line.found << ", expected " << line.expected;
    }
    console.out << '\n';
  }
  for (const std::string& by_eye : reading.by_eye) console.out << "by eye  " << by_eye << '\n';
}

/// The machine file says which unit the proof ran in.
Expected<ProofRequest> proof_request(const std::string& machine_file, FileCalls& disk) {
  ProofRequest request;
  if (machine_file.empty()) return request;
  return read_machine(machine_file, disk).map([&](const Machine& machine) {
    request.inch = machine.inch;
    for (const RotaryAxis& axis : machine.rotary) request.rotary.push_back(axis.letter);
    return request;
  });
}

ExitCode keep_proof(const CheckArguments& arguments, const ControlSheet& sheet,
                    const std::string& text, const Console& console) {
  const std::string proven = with_proof(text, {utc_now(), sheet.fingerprint});
  if (!arguments.apply) {
    console.err << "all that can be read back holds; add --apply to note it in the sheet\n";
    return ExitCode::good;
  }
  const auto written = write_file(arguments.files.front(), proven, console.disk);
  if (!written) return refuse(console, written.error());
  console.err << "noted in " << arguments.files.front() << "; any change makes it unproven again\n";
  return ExitCode::good;
}

ExitCode check_proof(const CheckArguments& arguments, const Console& console) {
  if (arguments.files.size() != 1) {
    return refuse(console, {{ProblemNumber::bad_argument,
                             "--proof reads back the proof of one control sheet",
                             {},
                             "name one sheet: pivotrace check my.toml --proof LOG"}});
  }
  const auto text = read_file(arguments.files.front(), console.disk);
  if (!text) return refuse(console, text.error());
  const auto sheet = parse_control_sheet(*text, arguments.files.front());
  if (!sheet) return refuse(console, sheet.error());
  const auto request = proof_request(arguments.machine_file, console.disk);
  if (!request) return refuse(console, request.error());
  const auto record = read_file(arguments.proof_file, console.disk);
  if (!record) return refuse(console, record.error());
  const auto reading = read_proof(*sheet, *record, arguments.proof_file, *request);
  if (!reading) return refuse(console, reading.error());
  show_proof(*reading, console);
  if (reading->holds()) return keep_proof(arguments, *sheet, *text, console);
  console.err << "the sheet is wrong where it says so above: compare it with the manual\n";
  return ExitCode::not_good;
}

std::string first_of(const std::vector<FileCheck>& checks, const std::string& kind) {
  for (const FileCheck& check : checks) {
    if (check.kind == kind) return check.file;
  }
  return "";
}

/// What good files are for.
std::vector<std::string> next_words(const std::vector<FileCheck>& checks,
                                    const CheckArguments& arguments) {
  const std::string machine =
      arguments.machine_file.empty() ? first_of(checks, "machine file") : arguments.machine_file;
  const std::string touches = first_of(checks, "touch record");
  const std::string plan = first_of(checks, "plan");
  const std::string result = first_of(checks, "result");
  const std::string sheet = first_of(checks, "control sheet");
  if (!result.empty()) return {"report", result, "-o", beside(result, ".html")};
  if (!touches.empty()) {
    return {"fit", machine.empty() ? beside(touches, ".machine.toml") : machine, touches, "-o",
            beside(touches, ".result.json")};
  }
  if (!plan.empty()) return {"cycle", plan, "--control", "ngc", "-o", beside(plan, ".nc")};
  if (!sheet.empty()) return {"cycle", "--proof", sheet, "-o", "proof.nc"};
  if (!machine.empty()) return {"plan", machine, "-o", beside(machine, ".plan.toml")};
  return {};
}

ExitCode run(const CheckArguments& arguments, const Console& console) {
  if (!arguments.proof_file.empty()) return check_proof(arguments, console);
  const std::optional<std::string> machine_file =
      arguments.machine_file.empty() ? std::nullopt : std::optional(arguments.machine_file);
  const std::vector<FileCheck> checks = check_files(arguments.files, machine_file, console.disk);
  if (arguments.json) console.out << write_checks(checks);
  Problems problems;
  for (const FileCheck& check : checks) {
    if (!arguments.json) show(check, console);
    problems.insert(problems.end(), check.problems.begin(), check.problems.end());
  }
  if (problems.empty() && !arguments.json) {
    const std::vector<std::string> words = next_words(checks, arguments);
    if (!words.empty()) say_next(console, words);
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
  verb->add_option("--proof", arguments->proof_file,
                   "record or listing that the program of 'cycle --proof' left: FILE is its sheet")
      ->type_name("LOG");
  verb->add_flag("--apply", arguments->apply,
                 "with --proof: note in the sheet that it holds, with the date");
  verb->add_flag("--json", arguments->json, "print the outcome as JSON");
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
