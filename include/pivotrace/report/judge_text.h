// A judgement in words and as JSON.
#pragma once

#include <string>

#include "pivotrace/pivots/judge.h"

namespace pivotrace {

/// "conforms", "not proven", "does not conform".
const char* verdict_word(Verdict verdict);

/// What would settle it, or what to do about it; empty where it conforms.
std::string settling_text(const Judgement& judgement);

/// What is judged, by name: "A.centre.Y", "change of A.centre.Y", "part mismatch, ...".
std::string subject_text(const Judgement& judgement);

/// How amounts in a unit are shown.
struct ShownUnit {
  const char* word;
  int decimals;
};
ShownUnit shown_unit(LimitUnit unit);

std::string judge_text(const FitResult& result, const JudgeReport& report);
std::string judge_json(const FitResult& result, const JudgeReport& report);

}  // namespace pivotrace
