#!/usr/bin/env python3
"""Adds up what runs of `epochs` with several seeds printed: sum_epochs.py FILE...

Every share with its standard error, the binomial one. A seed given twice counts once.
"""

import collections
import math
import sys


def rows(files):
    seen = set()
    for name in files:
        fresh = False
        with open(name, encoding="utf-8") as file:
            for line in file:
                if line.startswith("#"):
                    fresh = line not in seen
                    seen.add(line)
                elif fresh and line.strip():
                    yield line.rstrip("\n").split("\t")


def share(count, of):
    part = count / of if of else 0.0
    return f"{100 * part:7.2f} +- {100 * math.sqrt(part * (1 - part) / of) if of else 0:.2f} %"


def main(files):
    sums = collections.OrderedDict()
    for part, story, job, *counts in rows(files):
        for key in ((part, story, job), (part, story, "ALL"), (part, "ALL", "ALL")):
            known = sums.setdefault(key, [0, 0, 0, 0])
            for k, count in enumerate(counts):
                known[k] += int(count)
    for part in dict.fromkeys(key[0] for key in sums):
        print(part)
        for (of_part, story, job), (pairs, first, second, refused) in sums.items():
            if of_part == part:
                print(
                    f"  {story:<38}{job:<42}{pairs:>7}{share(first, pairs)}{share(second, pairs)}"
                    f"  refused {refused}"
                )


if __name__ == "__main__":
    main(sys.argv[1:])
