#include "pivotrace/machine/conditions.h"

namespace pivotrace {

Conditions overlaid(const Conditions& base, const Conditions& over) {
  Conditions both = base;
  if (over.probe) both.probe = over.probe;
  if (over.probe_calibrated) both.probe_calibrated = over.probe_calibrated;
  if (over.tables_on) both.tables_on = over.tables_on;
  if (over.load_kg) both.load_kg = over.load_kg;
  if (over.warm_minutes) both.warm_minutes = over.warm_minutes;
  if (over.clamped) both.clamped = over.clamped;
  if (over.tables_written) both.tables_written = over.tables_written;
  if (over.rollover) both.rollover = over.rollover;
  for (const auto& [axis, step] : over.index_step_rad) both.index_step_rad[axis] = step;
  for (const auto& [name, which] : over.artefacts) both.artefacts[name] = which;
  return both;
}

}  // namespace pivotrace
