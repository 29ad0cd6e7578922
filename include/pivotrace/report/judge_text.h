// A judgement in words and as JSON.
#pragma once

#include <string>

#include "pivotrace/pivots/judge.h"

namespace pivotrace {

/// "conforms", "not proven", "does not conform".
const char* verdict_word(Verdict verdict);

/// What would settle it, or what to do about it; empty where it conforms.
std::string settling_text(const Judgement& judgement);

std::string judge_text(const FitResult& result, const JudgeReport& report);
std::string judge_json(const FitResult& result, const JudgeReport& report);

}  // namespace pivotrace
