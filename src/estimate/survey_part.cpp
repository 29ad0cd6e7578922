#include "estimate/survey_part.h"

namespace pivotrace {

SurveyPart survey_without(const Survey& survey, const std::vector<bool>& excluded) {
  SurveyPart part;
  part.survey.machine_name = survey.machine_name;
  part.survey.started = survey.started;
  part.survey.file = survey.file;
  part.survey.simulated = survey.simulated;
  part.survey.settings = survey.settings;
  part.survey.styluses = survey.styluses;
  part.survey.turns_told_apart = survey.turns_told_apart;
  for (std::size_t s = 0; s < survey.stations.size(); ++s) {
    Station stay = survey.stations[s];
    const int first = stay.first_touch;
    const int count = stay.touch_count;
    stay.first_touch = static_cast<int>(part.survey.touches.size());
    for (int t = first; t < first + count; ++t) {
      if (excluded[t]) continue;
      Touch touch = survey.touches[t];
      touch.station = static_cast<int>(part.survey.stations.size());
      part.survey.touches.push_back(touch);
      part.touch_of.push_back(t);
    }
    stay.touch_count = static_cast<int>(part.survey.touches.size()) - stay.first_touch;
    if (stay.touch_count == 0) continue;
    part.survey.stations.push_back(stay);
    part.station_of.push_back(static_cast<int>(s));
  }
  return part;
}

}  // namespace pivotrace
