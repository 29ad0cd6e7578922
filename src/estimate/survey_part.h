// A survey without what was left out of it.
#pragma once

#include <vector>

#include "pivotrace/survey/survey.h"

namespace pivotrace {

/// A part of a survey with the way back to the whole.
struct SurveyPart {
  Survey survey;
  std::vector<int> touch_of;    ///< part touch -> whole touch
  std::vector<int> station_of;  ///< part station -> whole station
};

/// Stations that lose every touch go with them.
SurveyPart survey_without(const Survey& survey, const std::vector<bool>& excluded);

}  // namespace pivotrace
