// The long counts behind the bars of the embedded core, printed as "name value" lines.
//
//   embedded_study accuracy SURVEYS SEED    float against double, largest difference
//   embedded_study coverage SURVEYS SEED    how often U95 of the float core holds the truth
//   embedded_study hostile TRIALS SEED      hostile inputs; exit code 1 at the first fault
#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <string>

#include "drawn_survey.h"
#include "hostile.h"

using namespace pivotrace::testing;

namespace {

constexpr double arcsec = M_PI / 180.0 / 3600.0;

void accuracy(int axes, int surveys, std::uint64_t seed) {
  const Build& single = axes == 2 ? board_f32_2() : board_f32_1();
  const Build& exact = axes == 2 ? board_f64_2() : board_f64_1();
  std::mt19937_64 random(seed);
  DrawOptions options;
  options.axes = axes;
  double length = 0.0;
  double angle = 0.0;
  double share = 0.0;
  int refused = 0;
  for (int survey = 0; survey < surveys; ++survey) {
    const DrawnSurvey drawn = draw_survey(options, random);
    const BoardResult a = single.fit(drawn.job);
    const BoardResult b = exact.fit(drawn.job);
    if (a.status != 0 || b.status != 0) {
      ++refused;
      continue;
    }
    for (std::size_t k = 0; k < a.axes.size(); ++k) {
      for (std::size_t c = 0; c < 3; ++c) {
        const BoardValue& location = a.axes[k].location[c];
        const BoardValue& same = b.axes[k].location[c];
        length = std::max(length, std::abs(location.value - same.value));
        if (same.u > 0.0) share = std::max(share, std::abs(location.u / same.u - 1.0));
        angle = std::max(angle,
                         std::abs(a.axes[k].orientation[c].value - b.axes[k].orientation[c].value));
      }
    }
  }
  fmt::print("accuracy_{}_nm {:.2f}\n", axes, length * 1e6);
  fmt::print("accuracy_{}_arcsec {:.4f}\n", axes, angle / arcsec);
  fmt::print("accuracy_{}_u {:.5f}\n", axes, share);
  fmt::print("accuracy_{}_refused {}\n", axes, refused);
}

struct Count {
  int held = 0;
  int all = 0;
  void add(double off, const BoardValue& value) {
    if (!(value.u > 1e-9)) return;
    ++all;
    held += std::abs(off) <= value.U95_absolute;
  }
};

void coverage(int axes, int surveys, std::uint64_t seed) {
  const Build& build = axes == 2 ? board_f32_2() : board_f32_1();
  std::mt19937_64 random(seed);
  DrawOptions options;
  options.axes = axes;
  options.uncertain_sigmas = true;
  Count count;
  int refused = 0;
  int findings = 0;
  for (int survey = 0; survey < surveys; ++survey) {
    const DrawnSurvey drawn = draw_survey(options, random);
    const BoardResult found = build.fit(drawn.job);
    refused += found.status != 0;
    findings += found.status == 0 && found.findings != 0;
    if (found.status != 0) continue;
    for (std::size_t k = 0; k < found.axes.size(); ++k) {
      for (std::size_t c = 0; c < 3; ++c) {
        const auto i = static_cast<Eigen::Index>(c);
        const BoardAxisResult& axis = found.axes[k];
        count.add(axis.location[c].value - drawn.location_mm(k)[i], axis.location[c]);
        count.add(axis.orientation[c].value - drawn.orientation_rad(k)[i], axis.orientation[c]);
      }
    }
  }
  fmt::print("coverage_{}_percent {:.2f}\n", axes, 100.0 * count.held / std::max(1, count.all));
  fmt::print("coverage_{}_refused {}\n", axes, refused);
  fmt::print("coverage_{}_findings_percent {:.2f}\n", axes, 100.0 * findings / surveys);
}

int hostile(int trials, std::uint64_t seed) {
  const Build* builds[] = {&board_f32_1(), &board_f32_2(),       &board_f64_1(),
                           &board_f64_2(), &board_f32_1_plain(), &board_f32_2_plain()};
  for (int trial = 0; trial < trials; ++trial) {
    const std::string fault =
        hostile_trial(*builds[trial % 6], seed + static_cast<std::uint64_t>(trial));
    if (fault.empty()) continue;
    fmt::print("hostile_fault {}\n", fault);
    return 1;
  }
  fmt::print("hostile_trials {}\n", trials);
  return 0;
}

}  // namespace

int main(int argc, char** argv) {
  if (argc != 4) {
    fmt::print(stderr, "embedded_study accuracy|coverage|hostile COUNT SEED\n");
    return 2;
  }
  const std::string what = argv[1];
  const int count = std::atoi(argv[2]);
  const auto seed = std::strtoull(argv[3], nullptr, 10);
  if (what == "hostile") return hostile(count, seed);
  for (const int axes : {1, 2}) {
    if (what == "accuracy") accuracy(axes, count, seed);
    if (what == "coverage") coverage(axes, count, seed);
  }
  return 0;
}
