#include "formats/patch_record.h"

#include <fmt/format.h>

#include <cstdint>

#include "formats/json_reader.h"
#include "formats/json_writer.h"

namespace pivotrace {

namespace {

constexpr const char* record_format = "pivotrace-patch-record-1";
/// Older ones leave the record; their backups stay (common practice, no source).
constexpr std::size_t patches_kept = 50;

tl::unexpected<Problems> bad_record(const std::string& file, const std::string& what) {
  return failure({ProblemNumber::cannot_parse,
                  "the record of earlier patches beside this file is damaged: " + what,
                  {file, 0, 0},
                  "look at it; if you are sure what was last written to the file, move the record "
                  "away"});
}

RecordedPatch patch_from(formats::JsonObject& entry) {
  RecordedPatch patch;
  patch.patch.measured = entry.text("measured");
  patch.patch.fitted = entry.text("fitted");
  patch.patch.machine = entry.text("machine");
  patch.patch.written = entry.text("written");
  patch.before = entry.text("before");
  patch.after = entry.text("after");
  patch.backup = entry.text("backup");
  patch.changes = entry.texts("changes");
  return patch;
}

void add_patch(formats::JsonWriter& json, const RecordedPatch& patch) {
  json.begin_object();
  json.add("written", patch.patch.written);
  json.add("machine", patch.patch.machine);
  json.add("measured", patch.patch.measured);
  json.add("fitted", patch.patch.fitted);
  json.add("backup", patch.backup);
  json.add("before", patch.before);
  json.add("after", patch.after);
  json.add("changes", patch.changes);
  json.end();
}

}  // namespace

std::string record_path(const std::string& file) { return file + ".pivotrace.json"; }

std::string content_print(const std::string& bytes) {
  std::uint64_t hash = 0xcbf29ce484222325ULL;
  for (const char c : bytes) {
    hash ^= static_cast<unsigned char>(c);
    hash *= 0x100000001b3ULL;
  }
  return fmt::format("{}-{:016x}", bytes.size(), hash);
}

Expected<std::vector<RecordedPatch>> parse_record(const std::string& text,
                                                  const std::string& file) {
  const Expected<formats::Json> json = formats::parse_json(text, file);
  if (!json) return bad_record(file, json.error().front().what);
  if (!json->is_object()) return bad_record(file, "it is no JSON object");
  ProblemList problems(file);
  formats::JsonObject record(*json, "", problems);
  const bool known = record.text("format") == record_format;
  if (problems.empty() && !known) return bad_record(file, "another format");
  std::vector<RecordedPatch> patches;
  for (formats::JsonObject& entry : record.objects("patches")) patches.push_back(patch_from(entry));
  if (!problems.empty()) return bad_record(file, problems.as_failure().value().front().what);
  return patches;
}

std::string record_text(const std::vector<RecordedPatch>& patches) {
  formats::JsonWriter json;
  json.begin_object();
  json.add("format", record_format);
  json.add("about", "pivot values written to the file beside this one, oldest first");
  json.begin_array("patches");
  const std::size_t first = patches.size() > patches_kept ? patches.size() - patches_kept : 0;
  for (std::size_t i = first; i < patches.size(); ++i) add_patch(json, patches[i]);
  json.end();
  json.end();
  return json.take();
}

std::optional<RecordedPatch> last_landed(const std::vector<RecordedPatch>& patches,
                                         const std::string& bytes) {
  const std::string now = content_print(bytes);
  for (auto patch = patches.rbegin(); patch != patches.rend(); ++patch) {
    const bool cut_short = patch->before == now && patch->after != now;
    if (!cut_short) return *patch;
  }
  return std::nullopt;
}

}  // namespace pivotrace
