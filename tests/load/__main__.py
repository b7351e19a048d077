"""``python -m tests.load``: play rounds against gunicorn, as testers, designers and readers of errata do.

Prints how many requests of each kind there were and how long they took. Fails on any error of the server, and when
a report that was acknowledged is not in the database, once.
"""

from __future__ import annotations

import argparse
import random
import statistics
import sys
import threading
import time
from collections.abc import Sequence

from tests.load.people import SHARES, Asked, Cast, Person, cast_of
from tests.load.server import folder_for, served

MOST_SECONDS, MOST_REQUESTS, MOST_PEOPLE = 600, 200_000, 64


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.load", description=__doc__)
    parser.add_argument("--seconds", type=int, default=60, help=f"at most {MOST_SECONDS}")
    parser.add_argument("--requests", type=int, default=20_000, help=f"at most {MOST_REQUESTS}")
    parser.add_argument("--people", type=int, default=8, help=f"at the same time; at most {MOST_PEOPLE}")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--threads", type=int, default=4)
    parser.add_argument("--port", type=int, default=8290)
    options = parser.parse_args()
    for name, most in (("seconds", MOST_SECONDS), ("requests", MOST_REQUESTS), ("people", MOST_PEOPLE)):
        if not 1 <= getattr(options, name) <= most:
            sys.exit(f"--{name} is {getattr(options, name)}; choose from 1 to {most}.")
    with folder_for(options.port):
        import django

        django.setup()
        cast = cast_of(100)
        if not (cast.testers and cast.designers and cast.errata):
            sys.exit(
                "There are no rounds under way in this database; fill an empty one by manage.py populate."
            )
        with served(options.port, workers=options.workers, threads=options.threads):
            began = time.monotonic()
            asked = played(cast, options)
            taken = time.monotonic() - began
        show(asked, taken)
        sys.exit(verdict(asked))


def played(cast: Cast, options: argparse.Namespace) -> list[Asked]:
    people = [Person(cast, options.port, random.Random(number)) for number in range(options.people)]
    until = time.monotonic() + options.seconds
    each = max(1, options.requests // options.people)

    def live(person: Person) -> None:
        while time.monotonic() < until and len(person.asked) < each:
            person.act()

    threads = [threading.Thread(target=live, args=(person,)) for person in people]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return [one for person in people for one in person.asked]


def show(asked: Sequence[Asked], taken: float) -> None:
    sys.stdout.write(f"{len(asked)} requests in {taken:.0f} s: {len(asked) / taken:.1f} a second\n\n")
    sys.stdout.write("| who | requests | p50 (ms) | p95 | p99 | errors |\n|---|--:|--:|--:|--:|--:|\n")
    for kind in SHARES:
        of_kind = [one for one in asked if one.kind == kind]
        if len(of_kind) < 2:
            continue
        cuts = statistics.quantiles((1000 * one.seconds for one in of_kind), n=100)
        errors = sum(is_error(one) for one in of_kind)
        sys.stdout.write(
            f"| {kind} | {len(of_kind)} | {cuts[49]:.0f} | {cuts[94]:.0f} | {cuts[98]:.0f} | {errors} |\n"
        )


def is_error(one: Asked) -> bool:
    return one.status not in ((302,) if one.key else (200,))


def verdict(asked: Sequence[Asked]) -> int:
    """0 when all is well; says what is not."""
    from testround.reports.models import Submission

    acknowledged = [one.key for one in asked if one.key and one.status == 302]
    stored: list[str] = []
    for start in range(0, len(acknowledged), 500):
        rows = Submission.objects.filter(key__in=acknowledged[start : start + 500])
        stored += [str(key) for key in rows.values_list("key", flat=True)]
    lost, twice = set(acknowledged) - set(stored), len(stored) - len(set(stored))
    failed = sorted({one.status for one in asked if is_error(one)})
    sys.stdout.write(
        f"\n{len(acknowledged)} reports acknowledged, {len(lost)} of them lost, {twice} there twice; "
        f"{sum(is_error(one) for one in asked)} errors {failed or ''}\n"
    )
    return 1 if lost or twice or failed else 0


if __name__ == "__main__":
    main()
