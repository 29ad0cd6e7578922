// Under what conditions a survey was made, as far as anybody stated them: what `compare` must know
// before it lets an error of one survey stand against the same error of another.
#pragma once

#include <array>
#include <map>
#include <optional>
#include <string>

namespace pivotrace {

/// From the machine file, its touch record having the last word. What is absent nobody stated.
struct Conditions {
  std::optional<std::string> probe;  ///< which probe with which stylus, in the shop's words
  std::optional<std::string> probe_calibrated;  ///< ISO 8601 date of its last calibration
  std::optional<bool> tables_on;       ///< the control's own compensation was active while probing
  std::optional<double> load_kg;       ///< on the table, beside the artefacts
  std::optional<double> warm_minutes;  ///< the machine had been running
  std::optional<bool> clamped;         ///< rotary axes were clamped while touched
  std::optional<std::string>
      tables_written;  ///< ISO 8601 date: compensation, centres in force since
  std::optional<std::string>
      rollover;  ///< how a commanded angle is reached: one of `rollover_words`
  std::map<char, double> index_step_rad;         ///< letter -> pitch of its toothed coupling
  std::map<std::string, std::string> artefacts;  ///< name in the machine file -> which one it is

  bool operator==(const Conditions&) const = default;
};

/// A turn past 360: by the shortest way, by the way the sign says, or counted on.
inline constexpr std::array<const char*, 3> rollover_words = {"shortest way", "by sign",
                                                              "counted on"};

/// Everything `over` states, and what only `base` states.
Conditions overlaid(const Conditions& base, const Conditions& over);

}  // namespace pivotrace
