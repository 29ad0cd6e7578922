"""The model of the estimator written a second time, with NumPy and SciPy only.

An oracle for the tests: it shares no code with pivotrace. Everything is in mm and radians, machine
frame. Unknowns: 4 per turned rotary axis (two shifts in the quoted plane, two leans), the place of
every touched artefact, one effective radius per artefact, the random shift of the slides of every station,
and what is random but repeats: for every index position of every turned axis (an angle, modulo one
turn, angles within 1 deg being one) an angle error and a displacement of what the axis carries; and,
where stated, an angle error of every arrival, shared by the stations until the axis turns again. All
of these in units of their sigmas.
"""

import csv
import math
import tomllib

import numpy as np
from scipy.optimize import least_squares

UNIT = {"X": np.array([1.0, 0, 0]), "Y": np.array([0, 1.0, 0]), "Z": np.array([0, 0, 1.0])}


def cross_pair(n):
    nearest = int(np.argmax(np.abs(n)))
    candidate = np.eye(3)[(nearest + 1) % 3]
    first = candidate - n * n.dot(candidate)
    first /= np.linalg.norm(first)
    return first, np.cross(n, first)


def rotated(v, u, t):
    return v * math.cos(t) + np.cross(u, v) * math.sin(t) + u * u.dot(v) * (1 - math.cos(t))


class Machine:
    """Reads a machine file."""

    def __init__(self, path):
        with open(path, "rb") as file:
            data = tomllib.load(file)
        mm = 25.4 if data["units"] == "inch" else 1.0
        self.axes = [self.axis(axis, mm) for axis in data.get("rotary", [])]
        probe = data["probe"]
        self.stylus_radius = 0.5 * probe["stylus_diameter"] * mm
        self.stylus_u = 0.5 * probe["stylus_diameter_u"] * mm if "stylus_diameter_u" in probe else None
        self.tip = probe.get("length_datum", "centre") == "tip"
        letters = [axis["letter"] for axis in self.axes]
        self.artefacts = {a["name"]: self.artefact(a, letters, mm) for a in data["artefact"]}

    @staticmethod
    def axis(axis, mm):
        n = UNIT[axis["along"]] if "along" in axis else np.array(axis["direction"], float)
        n = n / np.linalg.norm(n)
        centre = np.array(axis["centre"], float) * mm
        quote = axis["quote_at"] * mm if "quote_at" in axis else n.dot(centre)
        return {"letter": axis["letter"], "tool": axis["carries"] == "tool", "n": n,
                "c": centre + n * (quote - n.dot(centre)),
                "turn": 1.0 if axis["positive_turn"] == "right-hand" else -1.0}

    @staticmethod
    def artefact(data, letters, mm):
        n = np.array(data.get("direction", [0, 0, 1]), float)
        carrier = data["carried_by"]
        return {"kind": data["kind"], "at": np.array(data["at"], float) * mm,
                "last": -1 if carrier == "bed" else letters.index(carrier),
                "n": n / np.linalg.norm(n),
                "radius": 0.5 * data["diameter"] * mm if "diameter" in data else 12.5,
                "u": 0.5 * data["diameter_u"] * mm if "diameter_u" in data else None}


def read_touches(path, machine):
    """Rows of a touch record as dictionaries; comma-separated records only."""
    with open(path, newline="") as file:
        text = file.read().splitlines()
    meta = dict(line[1:].split(":", 1) for line in text if line.startswith("#") and ":" in line)
    meta = {key.strip(): value.strip() for key, value in meta.items()}
    mm = 25.4 if meta.get("units") == "inch" else 1.0
    tip = meta.get("length_datum", "tip" if machine.tip else "centre") == "tip"
    rows, last, index = [], None, -1
    for row in csv.DictReader(line for line in text if line.strip() and not line.startswith("#")):
        angles = [math.radians(float(row.get(axis["letter"]) or 0.0)) for axis in machine.axes]
        station = row.get("station") or repr(angles)
        if station != last:
            index, last = index + 1, station
        shown = np.array([float(row[k]) for k in "XYZ"]) * mm
        kind = row.get("kind") or meta.get("kind") or "touch"
        if tip and kind == "touch":
            shown[2] += machine.stylus_radius
        rows.append({"station": index, "q": shown, "angles": angles, "kind": kind,
                     "artefact": row.get("artefact") or next(iter(machine.artefacts))})
    return rows


