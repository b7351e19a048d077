"""``python -m tests.fuzz formulas --cases 1000000`` tries so many and says what came of them.

One process, at the lowest priority. A case has a number; ``--seed N --cases 1 --show`` prints the one that went wrong.
"""

from __future__ import annotations

import argparse
import os
import sys

import django


def main() -> int:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "testround.settings")
    django.setup()
    from tests.fuzz import TARGETS
    from tests.fuzz.running import case_of, run

    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("target", choices=sorted(TARGETS))
    parser.add_argument("--cases", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=0, help="number of the first case; the others follow it")
    parser.add_argument("--show", action="store_true", help="print the cases themselves")
    said = parser.parse_args()
    os.nice(19)
    target = TARGETS[said.target]
    seeds = range(said.seed, said.seed + said.cases)
    if said.show:
        for seed in seeds:
            sys.stdout.write(f"{seed}: {case_of(target, seed)!r}\n")
    tally = run(target, seeds)
    sys.stdout.write(tally.said(target) + "\n")
    return 1 if tally.faults else 0


if __name__ == "__main__":
    sys.exit(main())
