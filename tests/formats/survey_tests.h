// Surveys made up at random, and what it means for two of them to be the same.
#pragma once

#include <rapidcheck.h>

#include <cmath>

#include "pivotrace/geometry/angle.h"
#include "pivotrace/survey/survey.h"

namespace pivotrace::test {

inline rc::Gen<double> number_between(double low, double high) {
  return rc::gen::map(rc::gen::arbitrary<std::uint64_t>(), [low, high](std::uint64_t bits) {
    // 53 random bits: every double of the range may come, not only short decimals.
    return low + (high - low) * (static_cast<double>(bits >> 11) * 0x1p-53);
  });
}

/// Text with everything a cell may have to be quoted for.
inline rc::Gen<std::string> cell_text() {
  return rc::gen::container<std::string>(
      rc::gen::elementOf(std::string("ab1 #,;\"\t\n\r.-\xC3\xA9").substr(0, 13)));
}

inline Touch random_touch(const Machine& machine, int number) {
  Touch touch;
  touch.label = *cell_text() + std::to_string(number);
  touch.artefact = *rc::gen::inRange(0, static_cast<int>(machine.artefacts.size()));
  touch.kind = *rc::gen::element(TouchKind::touch, TouchKind::touch, TouchKind::centre);
  for (int i = 0; i < 3; ++i) {
    const Range& travel = machine.linear.travel_mm[static_cast<std::size_t>(i)];
    touch.shown_mm[i] = *number_between(travel.low, travel.high);
  }
  if (*rc::gen::arbitrary<bool>()) {
    const Eigen::Vector3d raw(*number_between(-1, 1), *number_between(-1, 1),
                              *number_between(0.1, 1));
    touch.approach = raw.normalized();
  }
  touch.flip = *rc::gen::arbitrary<bool>();
  if (*rc::gen::arbitrary<bool>()) touch.time_s = number;
  if (*rc::gen::arbitrary<bool>()) touch.temperature_degC = *number_between(10, 30);
  return touch;
}

inline Station random_station(const Machine& machine, int number) {
  Station station;
  station.label = *cell_text() + std::to_string(number);
  for (std::size_t i = 0; i < machine.rotary.size(); ++i) {
    const Range& travel = machine.rotary[i].travel_rad;
    const double low = deg_from_rad(travel.low);
    const double high = deg_from_rad(travel.high);
    // Commanded angles are decimals with at most a few places, or any double.
    const double exact = *number_between(low, high);
    const double typed = std::round(exact * 1000.0) / 1000.0;
    station.angles_rad[i] = rad_from_deg(*rc::gen::arbitrary<bool>() ? exact : typed);
  }
  return station;
}

inline Survey random_survey(const Machine& machine) {
  Survey survey;
  survey.machine_name = machine.name;
  survey.started = "2026-03-05T14:30:00Z";
  const int stations = *rc::gen::inRange(1, 6);
  for (int s = 0; s < stations; ++s) {
    Station station = random_station(machine, s);
    station.first_touch = static_cast<int>(survey.touches.size());
    station.touch_count = *rc::gen::inRange(1, 6);
    for (int t = 0; t < station.touch_count; ++t) {
      survey.touches.push_back(random_touch(machine, static_cast<int>(survey.touches.size())));
      survey.touches.back().station = s;
    }
    survey.stations.push_back(station);
  }
  for (const char* name : {"feed, slow", "remark"}) {
    if (!*rc::gen::arbitrary<bool>()) continue;
    for (std::size_t i = 0; i < survey.touches.size(); ++i) {
      survey.extra_columns[name].push_back(*cell_text());
    }
  }
  return survey;
}

inline bool same_touch(const Touch& a, const Touch& b) {
  return a.label == b.label && a.station == b.station && a.artefact == b.artefact &&
         a.kind == b.kind && a.shown_mm == b.shown_mm && a.approach == b.approach &&
         a.time_s == b.time_s && a.temperature_degC == b.temperature_degC && a.flip == b.flip;
}

inline bool same_station(const Station& a, const Station& b) {
  return a.label == b.label && a.angles_rad == b.angles_rad && a.first_touch == b.first_touch &&
         a.touch_count == b.touch_count;
}

/// All but Touch::line and Survey::file, which tell where a survey was read from.
inline bool same_survey(const Survey& a, const Survey& b) {
  return a.machine_name == b.machine_name && a.started == b.started &&
         a.extra_columns == b.extra_columns &&
         std::equal(a.touches.begin(), a.touches.end(), b.touches.begin(), b.touches.end(),
                    same_touch) &&
         std::equal(a.stations.begin(), a.stations.end(), b.stations.begin(), b.stations.end(),
                    same_station);
}

}  // namespace pivotrace::test
