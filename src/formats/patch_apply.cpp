#include "pivotrace/formats/patch_apply.h"

#include <fmt/format.h>

#include <algorithm>
#include <cerrno>

#include "base/words.h"
#include "disk/disk_problems.h"
#include "disk/staged_file.h"
#include "formats/patch_record.h"
#include "pivotrace/disk/file_name.h"
#include "pivotrace/disk/text_file.h"

namespace pivotrace {

namespace {

constexpr std::size_t largest_record_bytes = std::size_t{4} * 1024 * 1024;
constexpr unsigned any_write_bit = 0222;

Expected<std::vector<RecordedPatch>> read_record(FileCalls& disk, const std::string& real_path) {
  const std::string path = record_path(real_path);
  FileStatus status;
  if (disk.status(path, status) != 0) {
    if (errno == ENOENT) return std::vector<RecordedPatch>();
    return failure({ProblemNumber::cannot_read,
                    "the record of earlier patches cannot be read",
                    {path, 0, 0},
                    "check that you may read the folder"});
  }
  const Expected<std::string> text = read_regular_file(path, disk, largest_record_bytes);
  if (!text) return tl::make_unexpected(text.error());
  return parse_record(*text, path);
}

/// What must be true of the file before anything is written.
Expected<FileStatus> replaceable(FileCalls& disk, const std::string& path) {
  FileStatus status;
  if (disk.status(path, status) != 0) return failure(write_problem("looking at it", path, errno));
  if ((status.mode & any_write_bit) == 0) {
    return failure({ProblemNumber::cannot_write,
                    "this file is write-protected",
                    {path, 0, 0},
                    "somebody protected it on purpose: take the protection off only if you may"});
  }
  if (status.links > 1) {
    return failure({ProblemNumber::cannot_write,
                    fmt::format("this file has {} names (hard links): replacing it under one name "
                                "would leave the old values under the others",
                                status.links),
                    {path, 0, 0},
                    "keep one name and make the others symbolic links"});
  }
  return status;
}

Expected<bool> still_as_read(FileCalls& disk, const PatchPlan& plan) {
  const std::string& path = plan.target.real_path;
  std::string real;
  if (disk.real_path(plan.target.path, real) != 0) {
    return failure(read_problem(plan.target.path, errno));
  }
  if (real != path) {
    return failure({ProblemNumber::target_changed,
                    "this name points to another file than when it was read",
                    {plan.target.path, 0, 0},
                    "look at the file and run it again"});
  }
  const Expected<std::string> bytes = read_regular_file(path, disk, largest_target_bytes);
  if (!bytes) return tl::make_unexpected(bytes.error());
  if (*bytes != plan.target.bytes) {
    return failure({ProblemNumber::target_changed,
                    "this file was changed since it was read",
                    {path, 0, 0},
                    "close it in other programs, look at it and run it again"});
  }
  return true;
}

/// "2026-03-02T09:00:00Z" -> "20260302T090000Z": a time that may stand in a file name.
std::string name_safe(const std::string& time) {
  std::string safe;
  for (const char c : time) {
    if ((c >= '0' && c <= '9') || (c >= 'A' && c <= 'Z') || (c >= 'a' && c <= 'z')) safe += c;
  }
  return safe;
}

/// A name nobody has: backups are never overwritten.
Expected<std::string> free_backup_name(FileCalls& disk, const std::string& path,
                                       const std::string& written) {
  constexpr int most_tries = 1000;
  for (int i = 1; i <= most_tries; ++i) {
    const std::string count = i == 1 ? "" : fmt::format("-{}", i);
    std::string name = fmt::format("{}.{}{}.bak", path, name_safe(written), count);
    FileStatus status;
    if (disk.status(name, status) != 0) {
      if (errno == ENOENT) return name;
      return failure(write_problem("looking for a free backup name", name, errno));
    }
  }
  return failure({ProblemNumber::cannot_write,
                  "no free name for the backup is left",
                  {path, 0, 0},
                  "clear away old backups"});
}

Expected<bool> put(FileCalls& disk, const std::string& path, const std::string& bytes,
                   const FileStatus& like, std::vector<std::string>& notes) {
  Expected<StagedFile> staged = StagedFile::write(disk, path, bytes, like);
  if (!staged) return tl::make_unexpected(staged.error());
  const Expected<std::string> warning = staged->commit();
  if (!warning) return tl::make_unexpected(warning.error());
  if (!warning->empty()) notes.push_back(*warning);
  return true;
}

RecordedPatch record_of(const PatchPlan& plan, const std::string& backup,
                        const std::string& written) {
  RecordedPatch patch;
  patch.patch = {plan.measured, plan.fitted, plan.machine, written};
  patch.before = content_print(plan.target.bytes);
  patch.after = content_print(plan.new_bytes);
  patch.backup = base_name(backup);
  for (const Edit& edit : plan.edits) {
    patch.changes.push_back(fmt::format("{} line {}: {} -> {}", text_of(edit.value), edit.line,
                                        edit.old_text, edit.new_text));
  }
  return patch;
}

Expected<bool> put_record(FileCalls& disk, const PatchPlan& plan, const FileStatus& like,
                          const std::string& written, PatchReport& report) {
  Expected<std::vector<RecordedPatch>> patches = read_record(disk, plan.target.real_path);
  if (!patches) return tl::make_unexpected(patches.error());
  patches->push_back(record_of(plan, report.backup, written));
  report.record = record_path(plan.target.real_path);
  return put(disk, report.record, record_text(*patches), like, report.notes);
}

Expected<bool> put_target(FileCalls& disk, const PatchPlan& plan, const FileStatus& like,
                          PatchReport& report) {
  const std::string& path = plan.target.real_path;
  Expected<StagedFile> staged = StagedFile::write(disk, path, plan.new_bytes, like);
  if (!staged) return tl::make_unexpected(staged.error());
  // As late as possible: what happens between this look and the rename is not seen.
  const Expected<bool> same = still_as_read(disk, plan);
  if (!same) {
    staged->drop();
    return tl::make_unexpected(same.error());
  }
  if (!staged->owner_kept()) {
    report.notes.push_back("the file now belongs to you: its former owner could not be kept");
  }
  const Expected<std::string> warning = staged->commit();
  if (!warning) return tl::make_unexpected(warning.error());
  if (!warning->empty()) report.notes.push_back(*warning);
  return true;
}

void read_back(FileCalls& disk, const PatchPlan& plan, PatchReport& report) {
  const std::string& path = plan.target.real_path;
  const Expected<std::string> bytes = read_regular_file(path, disk, largest_target_bytes);
  if (!bytes || *bytes != plan.new_bytes) {
    report.notes.push_back(
        fmt::format("{} was replaced but did not read back as written: verify it before use; the "
                    "old file is {}",
                    path, report.backup));
  }
}

/// The path from the root, links not followed: what was said, in full.
std::string spelled_out(const std::string& path, FileCalls& disk) {
  const std::filesystem::path said = path_of(path);
  if (said.is_absolute()) return name_of(said.lexically_normal());
  std::string here;
  if (disk.real_path(".", here) != 0) return path;
  return name_of((path_of(here) / said).lexically_normal());
}

/// To Windows small and capital letters of a name are the same.
bool same_name(const std::string& one, const std::string& other) {
#ifdef _WIN32
  return lower_case(one) == lower_case(other);
#else
  return one == other;
#endif
}

}  // namespace

Expected<TargetFile> read_target(const std::string& path, FileCalls& disk) {
  TargetFile target;
  target.path = path;
  if (disk.real_path(path, target.real_path) != 0) {
    return failure({ProblemNumber::cannot_read,
                    "there is no such file, or it cannot be reached",
                    {path, 0, 0},
                    "check the name; a symbolic link must point to a file"});
  }
  target.leads_elsewhere = !same_name(spelled_out(path, disk), target.real_path);
  Expected<std::string> bytes = read_regular_file(target.real_path, disk, largest_target_bytes);
  if (!bytes) return tl::make_unexpected(bytes.error());
  target.bytes = std::move(*bytes);
  const Expected<std::vector<RecordedPatch>> patches = read_record(disk, target.real_path);
  if (!patches) return tl::make_unexpected(patches.error());
  const std::optional<RecordedPatch> last = last_landed(*patches, target.bytes);
  if (last) {
    target.last_patch = last->patch;
    target.edited_since_last_patch = last->after != content_print(target.bytes);
  }
  return target;
}

Expected<PatchReport> apply_patch(const PatchPlan& plan, const std::string& written,
                                  FileCalls& disk) {
  if (!plan.objections.empty()) return tl::make_unexpected(plan.objections);
  const std::string& path = plan.target.real_path;
  const Expected<FileStatus> status = replaceable(disk, path);
  if (!status) return tl::make_unexpected(status.error());
  const Expected<bool> same = still_as_read(disk, plan);
  if (!same) return tl::make_unexpected(same.error());

  PatchReport report;
  report.file = path;
  const Expected<std::string> backup = free_backup_name(disk, path, written);
  if (!backup) return tl::make_unexpected(backup.error());
  report.backup = *backup;
  const Expected<bool> saved = put(disk, report.backup, plan.target.bytes, *status, report.notes);
  if (!saved) return tl::make_unexpected(saved.error());
  // The record goes before the file: cut short in between, it is recognised by its prints, whereas
  // a file without its record would let an older result pass later.
  const Expected<bool> recorded = put_record(disk, plan, *status, written, report);
  if (!recorded) return tl::make_unexpected(recorded.error());
  const Expected<bool> replaced = put_target(disk, plan, *status, report);
  if (!replaced) return tl::make_unexpected(replaced.error());
  read_back(disk, plan, report);
  if (!disk.syncs_folders()) {
    report.notes.push_back(
        "this system does not promise that a new file outlives a power cut: after one, "
        "verify it before use");
  }
  return report;
}

}  // namespace pivotrace
