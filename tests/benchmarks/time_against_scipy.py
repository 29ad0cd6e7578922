"""Times pivotrace against SciPy with the same model on the same file, turn by turn: `fit` as a whole
process against a whole script, and one trial of `fit --trials` against one least_squares call.

Usage: time_against_scipy.py PIVOTRACE MACHINE TOUCHES [RUNS]
"""

import pathlib
import statistics
import subprocess
import sys
import time

SCRIPT = pathlib.Path(__file__).resolve().parent.parent / "scipy" / "fit_once.py"


def seconds(command):
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return time.perf_counter() - start


def solve_seconds(machine_file, touch_file):
    """One least_squares call inside a running interpreter: no start-up counted."""
    code = ("import sys, time; sys.path.insert(0, sys.argv[1]); import math, same_model;"
            "from scipy.optimize import least_squares;"
            "machine = same_model.Machine(sys.argv[2]);"
            "sigma = {a['letter']: math.radians(5 / 3600) for a in machine.axes};"
            "model = same_model.load(sys.argv[2], sys.argv[3], 0.0005, 0.002, sigma);"
            "start = time.perf_counter(); least_squares(model.residuals, model.start());"
            "print(time.perf_counter() - start)")
    run = subprocess.run(["/usr/bin/python3", "-c", code, str(SCRIPT.parent), machine_file, touch_file],
                         check=True, capture_output=True, text=True)
    return float(run.stdout)


def compare_trials(program, machine_file, touch_file, trials=20000):
    fit = [program, "fit", machine_file, touch_file]
    once = seconds(fit)
    ours = (seconds(fit + ["--trials", str(trials)]) - once) / trials
    theirs = solve_seconds(machine_file, touch_file)
    print(f"one trial: pivotrace {1e6 * ours:.0f} us on all cores, SciPy {1e3 * theirs:.0f} ms, "
          f"ratio {theirs / ours:.0f}")


def main(program, machine_file, touch_file, runs="5"):
    ours = [program, "fit", machine_file, touch_file]
    theirs = ["/usr/bin/python3", str(SCRIPT), machine_file, touch_file]
    seconds(ours), seconds(theirs)  # warm the caches
    pairs = [(seconds(ours), seconds(theirs)) for _ in range(int(runs))]
    ratios = [b / a for a, b in pairs]
    print(f"pivotrace: {1e3 * statistics.median(a for a, _ in pairs):.1f} ms")
    print(f"SciPy:     {1e3 * statistics.median(b for _, b in pairs):.1f} ms")
    print(f"ratio:     {statistics.median(ratios):.0f} (lowest {min(ratios):.0f})")
    compare_trials(program, machine_file, touch_file)


if __name__ == "__main__":
    main(*sys.argv[1:5])
