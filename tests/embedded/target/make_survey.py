#!/usr/bin/env python3
"""Invents the surveys the measuring program runs, as C arrays.

    make_survey.py one|two > survey.h

60 touches at 12 stations, rough nominal values as far off as they may be (10 mm and 0.05 rad). Shares
no code with the library: plain rotations here, closed-form ball contact. Units as in core.h.
"""
import math
import random
import sys

COUNTS = 100000  # 10 nm a mm


def turn(vector, axis, angle):
    """Rodrigues."""
    c, s = math.cos(angle), math.sin(angle)
    dot = sum(v * a for v, a in zip(vector, axis))
    cross = [axis[1] * vector[2] - axis[2] * vector[1],
             axis[2] * vector[0] - axis[0] * vector[2],
             axis[0] * vector[1] - axis[1] * vector[0]]
    return [v * c + x * s + a * dot * (1 - c) for v, x, a in zip(vector, cross, axis)]


def unit(vector):
    length = math.sqrt(sum(v * v for v in vector))
    return [v / length for v in vector]


def about(point, line, angle):
    arm = [p - c for p, c in zip(point, line["point"])]
    return [c + a for c, a in zip(line["point"], turn(arm, line["direction"], angle))]


def survey(kind):
    """Nominal axes, true axes, ball, angles of the stations."""
    x_axis = {"point": [-250.0, -213.6, -304.6], "direction": unit([1.0, 0.035, -0.03])}
    z_axis = {"point": [-256.1, -215.2, -330.0], "direction": unit([-0.03, 0.035, 1.0])}
    if kind == "one":
        return [x_axis], [-180.0, -160.0, -270.0], [[30.0 * k] for k in range(12)]
    angles = [[a, c] for a in (0.0, 40.0, 85.0) for c in (0.0, 90.0, 180.0, 270.0)]
    return [x_axis, z_axis], [-200.0, -220.0, -290.0], angles


def touches(kind, seed=20260302):
    noise = random.Random(seed)
    axes, ball, stations = survey(kind)
    radius = 0.5 * (25.4 + 6.0)
    rows = []
    reached = {}
    for angles in stations:
        errors = []
        for k, angle in enumerate(angles):
            errors.append(reached.setdefault((k, angle), noise.gauss(0.0, 4.0 / 206265.0)))
        centre = ball
        for k in reversed(range(len(axes))):
            # Work-carrying axes that follow the trade: left-handed.
            centre = about(centre, axes[k], -(math.radians(angles[k]) + errors[k]))
        shift = [noise.gauss(0.0, 0.002) for _ in range(3)]
        for bearing in (10.0, 82.0, 154.0, 226.0, None):
            if bearing is None:
                outward = [0.0, 0.0, 1.0]
            else:
                outward = [math.cos(math.radians(bearing)), math.sin(math.radians(bearing)), 0.0]
            reach = radius + noise.gauss(0.0, 0.0005)
            at = [c + s + reach * o for c, s, o in zip(centre, shift, outward)]
            rows.append((angles, [round(v * COUNTS) for v in at]))
    return rows


def main():
    kind = sys.argv[1]
    rows = touches(kind)
    print("/* Invented by make_survey.py. */")
    print(f"#define SURVEY_AXES {1 if kind == 'one' else 2}")
    print(f"#define SURVEY_TOUCHES {len(rows)}")
    print("static const int32_t survey_rows[SURVEY_TOUCHES][5] = {")
    for angles, at in rows:
        both = [round(a * 1e6) for a in angles] + [0] * (2 - len(angles))
        print("    {" + ", ".join(str(v) for v in both + at) + "},")
    print("};")


if __name__ == "__main__":
    main()
