"""``python -m tests.large SMALL LARGE``: hold every page in a large database against the same in a small one.

SMALL and LARGE are addresses as in ``DATABASE_URL``, of databases on this machine that ``manage.py populate`` filled.
Each page is asked for by turns in the one and in the other, after three answers that warm up. A page that
seems slow is measured once more with three times as many answers, and that counts. What is measured is the time of
the processor, of this program's process and of the database's. Fails when a page takes more queries in the large
one, or its 95th percentile is more than 1.3 times as long.
"""

from __future__ import annotations

import argparse
import json
import os
import statistics
import subprocess
import sys
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlsplit

MOST = 1.3
WARM_UP = 3


class Side:
    """One of the two databases, and the process that asks it."""

    def __init__(self, database: str) -> None:
        if urlsplit(database).hostname not in ("127.0.0.1", "::1", "localhost"):
            sys.exit(f"{urlsplit(database).hostname} is not this machine; nothing else is measured.")
        environment = {
            **{
                key: value
                for key, value in os.environ.items()
                if key not in ("REDIS_URL", "TESTROUND_SERVED")
            },
            "DATABASE_URL": database,
            "DJANGO_SETTINGS_MODULE": "testround.settings",
        }
        self._worker = subprocess.Popen(
            [sys.executable, "-m", "tests.large.worker"],
            env=environment,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.offers = self._answer()

    def ask(self, **what: Any) -> dict[str, Any]:
        assert self._worker.stdin is not None
        self._worker.stdin.write(json.dumps(what) + "\n")
        self._worker.stdin.flush()
        return self._answer()

    def _answer(self) -> dict[str, Any]:
        assert self._worker.stdout is not None
        line = self._worker.stdout.readline()
        if not line:
            sys.exit("The process that asks a database has ended; see above.")
        return json.loads(line)

    def end(self) -> None:
        assert self._worker.stdin is not None
        self._worker.stdin.close()
        self._worker.wait(timeout=60)


@dataclass(frozen=True)
class Compared:
    page: str
    queries: tuple[int, int]
    p95: tuple[float, float]
    slowest: list[tuple[float, str]]

    @property
    def ratio(self) -> float:
        return self.p95[1] / self.p95[0]

    @property
    def is_kept(self) -> bool:
        return self.queries[1] <= self.queries[0] and self.ratio <= MOST

    def __str__(self) -> str:
        small, large = self.p95
        queries = " | ".join(str(each) for each in self.queries)
        return f"| {self.page} | {queries} | {small:.1f} | {large:.1f} | {self.ratio:.2f} |"


def compared(page: str, number: int, sides: tuple[Side, Side], times: int) -> Compared:
    taken: tuple[list[float], list[float]] = ([], [])
    last: list[dict[str, Any]] = [{}, {}]
    for turn in range(times + WARM_UP):
        # Now the one first and now the other, so that neither always comes after.
        for side in (0, 1) if turn % 2 else (1, 0):
            last[side] = sides[side].ask(open=number)
            if turn >= WARM_UP:
                taken[side].append(last[side]["ms"])
    p95 = [statistics.quantiles(each, n=20)[-1] for each in taken]
    return Compared(page, (last[0]["queries"], last[1]["queries"]), (p95[0], p95[1]), last[1]["slowest"])


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.large", description=__doc__)
    parser.add_argument("small")
    parser.add_argument("large")
    parser.add_argument("--times", type=int, default=40, help="answers of each page in each database")
    parser.add_argument("--only", default="", help="pages whose name has this in it")
    parser.add_argument("--statements", action="store_true", help="show the slowest of pages that fail")
    options = parser.parse_args()
    sides = Side(options.small), Side(options.large)
    pages = sides[0].offers["pages"]
    if pages != sides[1].offers["pages"]:
        sys.exit("The two databases do not have the same pages; fill both by manage.py populate.")

    sys.stdout.write(
        "| page | queries, small | large | p95, small (ms) | large (ms) | ratio |\n|---|--:|--:|--:|--:|--:|\n"
    )
    found = []
    for number, page in enumerate(pages):
        if options.only not in page:
            continue
        result = compared(page, number, sides, options.times)
        if not result.is_kept:
            result = compared(page, number, sides, 3 * options.times)
        found.append(result)
        say(str(result))
        if options.statements and not result.is_kept:
            for milliseconds, sql in result.slowest:
                say(f"    {milliseconds} ms  {sql[:1500]}")

    say(
        "\n| chore | ms, small | large | queries, small | large | done in the large one |\n|---|--:|--:|--:|--:|---|"
    )
    for chore in sides[0].offers["chores"]:
        if options.only not in chore:
            continue
        for again in ("", ", again"):
            small, large = (side.ask(chore=chore) for side in sides)
            say(
                f"| {chore}{again} | {small['ms']:.0f} | {large['ms']:.0f} | {small['queries']} | {large['queries']} "
                f"| {large['done']} |"
            )
        if options.statements:
            for milliseconds, sql in large["slowest"][:3]:
                say(f"    {milliseconds} ms  {sql[:1500]}")
    for side in sides:
        side.end()
    beyond = [result for result in found if not result.is_kept]
    say(f"\n{len(found)} pages, {len(beyond)} beyond {MOST} times or with more queries")
    sys.exit(1 if beyond else 0)


def say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
