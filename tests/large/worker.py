"""A process that opens pages and runs chores in the database of ``DATABASE_URL``, as it is told on standard input.

Whatever it writes is in one transaction, which is never committed. It answers every line of JSON with one.
"""

from __future__ import annotations

import copy
import inspect
import json
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import django
import pytest  # noqa: F401 - by which the settings know that this is no server

SLOWEST = 12


@dataclass
class Asked:
    """What was asked of the database: how many statements, and which took how many milliseconds."""

    count: int = 0
    statements: list[tuple[float, str]] = field(default_factory=list)

    def __call__(self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        began = time.perf_counter()
        try:
            return execute(sql, params, many, context)
        finally:
            self.count += 1
            self.statements.append((1000 * (time.perf_counter() - began), str(sql)))

    @property
    def slowest(self) -> list[tuple[float, str]]:
        return [(round(ms, 1), sql) for ms, sql in sorted(self.statements, reverse=True)[:SLOWEST]]


@contextmanager
def asked() -> Iterator[Asked]:
    from django.db import connection

    found = Asked()
    with connection.execute_wrapper(found):
        yield found


def main() -> None:
    django.setup()
    from django.conf import settings
    from django.db import transaction
    from django.test.utils import setup_test_environment

    setup_test_environment()
    with tempfile.TemporaryDirectory() as folder, transaction.atomic():
        settings.MEDIA_ROOT, settings.MAIL_FOLDER = Path(folder) / "media", Path(folder) / "mail"
        serve()
        transaction.set_rollback(True)


def serve() -> None:
    from testround.outbox.services import _chores, work_sweep
    from testround.settled import settle
    from tests.visits import Visit, visits

    pages: list[Visit] = list(visits(scenes()))
    chores: dict[str, Any] = {chore.__name__: chore for chore in (work_sweep, *_chores)}
    settle()
    answer({"pages": [str(page) for page in pages], "chores": sorted(chores)})
    for line in sys.stdin:
        match json.loads(line):
            case {"open": number}:
                answer(opened(pages[number]))
            case {"chore": name}:
                answer(run(chores[name]))


def worked() -> float:
    """Milliseconds that this process and the one of the database that answers it have had a processor.

    Unlike the time on the wall it does not count what else the machine does; nor does it count waiting for a disk,
    which a database that fits into memory does not.
    """
    from django.db import connection

    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_backend_pid()")
        backend = cursor.fetchone()[0]
    # Nanoseconds: https://docs.kernel.org/scheduler/sched-stats.html#proc-pid-schedstat
    database = int(Path(f"/proc/{backend}/schedstat").read_text().split()[0])
    return 1000 * time.process_time() + database / 1e6


def opened(page: Any) -> dict[str, Any]:
    began = worked()
    with asked() as statements:
        response = page.client.get(page.path)
    taken = worked() - began
    assert response.status_code == 200, f"{page}: {response.status_code}"
    return {"ms": taken, "queries": statements.count, "slowest": statements.slowest}


def run(chore: Callable[..., object]) -> dict[str, Any]:
    from django.utils import timezone

    told = {"now": timezone.now()} if "now" in inspect.signature(chore).parameters else {}
    began = worked()
    with asked() as statements:
        done = chore(**told)
    taken = worked() - began
    return {"ms": taken, "queries": statements.count, "slowest": statements.slowest, "done": str(done)}


def scenes() -> list[Any]:
    """A round of the database with its designer and one of its testers; and a small one for what it lacks."""
    from testround.people.models import User
    from testround.rounds.models import Candidate, Round
    from testround.rounds.services import place_add
    from tests.conftest import LITTLE_TOP
    from tests.test_access import scene_among

    round_ = Round.objects.filter(state=Round.State.MEASURING).order_by("pk")[0]
    designer = round_.edition.pattern.owner
    place = round_.places.filter(state="measured").order_by("pk")[0]
    for person in (designer, place.tester):
        # Those of a filled database have none, and some pages are for who has.
        person.set_password("a-long-password")
        person.save(update_fields=["password"])
    others = [User.objects.create_user(f"{name}@example.net", name=name) for name in ("other", "stranger")]
    scene = scene_among(designer, others[0], place.tester, others[1], copy.deepcopy(LITTLE_TOP))
    Candidate.objects.bulk_create(
        Candidate(round=round_, key=f"c{n:02}", name=f"Candidate {n}", own_yarn=True, wishes=[place.size])
        for n in range(20)
    )
    offered = place_add(round=round_, name="Willow", size=place.size, by=designer)
    return [replace(scene, round=round_, edition=round_.edition, place=place, offered=offered), scene]


def answer(said: dict[str, Any]) -> None:
    sys.stdout.write(json.dumps(said) + "\n")
    sys.stdout.flush()


if __name__ == "__main__":
    main()
