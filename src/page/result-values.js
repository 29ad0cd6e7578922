// Values of a result, as the rooms show them, and the file its limits stand in.
import { stemOf } from './bench.js';

export const limitsName = (name) => `${stemOf(name)}.limits.toml`;

/** All values of a result with a U95, flat. */
export function valuesOf(result) {
  const values = new Map();
  for (const [axis, each] of Object.entries(result.axes)) {
    for (const [direction, value] of Object.entries(each.centre ?? {})) values.set(`${axis}.centre.${direction}`, { value: value.value, U95: value.U95_absolute, unit: 'mm' });
    for (const [direction, value] of Object.entries(each.orientation ?? {})) values.set(`${axis}.orientation.${direction}`, { value: value.value_deg, U95: value.U95_absolute_deg, unit: 'deg' });
  }
  return values;
}
