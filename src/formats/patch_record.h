// The record beside a patched file: which result went into it, and when.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pivotrace/pivots/patch.h"

namespace pivotrace {

/// One patch as recorded. Prints tell one file content from another; they guard against mistakes,
/// not against malice.
struct RecordedPatch {
  LastPatch patch;
  std::string before;  ///< print of the file before and after
  std::string after;
  std::string backup;
  std::vector<std::string> changes;  ///< "A.centre.Y line 12: -200.0000 -> -200.0123"
};

/// Where the record of a file stands: "<file>.pivotrace.json".
std::string record_path(const std::string& file);

/// FNV-1a, 64 bit (Fowler, Noll, Vo; constants from memory), with the length: "len-hash".
std::string content_print(const std::string& bytes);

/// Reads the patches of a record, oldest first. P101 when it is not a record.
Expected<std::vector<RecordedPatch>> parse_record(const std::string& text, const std::string& file);
std::string record_text(const std::vector<RecordedPatch>& patches);

/// The newest patch that reached the file. The record is written before the file is replaced, so
/// its last entry may tell of a patch that was cut short: then the file still has the content
/// `before` it.
std::optional<RecordedPatch> last_landed(const std::vector<RecordedPatch>& patches,
                                         const std::string& bytes);

}  // namespace pivotrace
