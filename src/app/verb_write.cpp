#include <memory>
#include <ostream>

#include "app/clock.h"
#include "app/control_sheets.h"
#include "app/next_step.h"
#include "app/refusal.h"
#include "app/verbs.h"
#include "base/cautions.h"
#include "base/wrapped_text.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/control_sheet_file.h"
#include "pivotrace/formats/mapping_file.h"
#include "pivotrace/formats/patch_apply.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/formats/value_table.h"
#include "pivotrace/pivots/offset_program.h"
#include "pivotrace/pivots/patch.h"
#include "pivotrace/report/patch_text.h"
#include "pivotrace/report/pivot_value_text.h"
#include "pivotrace/report/value_template.h"

namespace pivotrace::app {

namespace {

struct WriteArguments {
  std::string result_file;
  std::string output;
  std::string form = "program";
  bool list = false;
  bool json = false;
  std::string units;  ///< empty: those of the machine file
  std::string axis;
  std::string foot;
  std::optional<int> work_offset;
  std::string control;
  bool simulated = false;
  std::string template_file;
  std::string patch_file;
  std::vector<std::string> mapping_files;
  std::vector<std::string> verify_files;
  bool apply = false;
  bool dry_run = false;
  PatchPermissions permissions;
};

ExitCode bad_arguments(const Console& console, const std::string& what, const std::string& advice) {
  return refuse(console, {{ProblemNumber::bad_argument, what, {}, advice}});
}

ExitCode put(const Console& console, const WriteArguments& arguments,
             const Expected<std::string>& text) {
  if (!text) return refuse(console, text.error());
  const auto delivered = deliver(console, arguments.output, *text);
  if (!delivered) return refuse(console, delivered.error());
  if (!arguments.output.empty() && arguments.output != "-") {
    console.err << "wrote " << arguments.output << '\n';
  }
  return ExitCode::good;
}

void say_confirm(const Console& console, const WriteArguments& arguments, const FitResult& result) {
  say_next(console, {"confirm", arguments.result_file, "--machine",
                     machine_file_of(result, arguments.result_file), "--plan-file",
                     beside(arguments.result_file, ".confirm.plan.toml")});
}

/// What was kept is put where it is used, and proven there.
ExitCode put_to_use(const Console& console, const WriteArguments& arguments,
                    const FitResult& result, const Expected<std::string>& text) {
  const ExitCode code = put(console, arguments, text);
  if (code != ExitCode::good || !is_kept(arguments.output)) return code;
  console.err << "once they are in use, prove the values by a few touches\n";
  say_confirm(console, arguments, result);
  return code;
}

ExitCode write_list(const Console& console, const WriteArguments& arguments,
                    const FitResult& result) {
  const LengthUnit unit = length_unit(arguments.units, result);
  if (arguments.json) {
    return put(console, arguments, value_table(result, {TableFormat::json, unit, utc_now()}));
  }
  const auto values = pivot_values(result);
  if (!values) return refuse(console, values.error());
  const ExitCode code = put(console, arguments, list_pivot_values(*values, unit, result.simulated));
  std::vector<std::string> words = {"write", arguments.result_file, "--work-offset", "1"};
  if (result.axes.size() > 1) words.insert(words.end(), {"--axis", {result.axes.back().letter}});
  words.insert(words.end(),
               {"--control", "ngc", "-o", beside(arguments.result_file, ".offsets.nc")});
  if (result.simulated) words.emplace_back("--simulated");
  say_next(console, words);
  return code;
}

ExitCode write_program(const Console& console, const WriteArguments& arguments,
                       const FitResult& result) {
  const auto axis = axis_letter(arguments.axis);
  if (!axis) return refuse(console, axis.error());
  const auto foot = axis_letter(arguments.foot);
  if (!foot) return refuse(console, foot.error());
  if (arguments.control.empty()) {
    return bad_arguments(console, "a program needs the control sheet of the control that reads it",
                         "name it, for example --control ngc; --form csv needs none");
  }
  const auto sheet = named_control_sheet(arguments.control, console.disk);
  if (!sheet) return refuse(console, sheet.error());
  OffsetProgramOptions options;
  options.work_offset = arguments.work_offset;
  options.axis = *axis;
  options.foot_towards = *foot;
  options.unit = length_unit(arguments.units, result);
  options.date = utc_now();
  options.simulated_allowed = arguments.simulated;
  const ExitCode code = put(console, arguments, offset_program(result, *sheet, options));
  if (code == ExitCode::good && is_kept(arguments.output)) {
    console.err << "once it has run, prove the values by a few touches\n";
    say_confirm(console, arguments, result);
  }
  return code;
}

ExitCode write_form(const Console& console, const WriteArguments& arguments,
                    const FitResult& result) {
  if (arguments.form == "program" && !arguments.json) {
    return write_program(console, arguments, result);
  }
  TableFormat format = TableFormat::json;
  if (arguments.form == "csv" && !arguments.json) format = TableFormat::csv;
  if (arguments.form == "toml" && !arguments.json) format = TableFormat::toml;
  return put_to_use(console, arguments, result,
                    value_table(result, {format, length_unit(arguments.units, result), utc_now()}));
}

ExitCode write_template(const Console& console, const WriteArguments& arguments,
                        const FitResult& result) {
  const auto text = read_file(arguments.template_file, console.disk);
  if (!text) return refuse(console, text.error());
  TemplateOptions options;
  options.unit = length_unit(arguments.units, result);
  options.date = utc_now();
  options.file = arguments.template_file;
  const auto filled = fill_template(result, *text, options);
  if (filled && !shows_caution(*filled)) {
    console.err
        << "warning: this template has no {{caution}}, and whoever reads what it makes must "
           "know:\n"
        << wrapped(caution(wrong_value_caution), "", 0);
  }
  return put_to_use(console, arguments, result, filled);
}

ExitCode apply_plan(const Console& console, const PatchPlan& plan) {
  const auto report = apply_patch(plan, utc_now(), console.disk);
  if (!report) return refuse(console, report.error());
  console.err << "wrote  " << report->file << "\nbackup " << report->backup << "\nrecord "
              << report->record << '\n';
  for (const std::string& note : report->notes) console.err << "note: " << note << '\n';
  console.err << "Load the file anew where it is used.\n"
              << wrapped(caution(wrong_value_caution), "", 0);
  return ExitCode::good;
}

/// The same file and mapping once more, to patch or to verify.
std::vector<std::string> patch_words(const WriteArguments& arguments, const std::string& what) {
  std::vector<std::string> words = {"write",     arguments.result_file,
                                    what,        arguments.patch_file,
                                    "--mapping", arguments.mapping_files.front()};
  const PatchPermissions& may = arguments.permissions;
  if (may.large_change) words.emplace_back("--allow-large-change");
  if (may.small_change) words.emplace_back("--allow-small-change");
  if (may.other_machine) words.emplace_back("--allow-other-machine");
  if (may.older_result) words.emplace_back("--allow-older-result");
  if (arguments.simulated) words.emplace_back("--simulated");
  return words;
}

ExitCode write_patch(const Console& console, const WriteArguments& arguments,
                     const FitResult& result) {
  if (arguments.mapping_files.size() != 1) {
    return bad_arguments(console, "patching needs one mapping",
                         "say which value goes where: --mapping my.mapping.toml");
  }
  const auto mapping = read_mapping(arguments.mapping_files.front(), console.disk);
  if (!mapping) return refuse(console, mapping.error());
  const auto target = read_target(arguments.patch_file, console.disk);
  if (!target) return refuse(console, target.error());
  const auto plan = plan_patch(result, *mapping, *target, arguments.permissions);
  if (!plan) return refuse(console, plan.error());
  console.out << patch_table(*plan) << '\n' << patch_diff(*plan);
  console.out.flush();
  if (!plan->objections.empty()) {
    console.err << "nothing is written:\n";
    return refuse(console, plan->objections);
  }
  if (arguments.apply && !arguments.dry_run) {
    const ExitCode code = apply_plan(console, *plan);
    if (code == ExitCode::good && arguments.verify_files.empty()) {
      say_next(console, patch_words(arguments, "--verify"));
    }
    return code;
  }
  console.err << "this was a dry run: nothing is written; add --apply to write\n"
              << wrapped(caution(wrong_value_caution), "", 0);
  std::vector<std::string> words = patch_words(arguments, "--patch");
  words.emplace_back("--apply");
  say_next(console, words);
  return ExitCode::good;
}

ExitCode verify(const Console& console, const WriteArguments& arguments, const FitResult& result) {
  const std::size_t mappings = arguments.mapping_files.size();
  if (mappings != 1 && mappings != arguments.verify_files.size()) {
    return bad_arguments(console, "each file to verify needs its mapping",
                         "give one --mapping for all files, or one for each, in the same order");
  }
  std::vector<std::vector<HomeReading>> homes;
  Problems problems;
  for (std::size_t i = 0; i < arguments.verify_files.size(); ++i) {
    const auto mapping = read_mapping(arguments.mapping_files[mappings == 1 ? 0 : i], console.disk);
    if (!mapping) return refuse(console, mapping.error());
    const auto target = read_target(arguments.verify_files[i], console.disk);
    if (!target) return refuse(console, target.error());
    const auto readings =
        read_homes(result, *mapping, *target, arguments.permissions.other_machine);
    if (readings) {
      homes.push_back(*readings);
    } else {
      problems.insert(problems.end(), readings.error().begin(), readings.error().end());
    }
  }
  if (!problems.empty()) return refuse(console, problems);
  const auto verification = verify_homes(result, homes);
  if (!verification) return refuse(console, verification.error());
  console.out << verification_table(*verification);
  if (!verification->disagreements.empty()) return refuse(console, verification->disagreements);
  console.err << "all agree\n";
  say_confirm(console, arguments, result);
  return ExitCode::good;
}

ExitCode run(const WriteArguments& arguments, const Console& console) {
  const auto result = read_result(arguments.result_file, console.disk);
  if (!result) return refuse(console, result.error());
  const bool patches = !arguments.patch_file.empty();
  const bool verifies = !arguments.verify_files.empty();
  if (arguments.list) return write_list(console, arguments, *result);
  if (verifies && !patches) return verify(console, arguments, *result);
  const Problems simulated = refuse_simulated(*result, arguments.simulated);
  if (!simulated.empty()) return refuse(console, simulated);
  if (patches) {
    const ExitCode code = write_patch(console, arguments, *result);
    const bool then_verify = verifies && arguments.apply && !arguments.dry_run;
    return code == ExitCode::good && then_verify ? verify(console, arguments, *result) : code;
  }
  if (!arguments.template_file.empty()) return write_template(console, arguments, *result);
  return write_form(console, arguments, *result);
}

void add_form_options(CLI::App* verb, WriteArguments& arguments) {
  verb->add_option("--form", arguments.form, "program, csv, json or toml table")
      ->check(CLI::IsMember({"program", "csv", "json", "toml"}))
      ->capture_default_str();
  verb->add_option("--work-offset", arguments.work_offset,
                   "offset the program sets: 1 is the first (G54); none is taken by itself")
      ->type_name("NUMBER");
  verb->add_option("--control", arguments.control,
                   "control sheet that spells the program: its name, or its file")
      ->type_name("SHEET");
  verb->add_flag("--simulated", arguments.simulated,
                 "write values of a rehearsal all the same; they say so");
  verb->add_option("--axis", arguments.axis, "axis whose centre becomes the origin")
      ->type_name("LETTER");
  verb->add_option("--foot", arguments.foot,
                   "with --axis: origin is the point on it nearest to this second axis")
      ->type_name("LETTER");
  verb->add_option("--units", arguments.units, "mm or inch; those of the machine file if absent")
      ->check(CLI::IsMember({"mm", "inch"}));
  verb->add_flag("--list", arguments.list, "show every value by name, with its meaning");
  verb->add_flag("--json", arguments.json, "the table of values as JSON");
  verb->add_option("--template", arguments.template_file,
                   "fill this text template: {{A.centre.Y}} and the like")
      ->type_name("FILE");
  verb->add_option("-o,--output", arguments.output, "write to this file, not to the screen")
      ->type_name("FILE");
}

void add_patch_options(CLI::App* verb, WriteArguments& arguments) {
  verb->add_option("--patch", arguments.patch_file,
                   "text file (a post, a parameter list) to take the values; shows what would "
                   "change")
      ->type_name("FILE");
  verb->add_option("--mapping", arguments.mapping_files,
                   "which value goes where in the file (*.mapping.toml)")
      ->type_name("FILE");
  verb->add_flag("--apply", arguments.apply, "with --patch: write it, keeping a backup beside");
  verb->add_flag("--dry-run", arguments.dry_run, "with --patch: only show (the default)");
  verb->add_option("--verify", arguments.verify_files,
                   "read the values back from these files and compare")
      ->type_name("FILE");
  PatchPermissions& may = arguments.permissions;
  verb->add_flag("--allow-large-change", may.large_change,
                 "write changes above 1 mm or 0.5 deg (or the mapping's limit)");
  verb->add_flag("--allow-small-change", may.small_change, "write changes below their U95");
  verb->add_flag("--allow-other-machine", may.other_machine,
                 "write, or verify against, a result of another machine");
  verb->add_flag("--allow-older-result", may.older_result,
                 "write a result older than the file's last patch");
}

}  // namespace

void add_write_verb(CLI::App& app, Console& console, VerbAction& action) {
  const auto arguments = std::make_shared<WriteArguments>();
  CLI::App* verb =
      app.add_subcommand("write",
                         "Put the pivot values where they are used: offset program, table, "
                         "template, or patched into a file");
  verb->footer(
      std::string(
          "Examples:\n"
          "  pivotrace write fourth-axis.result.json --list\n"
          "  pivotrace write fourth-axis.result.json --work-offset 2 --control ngc -o offsets.nc\n"
          "  pivotrace write fourth-axis.result.json --form csv -o values.csv\n"
          "  pivotrace write fourth-axis.result.json --patch fourth-axis.post.txt \\\n"
          "      --mapping fourth-axis.mapping.toml            (shows only; --apply writes)\n"
          "  pivotrace write fourth-axis.result.json --verify fourth-axis.post.txt \\\n"
          "      --mapping fourth-axis.mapping.toml\n") +
      wrapped(caution(wrong_value_caution), "", 0) +
      "Exit code 1: refused, because the result is not usable, a change is too large or too "
      "small,\n"
      "the result is older than the file's last patch, or two homes of a value disagree.");
  verb->add_option("RESULT", arguments->result_file, "result of 'pivotrace fit' (*.result.json)")
      ->type_name("FILE")
      ->required();
  add_form_options(verb, *arguments);
  add_patch_options(verb, *arguments);
  verb->callback([arguments, &console, &action] {
    action = [arguments, &console] { return run(*arguments, console); };
  });
}

}  // namespace pivotrace::app
