// Work offsets for each index angle, as people and other programs read them.
#pragma once

#include <string>

#include "pivotrace/pivots/reseat.h"

namespace pivotrace {

/// A table for the screen, with the cautions under it; lengths in the unit asked for.
std::string reseat_text(const FitResult& result, const ReseatRequest& request,
                        const ReseatTable& table);
/// One row for each position, head lines and cautions as comments.
std::string reseat_csv(const FitResult& result, const ReseatRequest& request,
                       const ReseatTable& table);
/// "pivotrace-reseat-1".
std::string reseat_json(const FitResult& result, const ReseatRequest& request,
                        const ReseatTable& table);

}  // namespace pivotrace
