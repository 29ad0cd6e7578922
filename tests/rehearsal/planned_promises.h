// What a plan promises, held against many rehearsals of its own program on machines drawn within what the
// file says of them.
#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "pivotrace/results/value_name.h"
#include "rehearsal/demo_loop.h"

namespace pivotrace::test {

struct PromisedValue {
  ValueName name;
  double predicted_U95 = 0.0;  ///< absolute [mm or rad]
  double mean_U95 = 0.0;       ///< of the surveys
  int surveys = 0;
  int held = 0;
  double reached() const { return mean_U95 / predicted_U95; }
};

struct KeptPromises {
  double planned_minutes = 0.0;
  double rehearsed_minutes = 0.0;  ///< without noise
  int surveys = 0;
  std::vector<std::string> refused;  ///< stopped, or no fit: why
  std::vector<PromisedValue> values;

  double share_held() const;
  double least_reached() const;
  double most_reached() const;
};

/// The machine as one survey may find it: axis lines and artefacts a little elsewhere; diameters, stylus,
/// scales and squareness off by what the file says of them; what is bounded drawn within its bounds.
RehearsalTruth drawn_truth(const DemoLoop& loop, std::uint64_t seed);

/// What the machine scatters by: exactly what its file says, or drawn about it for every survey.
enum class Sigmas { exact, drawn };

/// So many noisy rehearsals, seeds `seed` and on.
KeptPromises kept_promises(const DemoLoop& loop, int surveys, std::uint64_t seed,
                           Sigmas sigmas = Sigmas::exact);

/// The plan that `plan --for` this purpose finds, its program for the invented control.
DemoLoop searched_loop(const Machine& machine, Purpose purpose);

}  // namespace pivotrace::test
