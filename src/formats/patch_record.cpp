#include "formats/patch_record.h"

#include <fmt/format.h>

#include <cstdint>
#include <nlohmann/json.hpp>

namespace pivotrace {

namespace {

constexpr const char* record_format = "pivotrace-patch-record-1";
constexpr std::size_t patches_kept = 50;

tl::unexpected<Problems> bad_record(const std::string& file, const std::string& what) {
  return failure({ProblemNumber::cannot_parse,
                  "the record of earlier patches beside this file is damaged: " + what,
                  {file, 0, 0},
                  "look at it; if you are sure what was last written to the file, move the record "
                  "away"});
}

RecordedPatch patch_from(const nlohmann::json& entry) {
  RecordedPatch patch;
  patch.patch.measured = entry.at("measured").get<std::string>();
  patch.patch.fitted = entry.at("fitted").get<std::string>();
  patch.patch.machine = entry.at("machine").get<std::string>();
  patch.patch.written = entry.at("written").get<std::string>();
  patch.before = entry.at("before").get<std::string>();
  patch.after = entry.at("after").get<std::string>();
  patch.backup = entry.at("backup").get<std::string>();
  patch.changes = entry.at("changes").get<std::vector<std::string>>();
  return patch;
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
  const nlohmann::json record = nlohmann::json::parse(text, nullptr, false);
  if (record.is_discarded()) return bad_record(file, "it is not JSON");
  try {
    if (record.at("format") != record_format) return bad_record(file, "another format");
    std::vector<RecordedPatch> patches;
    for (const nlohmann::json& entry : record.at("patches")) patches.push_back(patch_from(entry));
    return patches;
  } catch (const nlohmann::json::exception& error) {
    return bad_record(file, error.what());
  }
}

std::string record_text(const std::vector<RecordedPatch>& patches) {
  nlohmann::ordered_json record;
  record["format"] = record_format;
  record["about"] = "pivot values written to the file beside this one, oldest first";
  record["patches"] = nlohmann::ordered_json::array();
  const std::size_t first = patches.size() > patches_kept ? patches.size() - patches_kept : 0;
  for (std::size_t i = first; i < patches.size(); ++i) {
    const RecordedPatch& patch = patches[i];
    record["patches"].push_back({{"written", patch.patch.written},
                                 {"machine", patch.patch.machine},
                                 {"measured", patch.patch.measured},
                                 {"fitted", patch.patch.fitted},
                                 {"backup", patch.backup},
                                 {"before", patch.before},
                                 {"after", patch.after},
                                 {"changes", patch.changes}});
  }
  return record.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace) + "\n";
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
