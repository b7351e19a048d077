"""``python -m tests.load.memory``: the memory of one web process over 100,000 requests.

One worker of gunicorn that is never replaced answers testers, designers and readers of errata. Its memory is read
every five thousand requests. Fails when it has grown by more than a tenth since the first quarter. What is sent makes
pages larger, and with them the process; ``--reads-only`` sends nothing, so that it has to stay as it is.
"""

from __future__ import annotations

import argparse
import random
import sys
import threading
from collections import Counter

from tests.load.__main__ import is_error
from tests.load.people import SENDS, SHARES, Person, cast_of
from tests.load.server import Server, folder_for, served

MOST_REQUESTS = 1_000_000
MOST_GROWTH = 0.1


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.load.memory", description=__doc__)
    parser.add_argument("--requests", type=int, default=100_000, help=f"at most {MOST_REQUESTS}")
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--reads-only", action="store_true", help="nothing is sent, so that no page grows")
    parser.add_argument("--port", type=int, default=8291)
    options = parser.parse_args()
    if not 20 <= options.requests <= MOST_REQUESTS:
        sys.exit(f"--requests is {options.requests}; choose from 20 to {MOST_REQUESTS}.")
    with folder_for(options.port):
        import django

        django.setup()
        cast = cast_of(100)
        with served(options.port, workers=1, threads=options.threads) as server:
            shares = {
                kind: share for kind, share in SHARES.items() if not options.reads_only or kind != SENDS
            }
            people = [
                Person(cast, options.port, random.Random(number), shares) for number in range(options.threads)
            ]
            found = watched(server, people, options.requests)
    quarter, last = found[len(found) // 4], found[-1]
    grown = last / quarter - 1
    sys.stdout.write(f"After a quarter {quarter:.1f} MB, at the end {last:.1f} MB: {grown:+.1%}\n")
    sys.exit(1 if grown > MOST_GROWTH else 0)


def watched(server: Server, people: list[Person], requests: int) -> list[float]:
    """Megabytes of the one worker, at the start and after each twentieth of the requests."""
    [worker] = server.workers()
    found = [worker.memory_info().rss / 1e6]
    errors: Counter[str] = Counter()
    for twentieth in range(1, 21):
        threads = [threading.Thread(target=live, args=(one, requests // 20 // len(people))) for one in people]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        for person in people:
            errors.update(f"{one.status} to {one.kind}" for one in person.asked if is_error(one))
            person.asked.clear()
        found.append(worker.memory_info().rss / 1e6)
        sys.stdout.write(
            f"{requests * twentieth // 20:>8} requests  {found[-1]:7.1f} MB  errors: {dict(errors)}\n"
        )
        sys.stdout.flush()
        assert server.workers() == [worker], "the web process was replaced"
    return found


def live(person: Person, times: int) -> None:
    for _ in range(times):
        person.act()


if __name__ == "__main__":
    main()
