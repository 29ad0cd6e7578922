#include <doctest/doctest.h>
#include <fmt/format.h>

#include <iostream>

#include "pivotrace/files/machine_file.h"
#include "pivotrace/geometry/angle.h"
#include "pivotrace/plan/make_plan.h"

using namespace pivotrace;

TEST_CASE("print") {
  for (const char* name : {"fourth-axis", "trunnion"}) {
    const auto machine = read_machine(std::string(PIVOTRACE_SOURCE_DIR) + "/examples/" + name + ".machine.toml");
    REQUIRE(machine);
    for (Purpose p : {Purpose::commissioning, Purpose::periodic_check, Purpose::after_crash}) {
      PlanRequest request;
      request.purpose = p;
      const auto outcome = make_plan(*machine, request);
      if (!outcome) {
        for (auto& problem : outcome.error()) std::cout << describe(problem) << "\n";
        continue;
      }
      std::cout << fmt::format("{} {}: {} stations {} touches {:.2f} min safe {}\n", name, word_of(p),
                               outcome->plan.stations.size(), outcome->plan.touch_count(), outcome->plan.minutes, outcome->plan.distances.safe_height);
      for (auto& s : outcome->plan.stations) {
        std::cout << s.label << ": ";
        for (std::size_t i = 0; i < machine->rotary.size(); ++i) std::cout << deg_from_rad(s.angles_rad[i]) << " ";
        std::cout << s.touches.size() << "\n";
      }
      for (auto& l : outcome->left_out) std::cout << "left out " << l.station << ": " << l.reason << "\n";
      for (auto& o : outcome->plan.predicted) std::cout << o.name << " " << o.symbol << " " << (o.is_angle ? arcsec_from_rad(o.U95) : 1000*o.U95) << "\n";
      for (auto& l : outcome->limited_by) std::cout << l << "\n";
      for (auto& g : outcome->gains) { std::cout << g.addition << " " << g.minutes << "\n"; for (auto& o : g.predicted) std::cout << "   " << o.name << " " << (o.is_angle ? arcsec_from_rad(o.U95) : 1000*o.U95) << "\n"; }
    }
  }
}
