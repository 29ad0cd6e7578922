#include "pivotrace/results/sigma_source.h"

namespace pivotrace {

namespace {

using From = SigmaSource::From;

const char* word_of(From from) {
  switch (from) {
    case From::not_run: return "not run";
    case From::machine_file: return "machine file";
    case From::defaults: return "defaults";
    case From::survey: return "estimated from this survey";
  }
  return "";
}

}  // namespace

std::string text_of(const SigmaSource& source) {
  std::string text = word_of(source.touch);
  if (source.touch != source.station_and_index) {
    const std::string touch = std::string("touch: ") + word_of(source.touch);
    const std::string rest = std::string("station and index: ") + word_of(source.station_and_index);
    // What the survey itself says comes first.
    text = source.touch == From::survey ? touch + "; " + rest : rest + "; " + touch;
  }
  if (source.pooled) text += ", pooled with this survey";
  return text + (source.enlarged ? ", enlarged to the scatter found" : "");
}

std::optional<SigmaSource> sigma_source_named(std::string_view text) {
  constexpr From all[] = {From::not_run, From::machine_file, From::defaults, From::survey};
  for (const From touch : all) {
    for (const From rest : all) {
      for (const int extra : {0, 1, 2, 3}) {
        const SigmaSource source{touch, rest, (extra & 1) != 0, (extra & 2) != 0};
        if (text_of(source) == text) return source;
      }
    }
  }
  return std::nullopt;
}

}  // namespace pivotrace
