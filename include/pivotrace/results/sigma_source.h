// Where the sigmas of the random errors come from.
#pragma once

#include <optional>
#include <string>
#include <string_view>

namespace pivotrace {

struct SigmaSource {
  enum class From {
    not_run,
    machine_file,
    defaults,  ///< the machine file leaves some out, and assumed values stand in
    survey,    ///< estimated from the touches
  };
  From touch = From::not_run;
  From station_and_index = From::not_run;
  bool pooled = false;    ///< with what this survey shows
  bool enlarged = false;  ///< to the scatter found (results of earlier versions)

  bool assumed() const { return touch == From::defaults || station_and_index == From::defaults; }
  bool operator==(const SigmaSource&) const = default;
};

/// "machine file", "touch: estimated from this survey; station and index: defaults", ...
std::string text_of(const SigmaSource& source);
/// The way back from a result file; absent when the text names no source.
std::optional<SigmaSource> sigma_source_named(std::string_view text);

}  // namespace pivotrace