class Model:
    """Residuals of one survey in units of the touch sigma, with station effects carried along."""

    SIZES = {"ball": 3, "pin": 4, "bore": 4, "flat": 3}

    def __init__(self, machine, rows, touch_sigma, station_sigma, index_sigma, motion_sigma=None,
                 repeat_sigma=None):
        self.machine, self.rows = machine, rows
        self.touch_sigma, self.station_sigma = touch_sigma, station_sigma
        self.stations = rows[-1]["station"] + 1
        self.turned = [k for k in range(len(machine.axes))
                       if len({row["angles"][k] for row in rows}) > 1]
        letters = {k: machine.axes[k]["letter"] for k in self.turned}
        self.index_sigma = {k: index_sigma[letters[k]] for k in self.turned}
        self.motion_sigma = {k: (motion_sigma or {}).get(letters[k], 0.0) for k in self.turned}
        self.repeat_sigma = {k: (repeat_sigma or {}).get(letters[k], 0.0) for k in self.turned}
        self.names = [name for name in machine.artefacts
                      if any(row["artefact"] == name for row in rows)]
        self.lay_out()

    def lay_out(self):
        count = 0
        self.axis_first, self.place_first, self.radius_at = {}, {}, {}
        for k in self.turned:
            self.axis_first[k], count = count, count + 4
        for name in self.names:
            self.place_first[name] = count
            count += self.SIZES[self.machine.artefacts[name]["kind"]]
        for name in self.names:
            touched = any(r["artefact"] == name and r["kind"] == "touch" for r in self.rows)
            if touched and self.machine.artefacts[name]["kind"] != "flat":
                self.radius_at[name], count = count, count + 1
        self.main = count
        self.effects = 3 if self.station_sigma > 0 else 0
        count += self.stations * self.effects
        self.position_at, self.arrival_at = {}, {}
        for k in self.turned:
            count = self.lay_out_positions(k, count)
        self.unknowns = count
        self.prior_root, self.prior_mean = self.prior()

    def lay_out_positions(self, k, count):
        """Unknowns of each station for its position (1 angle, 3 of motion) and its arrival."""
        angle = {row["station"]: row["angles"][k] for row in self.rows}
        places = []
        for station in sorted(angle, key=lambda s: math.remainder(angle[s], 2 * math.pi)):
            apart = [abs(math.remainder(angle[station] - other, 2 * math.pi)) for other, _ in places]
            near = [j for j, a in enumerate(apart) if a <= math.radians(1.0)]
            if near:
                self.position_at[k, station] = places[near[0]][1]
                continue
            places.append((angle[station], count))
            self.position_at[k, station] = count
            count += 4
        last = None
        for station in sorted(angle):
            if self.repeat_sigma[k] > 0 and angle[station] != last:
                last, arrival = angle[station], count
                count += 1
            if self.repeat_sigma[k] > 0:
                self.arrival_at[k, station] = arrival
        return count

    def side(self, name):
        return -1.0 if self.machine.artefacts[name]["kind"] == "bore" else 1.0

    def prior(self):
        """Generalised: rho = R + side r with R ~ N(R0, uR) and a common r ~ N(r0, ur)."""
        names = list(self.radius_at)
        mean = np.array([self.machine.artefacts[n]["radius"] + self.side(n) * self.machine.stylus_radius
                         for n in names])
        if self.machine.stylus_u is None:
            known = []
        else:
            known = [k for k, n in enumerate(names) if self.machine.artefacts[n]["u"] is not None]
        root = np.zeros((len(known), len(names)))
        if known:
            side = np.array([self.side(names[k]) for k in known])
            own = np.diag([self.machine.artefacts[names[k]]["u"] ** 2 for k in known])
            covariance = own + self.machine.stylus_u ** 2 * np.outer(side, side)
            root[:, known] = np.linalg.cholesky(np.linalg.inv(covariance)).T
        return root, mean

    def start(self):
        x = np.zeros(self.unknowns)
        for at, mean in zip(self.radius_at.values(), self.prior_mean):
            x[at] = mean
        return x

    @staticmethod
    def line(base, n, p):
        e1, e2 = cross_pair(n)
        direction = n + p[2] * e1 + p[3] * e2
        return base + p[0] * e1 + p[1] * e2, direction / np.linalg.norm(direction)

    def axis_line(self, k, x):
        axis = self.machine.axes[k]
        p = x[self.axis_first[k]:][:4] if k in self.axis_first else np.zeros(4)
        return self.line(axis["c"], axis["n"], p)

    def residuals(self, x):
        out = []
        lines = [self.axis_line(k, x) for k in range(len(self.machine.axes))]
        for row in self.rows:
            z = x[self.main + row["station"] * self.effects:][:self.effects]
            q = row["q"] + (self.station_sigma * z[:3] if self.station_sigma > 0 else 0.0)
            angles = list(row["angles"])
            motions = [np.zeros(3) for _ in self.machine.axes]
            for k in self.turned:
                at = self.position_at[k, row["station"]]
                angles[k] += self.index_sigma[k] * x[at]
                motions[k] = self.motion_sigma[k] * x[at + 1:at + 4]
                if (k, row["station"]) in self.arrival_at:
                    angles[k] += self.repeat_sigma[k] * x[self.arrival_at[k, row["station"]]]
            out.extend(self.gap(row, q, angles, motions, lines, x) / self.touch_sigma)
        out.extend(x[self.main:])  # every random effect has the prior 0 +- 1
        rho = np.array([x[at] for at in self.radius_at.values()])
        out.extend(self.prior_root @ (rho - self.prior_mean))
        return np.array(out)

    def gap(self, row, q, angles, motions, lines, x):
        artefact = self.machine.artefacts[row["artefact"]]
        arm = np.zeros(3)
        for k in reversed(range(len(self.machine.axes))):
            if self.machine.axes[k]["tool"]:
                c, u = lines[k]
                arm = c + rotated(arm - c, u, self.machine.axes[k]["turn"] * angles[k])
                arm = arm + motions[k]
        p = q + arm
        for k, axis in enumerate(self.machine.axes):
            if not axis["tool"] and k <= artefact["last"]:
                c, u = lines[k]
                p = c + rotated(p - motions[k] - c, u, -axis["turn"] * angles[k])
        return self.surface_gap(row, artefact, p, x)

    def surface_gap(self, row, artefact, p, x):
        place = x[self.place_first[row["artefact"]]:]
        kind = artefact["kind"]
        if kind == "ball" and row["kind"] == "centre":
            return p - artefact["at"] - place[:3]
        if kind == "ball":
            distance = np.linalg.norm(p - artefact["at"] - place[:3])
            return np.array([distance - x[self.radius_at[row["artefact"]]]])
        if kind == "flat":
            e1, e2 = cross_pair(artefact["n"])
            normal = artefact["n"] + place[1] * e1 + place[2] * e2
            normal /= np.linalg.norm(normal)
            point = artefact["at"] + place[0] * artefact["n"]
            return np.array([normal.dot(p - point) - self.machine.stylus_radius])
        c, u = self.line(artefact["at"], artefact["n"], place[:4])
        distance = np.linalg.norm((p - c) - u * u.dot(p - c))
        radius = x[self.radius_at[row["artefact"]]]
        return np.array([distance - radius if kind == "pin" else radius - distance])

    def solve(self):
        """least_squares, then Gauss-Newton steps with central differences until they vanish: the
        forward differences of MINPACK alone stop some 1e-5 mm short."""
        scale = np.ones(self.unknowns)
        for first in self.axis_first.values():
            scale[first + 2:first + 4] = 1e-2
        solution = least_squares(self.residuals, self.start(), method="lm", x_scale=scale,
                                 xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=200000)
        for _ in range(3):
            solution.jac = self.jacobian(solution.x)
            step = np.linalg.lstsq(solution.jac, -self.residuals(solution.x), rcond=None)[0]
            solution.x = solution.x + step
        solution.jac = self.jacobian(solution.x)
        return solution

    def jacobian(self, x, step=1e-5):
        columns = []
        for k in range(self.unknowns):
            shift = np.zeros(self.unknowns)
            shift[k] = step
            columns.append((self.residuals(x + shift) - self.residuals(x - shift)) / (2 * step))
        return np.array(columns).T


def load(machine_file, touch_file, touch_sigma, station_sigma, index_sigma_rad, motion_sigma=None,
         repeat_sigma_rad=None):
    machine = Machine(machine_file)
    return Model(machine, read_touches(touch_file, machine), touch_sigma, station_sigma,
                 index_sigma_rad, motion_sigma, repeat_sigma_rad)
