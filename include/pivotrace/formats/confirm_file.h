// Whether written values hold, as JSON (schema examples/schemas/confirmation-1.schema.json).
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "pivotrace/results/confirm.h"

namespace pivotrace {

inline constexpr const char* confirmation_format = "pivotrace-confirmation-1";

/// Lengths mm, angles degrees. `values` is empty where no survey was given, `cut` null where no cut was;
/// `simulated`: touches of a rehearsal are in the written result or in the new survey.
std::string write_confirmation(const FitResult& written, bool simulated,
                               const std::vector<ConfirmedValue>& values,
                               const std::optional<CutEvidence>& cut);

}  // namespace pivotrace
