"""Computes the certificate of a plan again, with NumPy alone and none of its code.

usage: recompute_certificate.py PIVOTRACE MACHINE_FILE MINUTES SCRATCH_FOLDER

The certificate lists every visit (angles, touches, least minutes) and says that no survey made of them gets the
worst U95 / wanted below its bound. The bound is the value of a convex problem: the largest of these bounds
over all vectors equals the smallest worst ratio over all surveys of visits in fractions. So it is not needed
how the unknowns were written: here they are written differently (a ball, circles, finite differences), fractions
are found anew, and the bound must lie where that puts it, to 1 %. Without bounds no scatter shows: the
machine file is made to say that there are none.
"""

import itertools
import json
import math
import subprocess
import sys
import tomllib
from pathlib import Path

try:
    import numpy as np
except ImportError:
    print("SKIPPED: python3-numpy is not installed")
    sys.exit(77)

NORMAL_95 = 1.959963984540054
ONE_PERCENT = 0.01
NO_BOUNDS = """
[bounds]
lobing = 0.0
drift_per_run = 0.0
squareness_um_per_m = 0.0
scale_um_per_m = 0.0
place = 0.0
index_wave_arcsec = 0.0
between_surveys = 0.0
"""


def without_bounds(text):
    kept = []
    for line in text.splitlines():
        start = line.split("=")[0].strip()
        if start in ("scale_u_um_per_m", "squareness_u_um_per_m"):
            continue
        if start == "offset_u":
            line = "offset_u = { X = 0.0, Y = 0.0, Z = 0.0 }"
        if start == "index_sigma_arcsec":
            line += "\naxis_motion_sigma = 0.0"
        kept.append(line)
    return "\n".join(kept) + NO_BOUNDS


def turned(vector, axis, angle):
    """Rodrigues."""
    cross = np.cross(axis, vector)
    return (vector * math.cos(angle) + cross * math.sin(angle)
            + axis * axis.dot(vector) * (1.0 - math.cos(angle)))


class Bench:
    """Work-carrying axes and one ball; unknowns: two coordinates and two leans of every axis, the ball's
    place and the effective radius."""

    def __init__(self, data):
        self.axes = []
        for axis in data["rotary"]:
            along = "XYZ".index(axis["along"])
            self.axes.append({
                "letter": axis["letter"], "across": [k for k in range(3) if k != along],
                "n": np.eye(3)[along], "at": np.array(axis["centre"], float),
                "quote": axis["quote_at"], "along": along,
                "turn": 1.0 if axis["positive_turn"] == "right-hand" else -1.0,
                "sigma": math.radians(axis["index_sigma_arcsec"] / 3600.0)})
            assert axis["carries"] == "work"
        ball, = data["artefact"]
        self.ball = np.array(ball["at"], float)
        self.radius = 0.5 * (ball["diameter"] + data["probe"]["stylus_diameter"])
        self.radius_u = 0.5 * math.hypot(ball["diameter_u"], data["probe"]["stylus_diameter_u"])
        self.touch = data["probe"]["touch_sigma"]
        self.slides = data["linear"]["station_sigma"]
        self.count = 4 * len(self.axes) + 4

    def lines(self, x):
        for k, axis in enumerate(self.axes):
            own = x[4 * k:4 * k + 4]
            point, direction = axis["at"].copy(), axis["n"].copy()
            point[axis["along"]] = axis["quote"]
            for j, along in enumerate(axis["across"]):
                point[along] += own[j]
                direction[along] += own[2 + j]
            yield point, direction / np.linalg.norm(direction), axis["turn"]

    def place(self, x, angles):
        """Of the ball's centre, machine frame."""
        p = self.ball + x[-4:-1]
        for (point, direction, turn), angle in reversed(list(zip(self.lines(x), angles))):
            p = point + turned(p - point, direction, turn * angle)
        return p

    def gaps(self, x, angles, outward):
        """How far beyond the surface every stylus stands that touches where the ball nominally is."""
        zero = np.zeros(self.count)
        at = self.place(zero, self.commanded) + self.radius * outward
        return np.linalg.norm(at - self.place(x, angles), axis=1) - self.radius - x[-1]

    def rows(self, visit):
        """By unknowns, by the angle of every axis in units of its sigma; the slides' error taken out."""
        angles = np.array([math.radians(visit["angles"][axis["letter"]]) for axis in self.axes])
        self.commanded = angles
        around = np.radians([touch["around"] for touch in visit["touches"]])
        up = np.radians([touch["up"] for touch in visit["touches"]])
        outward = np.stack([np.cos(up) * np.cos(around), np.cos(up) * np.sin(around), np.sin(up)], 1)
        columns = []
        for j in range(self.count + len(self.axes)):
            step = 1e-5 if j < self.count else 1e-6
            ends = []
            for sign in (step, -step):
                x, turned_to = np.zeros(self.count), angles.copy()
                if j < self.count:
                    x[j] = sign
                else:
                    turned_to[j - self.count] += sign
                ends.append(self.gaps(x, turned_to, outward))
            scale = 1.0 if j < self.count else self.axes[j - self.count]["sigma"]
            columns.append(scale * (ends[0] - ends[1]) / (2 * step))
        noise = self.touch ** 2 * np.eye(len(up)) + self.slides ** 2 * outward @ outward.T
        return np.linalg.solve(np.linalg.cholesky(noise), np.array(columns).T)


