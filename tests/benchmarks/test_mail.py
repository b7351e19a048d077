"""What a mail costs on its way through Redis and two workers, as a multiple of one bare Celery task in the same run.

``uv run pytest tests/benchmarks/test_mail.py --benchmark-enable`` queues two thousand reminders; without that option
two hundred. A bare task does nothing; a mail is claimed, marked as being handed over, written by the workers into a
folder in both forms, and marked as sent: three changes of a row in PostgreSQL, each committed by itself, because
that is what keeps it from being sent twice.
"""

from __future__ import annotations

import datetime as dt
import json
import time
from collections import Counter
from email import message_from_bytes

import pytest

from tests.served.browser import eventually
from tests.served.conftest import Installation, Process, installation

pytestmark = [pytest.mark.postgres, pytest.mark.redis]

__all__ = ["installation"]

REMINDERS = 2000
MOST_TIMES_BARE = 60
"""Bound on a mail over a bare task, which takes a millisecond or two."""
QUEUE_BARE = "from tests.served.many import bare; [bare.delay() for _ in range({n})]"


def spans(said: str, task: str) -> list[float]:
    """When a worker ended each task of that name, in seconds. A line that is still being written does not count."""
    told = (json.loads(line) for line in said.splitlines() if line.startswith("{") and line.endswith("}"))
    return [
        dt.datetime.fromisoformat(one["time"]).timestamp()
        for one in told
        if one["message"].startswith(f"Task {task}[") and " succeeded in " in one["message"]
    ]


@pytest.fixture
def two_workers(installation: Installation):
    """Works off what waits with two workers of one process each, and tells the seconds of a worker that one took."""
    command = [*installation.worker.command[:-1], "--pool=solo", "-I", "tests.served.many"]
    workers = [
        Process(
            [*command, f"--hostname=bench{n}@here"], installation.folder / f"bench{n}.log", installation.env
        )
        for n in range(2)
    ]

    def work_off(task: str, n: int) -> float:
        for worker in workers:
            worker.start()
        eventually(lambda: sum(len(spans(worker.said(), task)) for worker in workers) >= n, within=600)
        ends = [spans(worker.said(), task) for worker in workers]
        for worker in workers:
            worker.stop()
        # A few bare tasks can be done before the second worker is up, so that only what a worker did counts.
        busy = [one for one in ends if len(one) > 1]
        return sum(max(one) - min(one) for one in busy) / sum(len(one) - 1 for one in busy)

    with installation.without_worker():
        yield work_off
        for worker in workers:
            worker.stop()


def test_a_mail_takes_no_more_than_its_multiple_of_a_bare_task(benchmark, installation, two_workers):
    n, allowed = (REMINDERS, 1.0) if benchmark.enabled else (200, 4.0)
    folder = installation.folder / "var" / "mail"
    installation.python(f"from tests.served.many import testers_with_a_date; testers_with_a_date({n})")

    installation.python(QUEUE_BARE.format(n=n))
    bare = two_workers("tests.served.many.bare", n)
    began = time.monotonic()
    installation.python("from tests.served.many import remind; remind()")
    queued = (time.monotonic() - began) / n
    mail = two_workers("testround.outbox.tasks.mail", n)

    benchmark.extra_info["times a bare task"] = round(mail / bare, 1)
    benchmark.extra_info["milliseconds to write and queue one"] = round(1000 * queued, 2)
    benchmark.extra_info["milliseconds to send one"] = round(1000 * mail, 2)
    benchmark.pedantic(lambda: None, rounds=1)
    sent = Counter(message_from_bytes(path.read_bytes())["To"] for path in folder.glob("*.eml"))
    assert sent == Counter(f"many{i}@example.org" for i in range(n))
    assert mail / bare < MOST_TIMES_BARE * allowed
