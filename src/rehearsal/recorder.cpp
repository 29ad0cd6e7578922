#include "rehearsal/recorder.h"

#include <fmt/format.h>

#include <algorithm>
#include <utility>

namespace pivotrace::rehearsal {

void Recorder::begin_station(const RotaryAngles& commanded_rad) {
  report_.stations.push_back({commanded_rad, 0.0, 0});
}

void Recorder::add_time(double seconds) {
  report_.seconds += seconds;
  report_.stations.back().seconds += seconds;
}

void Recorder::note(const std::string& what) {
  report_.notes.push_back(fmt::format("line {}: {}", line_, what));
}

void Recorder::fault(const std::string& what) {
  report_.fault = line_ > 0 ? fmt::format("{} (line {})", what, line_) : what;
}

void Recorder::touch(RehearsedTouch touch) {
  touch.number = static_cast<int>(report_.touches.size()) + 1;
  touch.time_s = report_.seconds;
  report_.touches.push_back(std::move(touch));
  ++report_.stations.back().touches;
}

Problem Recorder::stop(ProblemNumber number, const std::string& text, const std::string& advice,
                       const Moment& moment) {
  report_.violations.push_back({number, std::nullopt, "", text, moment});
  return Problem{number, text, {"", 0, 0}, advice};
}

void Recorder::overtravel(double mm) {
  report_.largest_overtravel_mm = std::max(report_.largest_overtravel_mm, mm);
}

RehearsalReport Recorder::take(const Moment& end, const MachineState& state,
                               const std::vector<std::string>& notes) {
  report_.end = end;
  report_.state_at_end = state;
  report_.notes.insert(report_.notes.begin(), notes.begin(), notes.end());
  return std::move(report_);
}

}  // namespace pivotrace::rehearsal
