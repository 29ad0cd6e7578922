// How far something moved and how sure that is, in words.
#pragma once

#include <string>

#include "pivotrace/results/compare.h"
#include "report/change_columns.h"

namespace pivotrace::report {

/// "Shifted by 96.9 um: X +66.6, Z +70.4 (along Y nothing is seen)."; empty where nothing shifted.
std::string shift_text(const Explanation& line, const ChangeColumns& columns);
/// "Turned about X by -15.0, about Z by -168.7 um/300mm, at X 0.1 mm Y 0.0 mm Z 180.1 mm."; empty where
/// nothing turned.
std::string turn_text(const Explanation& line, const ChangeColumns& columns);
/// "the probe, or the machine zero"
std::string causes_text(const Explanation& line);
/// "more than 99.9 %", "87.2 %"
std::string percent_text(double probability);
/// "once in 250 checks"
std::string chance_text(double probability);

}  // namespace pivotrace::report
