"""Fits one survey with pivotrace and with SciPy and compares lines, places and uncertainties.

Usage: compare_fit.py PIVOTRACE MACHINE TOUCHES
Exit code 77 (skipped) when NumPy or SciPy is missing.
"""

import json
import math
import subprocess
import sys

try:
    import numpy as np
    import same_model
except ImportError as missing:
    print(f"SKIPPED: {missing}. Install python3-scipy to run the comparison with SciPy.")
    sys.exit(77)

LENGTH_MM = 1e-7
ANGLE_RAD = 1e-9
# Standard uncertainties come from a finite-difference Jacobian on the SciPy side.
RELATIVE_U = 1e-4


class Comparison:
    def __init__(self):
        self.failures = []

    def check(self, what, difference, allowed):
        print(f"{what}: {difference:.3g} (allowed {allowed:.3g})")
        if not difference <= allowed:
            self.failures.append(what)


def fitted(program, machine_file, touch_file):
    run = subprocess.run([program, "fit", machine_file, touch_file, "--json"],
                         capture_output=True, text=True)
    if run.returncode not in (0, 1):
        sys.exit(f"pivotrace failed: {run.stderr}")
    return json.loads(run.stdout)


def compare_axis(comparison, model, solution, covariance, k, result):
    letter = model.machine.axes[k]["letter"]
    point, direction = model.axis_line(k, solution.x)
    axis = result["axes"][letter]
    comparison.check(f"axis {letter} point, mm", np.abs(point - axis["point"]).max(), LENGTH_MM)
    comparison.check(f"axis {letter} direction, rad", np.abs(direction - axis["direction"]).max(),
                     ANGLE_RAD)
    if any(line["source"].startswith(("stylus offset", "scale", "squareness"))
           for line in result.get("budget", [])):
        return  # common-mode terms widen u_absolute beyond what this model holds
    first = model.axis_first[k]
    e1, e2 = same_model.cross_pair(model.machine.axes[k]["n"])
    for key, location in axis["centre"].items():
        g = np.zeros(model.unknowns)
        g[first], g[first + 1] = e1["XYZ".index(key)], e2["XYZ".index(key)]
        u = math.sqrt(g @ covariance @ g)
        comparison.check(f"axis {letter} u of {key}, relative", abs(location["u_absolute"] / u - 1),
                         RELATIVE_U)


def main(program, machine_file, touch_file):
    result = fitted(program, machine_file, touch_file)
    fit = result["fit"]
    index_sigma = {letter: math.radians(value / 3600.0)
                   for letter, value in fit["index_sigma_arcsec"].items()}
    repeat_sigma = {letter: math.radians(value / 3600.0)
                    for letter, value in fit["index_repeat_sigma_arcsec"].items()}
    model = same_model.load(machine_file, touch_file, fit["touch_sigma"], fit["station_sigma"],
                            index_sigma, fit["axis_motion_sigma"], repeat_sigma)
    solution = model.solve()
    covariance = np.linalg.inv(solution.jac.T @ solution.jac)
    comparison = Comparison()
    for k in model.axis_first:
        compare_axis(comparison, model, solution, covariance, k, result)
    for name, first in model.place_first.items():
        if model.machine.artefacts[name]["kind"] != "ball":
            continue
        centre = model.machine.artefacts[name]["at"] + solution.x[first:first + 3]
        position = result["artefacts"][name]["position"]
        difference = max(abs(centre["XYZ".index(key)] - value["value"])
                         for key, value in position.items())
        comparison.check(f"{name} centre, mm", difference, LENGTH_MM)
    if comparison.failures:
        sys.exit("differs from SciPy: " + ", ".join(comparison.failures))


if __name__ == "__main__":
    main(*sys.argv[1:4])
