"""One fit of the same model with SciPy's least_squares, as a setter's script would do it.

Usage: fit_once.py MACHINE TOUCHES. Prints the axis lines. For timing a whole process.
"""

import math
import sys

import same_model
from scipy.optimize import least_squares


def main(machine_file, touch_file):
    machine = same_model.Machine(machine_file)
    index_sigma = {axis["letter"]: math.radians(5.0 / 3600.0) for axis in machine.axes}
    model = same_model.load(machine_file, touch_file, 0.0005, 0.002, index_sigma)
    solution = least_squares(model.residuals, model.start())
    for k in model.axis_first:
        point, direction = model.axis_line(k, solution.x)
        print(machine.axes[k]["letter"], point, direction)


if __name__ == "__main__":
    main(*sys.argv[1:3])
