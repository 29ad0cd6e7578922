#include "pivotrace/results/finding.h"

#include <array>

namespace pivotrace {

namespace {

constexpr std::array code_words = {
    std::pair{FindingCode::turn_sense_wrong, "turn-sense-wrong"},
    std::pair{FindingCode::turn_sense_unproven, "turn-sense-unproven"},
    std::pair{FindingCode::bad_touch, "bad-touch"},
    std::pair{FindingCode::station_slipped, "station-slipped"},
    std::pair{FindingCode::suspects_inseparable, "suspects-inseparable"},
    std::pair{FindingCode::too_many_bad_touches, "too-many-bad-touches"},
    std::pair{FindingCode::approach_contradicts, "approach-contradicts"},
    std::pair{FindingCode::drift_seen, "drift-seen"},
    std::pair{FindingCode::stylus_offset_seen, "stylus-offset-seen"},
    std::pair{FindingCode::lobing_seen, "lobing-seen"},
    std::pair{FindingCode::reversal_seen, "reversal-seen"},
    std::pair{FindingCode::linear_axes_two_lobed, "linear-axes-two-lobed"},
    std::pair{FindingCode::artefact_moved, "artefact-moved"},
    std::pair{FindingCode::diameter_disagrees, "diameter-disagrees"},
    std::pair{FindingCode::scatter_larger_than_stated, "scatter-larger-than-stated"},
    std::pair{FindingCode::unchecked_touches, "unchecked-touches"},
    std::pair{FindingCode::arc_too_short, "arc-too-short"},
    std::pair{FindingCode::ball_near_axis, "ball-near-axis"},
    std::pair{FindingCode::far_from_nominal, "far-from-nominal"},
    std::pair{FindingCode::sigmas_assumed, "sigmas-assumed"},
    std::pair{FindingCode::weakly_determined, "weakly-determined"},
};

}  // namespace

std::string text_of(FindingCode code) {
  for (const auto& [known, word] : code_words) {
    if (known == code) return word;
  }
  return "";
}

std::optional<FindingCode> finding_code_named(std::string_view text) {
  for (const auto& [code, word] : code_words) {
    if (text == word) return code;
  }
  return std::nullopt;
}

}  // namespace pivotrace