def index_numbers(bench, visits):
    """An angle of an axis, modulo one turn, has one error for all visits there."""
    numbers = {}
    for visit, k in itertools.product(visits, range(len(bench.axes))):
        numbers.setdefault((k, round(visit["angles"][bench.axes[k]["letter"]] % 360.0, 3)), len(numbers))
    return numbers


class Design:
    """Fractions of visits by multiplicative weights. An index error is known beforehand once, and no better than
    once per visit that feels it: of its prior the part `part` counts with every visit, the rest once. Any part is
    valid; where less than one visit comes, all of it with visits proves most, where more come, once does."""

    def __init__(self, bench, certificate):
        visits = certificate["visits"]
        numbers = index_numbers(bench, visits)
        p, n = bench.count, bench.count + len(numbers)
        self.minutes = np.array([visit["least_minutes"] for visit in visits])
        self.total = certificate["certificate"]["counted_minutes"]
        self.p, self.n = p, n
        self.columns, self.information = [], []
        for visit in visits:
            rows = bench.rows(visit)
            own = [p + numbers[k, round(visit["angles"][axis["letter"]] % 360.0, 3)]
                   for k, axis in enumerate(bench.axes)]
            self.columns.append(list(range(p)) + own)
            self.information.append(rows.T @ rows)
        self.columns = np.array(self.columns)
        self.information = np.array(self.information)
        self.known = np.zeros(n)
        self.known[:p] = 1e-6
        self.known[p - 1] += bench.radius_u ** -2
        lengths, angles = [], []
        for k in range(len(bench.axes)):
            lengths += [4 * k, 4 * k + 1]
            angles += [4 * k + 2, 4 * k + 3]
        scale = {unit: {round(math.hypot(v["wanted"], v["least"]), 12) for v in certificate["wanted"]
                        if v["unit"] == unit} for unit in ("mm", "deg")}
        (mm,), (deg,) = scale["mm"], scale["deg"]
        self.asked = np.zeros((n, len(lengths) + len(angles)))
        for k, j in enumerate(lengths + angles):
            self.asked[j, k] = 1.0
        self.scale = np.array([mm] * len(lengths) + [math.radians(deg)] * len(angles))

    def solve(self, rounds):
        """(largest bound proven, worst ratio of the last survey in fractions)."""
        share = np.full(len(self.minutes), 1.0 / len(self.minutes))
        level = np.full(len(self.scale), 1.0 / len(self.scale))
        part = np.ones(self.n - self.p)
        proven, reached = 0.0, math.inf
        for step in range(rounds):
            before = self.known.copy()
            before[self.p:] += np.maximum(1.0 - part, 1e-9)
            used = share > 0.0
            times = self.total * share[used] / self.minutes[used]
            at = self.columns[used]
            m = np.diag(before)
            np.add.at(m, (at[:, :, None], at[:, None, :]), times[:, None, None] * self.information[used])
            coming = np.zeros(self.n)
            np.add.at(coming, at[:, self.p:], times[:, None])
            m[np.arange(self.p, self.n), np.arange(self.p, self.n)] += part * coming[self.p:]
            a = np.linalg.solve(m, self.asked)
            variance = np.einsum("ij,ij->j", self.asked, a)
            ratio = variance / self.scale ** 2
            weight = level / self.scale ** 2
            seen = a[self.columns]
            gain = np.einsum("vik,vik,k->v", seen, self.information @ seen, weight)
            own = self.columns[:, self.p:]
            gain += np.einsum("vik,k,vi->v", a[own] ** 2, weight, part[own - self.p])
            gain /= self.minutes
            along = weight @ variance
            once = np.einsum("ij,i,j->", a ** 2, before, weight)
            proven = max(proven, math.sqrt(along ** 2 / (once + self.total * gain.max())
                                           / (weight @ self.scale ** 2)))
            reached = math.sqrt(ratio.max())
            part = np.clip(part + 0.2 / (1.0 + 0.1 * step) * (1.0 - coming[self.p:]), 0.0, 1.0)
            share = share * np.sqrt(gain / (share @ gain))
            share[share < 1e-7 * share.max()] = 0.0
            share[np.argmax(gain)] = max(share[np.argmax(gain)], 1e-4)
            share /= share.sum()
            level = level * np.sqrt(ratio / ratio.max())
            level /= level.sum()
        return NORMAL_95 * proven, NORMAL_95 * reached


def main():
    pivotrace, machine_file, minutes, folder = sys.argv[1:5]
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    machine = folder / "without-bounds.machine.toml"
    machine.write_text(without_bounds(Path(machine_file).read_text()))
    written = folder / "certificate.json"
    subprocess.run([pivotrace, "plan", machine, "--minutes", minutes, "--certificate", written],
                   check=True, stdout=subprocess.DEVNULL)
    certificate = json.loads(written.read_text())
    said = certificate["certificate"]["bound"]
    bench = Bench(tomllib.loads(machine.read_text()))
    proven, possible = Design(bench, certificate).solve(400)
    print(f"certificate {said:.5f}; computed again: at least {proven:.5f}, at most {possible:.5f}")
    assert said <= possible * (1.0 + 1e-3), "the certificate says more than can be proven"
    assert abs(said / proven - 1.0) <= ONE_PERCENT, "computed again the bound is another"
    assert said <= certificate["certificate"]["reached"]


if __name__ == "__main__":
    main()
