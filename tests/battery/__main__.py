"""``python -m tests.battery --level plain --rounds 500 --seed 1`` prints the battery's table."""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor

from tests.battery.generator import LEVELS, LevelName
from tests.battery.scoring import Score, run, table


def _run(task: tuple[LevelName, range]) -> Score:
    return run(*task)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.battery", description=__doc__)
    parser.add_argument("--level", choices=tuple(LEVELS), default="plain")
    parser.add_argument("--rounds", type=int, default=500)
    parser.add_argument("--seed", type=int, default=1, help="seed of the first round; the others follow it")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--notes", action="store_true", help="also say what went wrong in which round")
    said = parser.parse_args()
    seeds = range(said.seed, said.seed + said.rounds)
    total = Score()
    if said.jobs == 1:
        total += run(said.level, seeds)
    else:
        with ProcessPoolExecutor(said.jobs) as pool:
            for part in pool.map(_run, [(said.level, seeds[k :: said.jobs]) for k in range(said.jobs)]):
                total += part
    if said.notes:
        sys.stdout.write("\n".join(total.notes) + "\n\n")
    sys.stdout.write(
        f"{said.level}, {said.rounds} rounds from seed {said.seed}\n{table(said.level, total)}\n"
    )


if __name__ == "__main__":
    main()
