#!/usr/bin/env python3
"""What the program writes as JSON fits the schemas in examples/schemas, and damage to it does not.

usage: check_schemas.py PIVOTRACE PROJECT_FOLDER

Schemas are checked by Debian's python3-jsonschema; without it the test is skipped (exit code 77).
"""

import json
import pathlib
import subprocess
import sys
import tempfile

try:
    import jsonschema
except ImportError:
    print("SKIPPED: python3-jsonschema is not installed")
    sys.exit(77)

SURVEYS = (("2026-01-12", "a"), ("2026-02-12", "b"), ("2026-03-12", "c"), ("2026-04-12", "d"))


def run(program, folder, *words):
    """Standard output; 0 and 1 are both verdicts."""
    done = subprocess.run([program, *words], cwd=folder, capture_output=True, text=True)
    assert done.returncode in (0, 1), f"{words}: {done.stderr}"
    return done.stdout


def write_results(program, examples, folder):
    """Surveys of one machine on several days; the later ones of a head that was pushed by 0.04 mm in X."""
    text = (examples / "swivel-head.touches.csv").read_text()
    for number, (day, name) in enumerate(SURVEYS):
        lines = [line for line in text.splitlines() if not line.startswith("# started:")]
        lines.insert(0, f"# started: {day}")
        if number % 2:
            lines.insert(0, f"# load_kg: {20 * number}")
        (folder / f"{name}.csv").write_text("\n".join(lines) + f"\n# {name}\n")
        run(program, folder, "fit", "swivel-head.machine.toml", f"{name}.csv", "-o",
            f"{name}.result.json")
    moved = json.loads((folder / "d.result.json").read_text())
    moved["axes"]["B"]["centre"]["X"]["value"] += 0.04
    (folder / "d.result.json").write_text(json.dumps(moved))


def demo_results(program, examples, folder):
    """A result of every demo that has touches."""
    for touches in sorted(examples.glob("*.touches.csv")):
        demo = touches.name.removesuffix(".touches.csv")
        machine = examples / f"{demo}.machine.toml"
        if machine.exists():
            run(program, folder, "fit", str(machine), str(touches), "-o", f"{demo}.demo.json")
            yield "result", (folder / f"{demo}.demo.json").read_text()


def outputs(program, examples, folder):
    """Schema and text of everything that has one."""
    yield from demo_results(program, examples, folder)
    results = [f"{name}.result.json" for _, name in SURVEYS]
    yield "comparison", run(program, folder, "compare", results[0], results[1], "--json")
    yield "comparison", run(program, folder, "compare", results[0], results[3], "--within", "0.02",
                            "--json")
    yield "confirmation", run(program, folder, "confirm", results[0], results[3], "--json")
    yield "confirmation", run(program, folder, "confirm", "fourth-axis.result.json", "--cut-axis",
                              "A", "--cut-at", "0", "180", "--step", "0.03", "--step-u95", "0.004",
                              "--json")
    yield "comparison", run(program, folder, "compare", results[0], results[1], "--limits",
                            "head.limits.toml", "--json")
    yield "history", run(program, folder, "history", *results, "--json", "--within", "0.05")
    yield "history", run(program, folder, "history", *results, "--json", "--limits",
                         "head.limits.toml")


LIMITS = """format = 1
units = "mm"
[[limit]]
value = "B.centre.X"
low = -0.2
high = 0.2
[[limit]]
value = "B.slope.A"
high = 0.03
unit = "mm_per_300"
change = true
"""


def schema_of(examples, kind):
    """The newest schema of this kind of file."""
    newest = max((examples / "schemas").glob(f"{kind}-*.schema.json"))
    return json.loads(newest.read_text())


def refuses_damage(validator, value):
    """A missing member and an unknown one are both noticed."""
    for key in value:
        if validator.is_valid({k: v for k, v in value.items() if k != key}):
            return False
    return not validator.is_valid({**value, "unknown": 1})


def main():
    program, project = pathlib.Path(sys.argv[1]).resolve(), pathlib.Path(sys.argv[2]).resolve()
    examples = project / "examples"
    faults = 0
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        for file in ("swivel-head.machine.toml", "fourth-axis.machine.toml",
                     "fourth-axis.touches.csv"):
            (folder / file).write_text((examples / file).read_text())
        write_results(program, examples, folder)
        run(program, folder, "fit", "fourth-axis.machine.toml", "fourth-axis.touches.csv", "-o",
            "fourth-axis.result.json")
        (folder / "head.limits.toml").write_text(LIMITS)
        for kind, text in outputs(program, examples, folder):
            schema = schema_of(examples, kind)
            jsonschema.Draft202012Validator.check_schema(schema)
            validator = jsonschema.Draft202012Validator(schema)
            value = json.loads(text)
            for error in validator.iter_errors(value):
                print(f"{kind}: {list(error.path)}: {error.message}")
                faults += 1
            if not refuses_damage(validator, value):
                print(f"{kind}: damage passes")
                faults += 1
            print(f"{kind}: {len(text)} bytes looked at")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
