// A plan says how well and how fast; its own program, rehearsed, has to bear that out. 100 rehearsals of
// every demo stand in the benchmark `plan_promises`.
#include <doctest/doctest.h>
#include <fmt/format.h>

#include <cmath>

#include "pivotrace/report/rehearsal_text.h"
#include "rehearsal/planned_promises.h"

using namespace pivotrace;
using namespace pivotrace::test;

namespace {

constexpr double minutes_agree = 0.05;

void check_promises(const std::string& name, const DemoLoop& loop, int surveys) {
  CAPTURE(name);
  const KeptPromises kept = kept_promises(loop, surveys, 1);
  MESSAGE(fmt::format(
      "{}: planned {:.2f}, rehearsed {:.2f} min; {} surveys, held {:.1f} %, U95 {:.2f} to {:.2f} "
      "of what was predicted",
      name, kept.planned_minutes, kept.rehearsed_minutes, kept.surveys, 100.0 * kept.share_held(),
      kept.least_reached(), kept.most_reached()));
  CHECK(kept.refused.empty());
  CHECK(kept.planned_minutes == doctest::Approx(kept.rehearsed_minutes).epsilon(minutes_agree));
  CHECK(kept.least_reached() >= 0.9);
  CHECK(kept.most_reached() <= 1.1);
  // 94 of 100, less three standard deviations of a share when the values of a survey go together.
  CHECK(kept.share_held() >= 0.94 - 3.0 * std::sqrt(0.94 * 0.06 / surveys));
}

}  // namespace

TEST_CASE(
    "rehearsed from its own plan, a demo takes the minutes and reaches the U95 that were planned") {
  for (const char* name : {"fourth-axis", "swivel-head", "pin-in-chuck"}) {
    const Machine machine =
        read_machine(in_source(fmt::format("examples/{}.machine.toml", name))).value();
    const DemoLoop loop = searched_loop(machine, Purpose::commissioning);
    check_promises(name, loop, 40);
  }
}

TEST_CASE(
    "the trunnion is commissioned in under six and a half rehearsed minutes, and first touched as "
    "roughly as allowed") {
  const Machine machine = read_machine(in_source("examples/trunnion.machine.toml")).value();
  const DemoLoop loop = searched_loop(machine, Purpose::commissioning);
  const KeptPromises kept = kept_promises(loop, 6, 1);
  CHECK(kept.rehearsed_minutes < 6.5);
  CHECK(kept.refused.empty());
  CHECK(kept.least_reached() >= 0.9);
  CHECK(kept.most_reached() <= 1.1);
  // Jogged as far off as the file allows, less what the artefact itself is off, in every corner.
  RehearsalOptions options = options_for(loop);
  const Eigen::Vector3d over = options.start_mm;
  const double most = 0.8 * loop.plan.distances.rough;
  for (int corner = 0; corner < 4; ++corner) {
    CAPTURE(corner);
    options.start_mm =
        over + most / std::sqrt(2.0) *
                   Eigen::Vector3d(corner % 2 == 0 ? 1.0 : -1.0, corner < 2 ? 1.0 : -1.0, 0.0);
    const RehearsalReport report =
        rehearse(loop.program.text, "rough.nc", machine, loop.sheet, moved_truth(machine), options)
            .value();
    CAPTURE(rehearsal_text(report, machine));
    CHECK(report.passed);
  }
}
