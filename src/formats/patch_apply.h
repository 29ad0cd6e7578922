// The steps of reading and replacing a target, over any set of system calls.
#pragma once

#include "disk/file_calls.h"
#include "pivotrace/pivots/patch.h"

namespace pivotrace {

Expected<TargetFile> read_target(FileCalls& calls, const std::string& path);
Expected<PatchReport> apply_patch(FileCalls& calls, const PatchPlan& plan,
                                  const std::string& written);

}  // namespace pivotrace
