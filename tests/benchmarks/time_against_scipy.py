"""Times `pivotrace fit` as a whole process against a SciPy script with the same model on the same
file, turn by turn, and prints the medians and the ratio.

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


def main(program, machine_file, touch_file, runs="5"):
    ours = [program, "fit", machine_file, touch_file]
    theirs = ["/usr/bin/python3", str(SCRIPT), machine_file, touch_file]
    seconds(ours), seconds(theirs)  # warm the caches
    pairs = [(seconds(ours), seconds(theirs)) for _ in range(int(runs))]
    ratios = [b / a for a, b in pairs]
    print(f"pivotrace: {1e3 * statistics.median(a for a, _ in pairs):.1f} ms")
    print(f"SciPy:     {1e3 * statistics.median(b for _, b in pairs):.1f} ms")
    print(f"ratio:     {statistics.median(ratios):.0f} (lowest {min(ratios):.0f})")


if __name__ == "__main__":
    main(*sys.argv[1:5])
