#include "app/check.h"

#include <fmt/format.h>

#include <algorithm>

#include "app/control_sheets.h"
#include "base/words.h"
#include "formats/json_writer.h"
#include "pivotrace/disk/text_file.h"
#include "pivotrace/formats/control_sheet_file.h"
#include "pivotrace/formats/limits_file.h"
#include "pivotrace/formats/machine_file.h"
#include "pivotrace/formats/mapping_file.h"
#include "pivotrace/formats/mounting_file.h"
#include "pivotrace/formats/plan_file.h"
#include "pivotrace/formats/result_file.h"
#include "pivotrace/formats/touch_file.h"
#include "pivotrace/formats/truth_file.h"
#include "pivotrace/plan/check_plan.h"
#include "pivotrace/plan/find_plan.h"
#include "pivotrace/report/plan_text.h"
#include "report/plan_json.h"
#include "report/summaries.h"

namespace pivotrace {

namespace {

/// A file that has been read, and the machine it is to be checked against (nullptr = unknown).
struct ReadFile {
  std::string path;
  std::string text;
  const Machine* machine = nullptr;
  FileCalls* disk = nullptr;                     ///< for the files that this one names
  std::optional<PlanOutcome>* judged = nullptr;  ///< where a plan's prediction goes
};

// --- what each kind of file looks like, and how it is summed up -----------------------------------

bool has_line_starting_with(std::string_view text, std::string_view start) {
  if (text.substr(0, start.size()) == start) return true;
  return text.find("\n" + std::string(start)) != std::string_view::npos;
}

/// The marks of a kind stand near the top; the rest of a large file need not be searched.
std::string_view top_of(std::string_view text) {
  constexpr std::size_t far_enough = 65536;
  return text.substr(0, far_enough);
}

bool looks_like_machine(std::string_view text) {
  return has_line_starting_with(top_of(text), "[[rotary]]") ||
         has_line_starting_with(top_of(text), "[probe]");
}

bool looks_like_touches(std::string_view text) {
  return has_line_starting_with(top_of(text), "# units:") ||
         has_line_starting_with(top_of(text), "\xEF\xBB\xBF# units:");
}

bool looks_like_result(std::string_view text) {
  return top_of(text).find("\"pivotrace-result-") != std::string_view::npos;
}

bool looks_like_limits(std::string_view text) {
  return has_line_starting_with(top_of(text), "[[limit]]");
}

bool looks_like_mapping(std::string_view text) {
  return has_line_starting_with(top_of(text), "[[entry]]");
}

bool looks_like_feet(std::string_view text) {
  return has_line_starting_with(top_of(text), "[[foot]]");
}

Expected<std::string> check_feet(const ReadFile& file) {
  return parse_mounting(file.text, file.path).map([](const Mounting& mounting) {
    return report::summary_of(mounting);
  });
}

Expected<std::string> check_machine(const ReadFile& file) {
  const Expected<Machine> machine = parse_machine(file.text, file.path);
  if (!machine) return tl::make_unexpected(machine.error());
  std::string summary = report::summary_of(*machine);
  // A machine file may also say how its rotary unit is fastened.
  if (!has_line_starting_with(file.text, "[[foot]]")) return summary;
  return check_feet(file).map([&](const std::string& feet) { return summary + "  " + feet; });
}

Expected<std::string> check_limits(const ReadFile& file) {
  return parse_limits(file.text, file.path).map([](const Limits& limits) {
    return report::summary_of(limits);
  });
}

Expected<std::string> check_mapping(const ReadFile& file) {
  return parse_mapping(file.text, file.path).map([](const Mapping& mapping) {
    return report::summary_of(mapping);
  });
}

Expected<std::string> check_touches(const ReadFile& file) {
  if (file.machine == nullptr) {
    return outline_touches(file.text, file.path).map([](const TouchRecordOutline& outline) {
      return report::summary_of(outline);
    });
  }
  const Machine& machine = *file.machine;
  return parse_survey(file.text, file.path, machine).map([&machine](const Survey& survey) {
    return report::summary_of(survey, machine);
  });
}

Expected<std::string> check_result(const ReadFile& file) {
  return parse_result(file.text, file.path).map([](const FitResult& result) {
    return report::summary_of(result);
  });
}

bool looks_like_plan(std::string_view text) {
  return has_line_starting_with(top_of(text), "[[station]]");
}

bool looks_like_control_sheet(std::string_view text) {
  return has_line_starting_with(top_of(text), "[skip]") ||
         has_line_starting_with(top_of(text), "[motion]");
}

/// The plan's own words, once the machine can run it: travels, clearances and turns.
Expected<std::string> check_plan_on(const Machine& machine, const Plan& plan,
                                    const ReadFile& file) {
  Problems problems = check_plan(machine, plan);
  for (Problem& problem : problems) {
    if (problem.where.file.empty()) problem.where.file = file.path;
  }
  if (!problems.empty()) return tl::make_unexpected(std::move(problems));
  const std::string runs = report::summary_of(plan) +
                           "\nThe machine can run it: travels, clearances and turns are free\n";
  Expected<PlanOutcome> outcome = judge_plan(machine, plan);
  if (!outcome) {
    return runs + "What it would tell could not be predicted: " + outcome.error().front().what +
           "\n";
  }
  const std::string told = runs + judged_plan_text(machine, *outcome);
  if (file.judged != nullptr) *file.judged = std::move(*outcome);
  return told;
}

/// A plan names its machine file itself; a machine given on the command line goes before it.
Expected<std::string> check_planned(const ReadFile& file) {
  if (file.machine == nullptr) {
    return read_plan(file.path, {}, *file.disk).and_then([&](const PlanOnMachine& read) {
      return check_plan_on(read.machine, read.plan, file);
    });
  }
  return parse_plan(file.text, file.path, *file.machine).and_then([&](const Plan& plan) {
    return check_plan_on(*file.machine, plan, file);
  });
}

Expected<std::string> check_control_sheet(const ReadFile& file) {
  return parse_control_sheet(file.text, file.path).map([](const ControlSheet& sheet) {
    return report::summary_of(sheet);
  });
}

bool looks_like_truth(std::string_view text) {
  return has_line_starting_with(top_of(text), "[[axis]]");
}

Expected<std::string> check_truth(const ReadFile& file) {
  if (file.machine == nullptr) {
    return outline_truth(file.text, file.path).map([](const TruthOutline& outline) {
      return report::summary_of(outline);
    });
  }
  const Machine& machine = *file.machine;
  return parse_truth(file.text, file.path, machine).map([&machine](const RehearsalTruth& truth) {
    return report::summary_of(truth, machine);
  });
}

struct FileKind {
  const char* name;
  std::string_view ending;  ///< of the file's name, lower case; empty = told by content only
  bool (*looks_like)(std::string_view text);
  Expected<std::string> (*check)(const ReadFile& file);
  std::size_t read_limit_bytes = default_read_limit_bytes;
};

/// Every kind of file this program reads. A new kind is one more row.
constexpr FileKind file_kinds[] = {
    {"machine file", ".machine.toml", looks_like_machine, check_machine},
    {"touch record", ".csv", looks_like_touches, check_touches},
    {"result", ".json", looks_like_result, check_result, result_read_limit_bytes},
    {"limits file", ".limits.toml", looks_like_limits, check_limits},
    {"mapping file", ".mapping.toml", looks_like_mapping, check_mapping},
    {"feet file", ".feet.toml", looks_like_feet, check_feet},
    {"plan", ".plan.toml", looks_like_plan, check_planned},
    {"truth file", ".truth.toml", looks_like_truth, check_truth},
    {"control sheet", "", looks_like_control_sheet, check_control_sheet},
};
constexpr const FileKind* machine_kind = &file_kinds[0];
constexpr const FileKind* touch_kind = &file_kinds[1];
constexpr const FileKind* plan_kind = &file_kinds[6];
constexpr const FileKind* truth_kind = &file_kinds[7];
static_assert(machine_kind->check == check_machine && touch_kind->check == check_touches &&
              plan_kind->check == check_planned && truth_kind->check == check_truth);

const FileKind* kind_by_name(const std::string& path) {
  const std::string name = lower_case(path);
  for (const FileKind& kind : file_kinds) {
    if (!kind.ending.empty() && name.ends_with(kind.ending)) return &kind;
  }
  return nullptr;
}

const FileKind* kind_by_content(std::string_view text) {
  for (const FileKind& kind : file_kinds) {
    if (kind.looks_like(text)) return &kind;
  }
  return nullptr;
}

Problem unknown_kind(const std::string& path) {
  std::vector<std::string> known;
  for (const FileKind& kind : file_kinds) {
    known.push_back(kind.ending.empty() ? std::string(kind.name)
                                        : fmt::format("{} (*{})", kind.name, kind.ending));
  }
  return {ProblemNumber::unsupported_format,
          "this is none of the files pivotrace reads",
          {path, 0, 0},
          "it reads: " + joined(known) + "; check that it is the file you meant"};
}

// --- several files at once ------------------------------------------------------------------------

/// One file on its way through the check.
struct Candidate {
  ReadFile file;
  const FileKind* kind = nullptr;
  Problems problems;  ///< of reading and recognising
};

/// A control sheet may be named as --control names it.
Expected<std::string> text_of_file(const std::string& path, std::size_t limit_bytes,
                                   FileCalls& disk) {
  Expected<std::string> text = read_file(path, disk, limit_bytes);
  if (text || path.find_first_of("/\\.") != std::string::npos) return text;
  const Expected<app::SheetText> sheet = app::control_sheet_text(path, disk);
  if (!sheet) return text;
  return sheet->text;
}

Candidate read_candidate(const std::string& path, FileCalls& disk) {
  Candidate candidate;
  candidate.file.path = path;
  candidate.file.disk = &disk;
  const FileKind* by_name = kind_by_name(path);
  Expected<std::string> text = text_of_file(
      path, by_name != nullptr ? by_name->read_limit_bytes : default_read_limit_bytes, disk);
  if (!text) {
    candidate.problems = text.error();
    return candidate;
  }
  candidate.file.text = std::move(*text);
  candidate.kind = by_name != nullptr ? by_name : kind_by_content(candidate.file.text);
  if (candidate.kind == nullptr) candidate.problems = {unknown_kind(path)};
  return candidate;
}

FileCheck checked(const Candidate& candidate) {
  FileCheck check;
  check.file = candidate.file.path;
  check.problems = candidate.problems;
  if (candidate.kind == nullptr) return check;
  check.kind = candidate.kind->name;
  ReadFile file = candidate.file;
  file.judged = &check.plan;
  const Expected<std::string> summary = candidate.kind->check(file);
  if (summary) {
    check.summary = *summary;
  } else {
    check.problems = summary.error();
  }
  return check;
}

std::vector<Machine> machines_among(const std::vector<Candidate>& candidates) {
  std::vector<Machine> machines;
  for (const Candidate& candidate : candidates) {
    if (candidate.kind != machine_kind) continue;
    if (auto machine = parse_machine(candidate.file.text, candidate.file.path)) {
      machines.push_back(std::move(*machine));
    }
  }
  return machines;
}

/// Name of the machine a touch record or a truth file was made for; empty when it says none.
std::string machine_name_in(const Candidate& candidate) {
  if (candidate.kind == truth_kind) {
    const auto outline = outline_truth(candidate.file.text, candidate.file.path);
    return outline ? outline->machine_name : std::string();
  }
  const auto outline = outline_touches(candidate.file.text, candidate.file.path);
  return outline ? outline->machine_name : std::string();
}

/// The only machine there is, or the one whose name the file states.
const Machine* machine_for(const Candidate& candidate, const std::vector<Machine>& machines) {
  if (machines.size() == 1) return &machines[0];
  if (machines.empty()) return nullptr;
  const std::string name = lower_case(machine_name_in(candidate));
  for (const Machine& machine : machines) {
    if (lower_case(machine.name) == name) return &machine;
  }
  return nullptr;
}

}  // namespace

std::vector<FileCheck> check_files(const std::vector<std::string>& files,
                                   const std::optional<std::string>& machine_file,
                                   FileCalls& disk) {
  std::vector<Candidate> candidates;
  const bool extra =
      machine_file && std::find(files.begin(), files.end(), *machine_file) == files.end();
  if (extra) candidates.push_back(read_candidate(*machine_file, disk));
  for (const std::string& file : files) candidates.push_back(read_candidate(file, disk));
  // What was named as the machine file is read as one, whatever it is called.
  std::vector<Candidate> machine_files;
  for (Candidate& candidate : candidates) {
    if (!machine_file || candidate.file.path != *machine_file) continue;
    const bool readable = candidate.kind != nullptr || !candidate.file.text.empty();
    if (readable) {
      candidate.kind = machine_kind;
      candidate.problems.clear();
    }
    machine_files.push_back(candidate);
  }
  const std::vector<Machine> machines = machines_among(machine_file ? machine_files : candidates);
  std::vector<FileCheck> checks;
  for (Candidate& candidate : candidates) {
    if (candidate.kind == touch_kind || candidate.kind == truth_kind) {
      candidate.file.machine = machine_for(candidate, machines);
    }
    if (candidate.kind == plan_kind && machines.size() == 1) {
      candidate.file.machine = &machines[0];
    }
    checks.push_back(checked(candidate));
  }
  return checks;
}

std::string kind_of_file(const std::string& file, FileCalls& disk) {
  const FileKind* kind = kind_by_name(file);
  if (kind != nullptr) return std::string(kind->name);
  const Expected<std::string> text = read_file(file, disk, result_read_limit_bytes);
  kind = text ? kind_by_content(*text) : nullptr;
  return kind != nullptr ? std::string(kind->name) : "";
}

FileCheck check_file(const std::string& file, const std::optional<std::string>& machine_file,
                     FileCalls& disk) {
  std::vector<FileCheck> checks = check_files({file}, machine_file, disk);
  FileCheck check = std::move(checks.back());
  // A record cannot be called good when the machine it was to be checked against is not.
  const FileCheck& machine = checks.front();
  if (checks.size() > 1 && !machine.good()) {
    check.problems.insert(check.problems.begin(), machine.problems.begin(), machine.problems.end());
  }
  return check;
}

std::string write_checks(const std::vector<FileCheck>& checks) {
  formats::JsonWriter json;
  json.begin_object();
  json.add("format", "pivotrace-check-1");
  json.add("good", std::all_of(checks.begin(), checks.end(),
                               [](const FileCheck& check) { return check.good(); }));
  json.begin_array("files");
  for (const FileCheck& check : checks) {
    json.begin_object();
    json.add("file", check.file);
    if (check.kind.empty()) {
      json.add_null("kind");
    } else {
      json.add("kind", check.kind);
    }
    json.add("good", check.good());
    json.add("summary", check.summary);
    if (check.plan) report::add_judged_plan(json, *check.plan);
    json.begin_array("problems");
    for (const Problem& problem : check.problems) {
      json.begin_object();
      json.add("number", fmt::format("P{}", static_cast<int>(problem.number)));
      json.add("file", problem.where.file);
      json.add("line", problem.where.line);
      json.add("column", problem.where.column);
      json.add("what", problem.what);
      json.add("advice", problem.advice);
      json.end();
    }
    json.end();
    json.end();
  }
  json.end();
  json.end();
  return json.take();
}

}  // namespace pivotrace
