"""Put work into the outbox and run it."""

from __future__ import annotations

import datetime as dt
import inspect
import logging
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import cache
from typing import Any

from django.conf import settings
from django.db import close_old_connections, transaction
from django.db.models import Q
from django.utils import timezone

from testround.logs import following, new_id, request_id
from testround.measures import WORK_SECONDS
from testround.outbox.clock import clock_is_steady, has_come, long_since
from testround.outbox.models import Work
from testround.trouble import passes

logger = logging.getLogger(__name__)

MOST_ATTEMPTS = 6
# A task normally starts within a second; after a minute it is taken for lost.
LOST_AFTER = dt.timedelta(seconds=60)
# After the last attempt but one.
LONGEST_WAIT = LOST_AFTER * 2**MOST_ATTEMPTS
CHORES_EVERY = 60.0
# Long enough to see what went on, and the table does not grow without end.
DONE_KEPT_FOR = dt.timedelta(days=30)
FORGOTTEN_AT_ONCE = 5000

Handler = Callable[[dict[str, Any]], None]
Chore = Callable[..., object]
_handlers: dict[str, Handler] = {}
_forgotten: set[str] = set()
_chores: list[Chore] = []
_at_any_time: list[Chore] = []


def handles(kind: str, *, forget: bool = False) -> Callable[[Handler], Handler]:
    """Register the function that does one kind of work. It may run twice for one row, so it is idempotent.

    With ``forget`` the row loses its subject once the work is done.
    """

    def register(handler: Handler) -> Handler:
        _handlers[kind] = handler
        if forget:
            _forgotten.add(kind)
        return handler

    return register


def regularly(chore: Chore) -> Chore:
    """Register a function to be run every minute or so. It may run twice at once, so it is idempotent.

    One with an argument ``now`` is told the time. None runs while the clock has just jumped.
    """
    _chores.append(chore)
    return chore


def at_any_time(chore: Chore) -> Chore:
    """Register a function to be run every minute or so, whatever the clock does: it takes up what was lost."""
    _at_any_time.append(chore)
    return chore


def work_add(*, kind: str, subject: dict[str, Any], once_key: str = "") -> Work:
    """Write a row of work in the current transaction and send it off after commit.

    With ``once_key`` a row of that kind and key that nobody has begun is shared instead of a second one. It is
    locked until the commit, so that whoever runs it reads what this transaction wrote; a row that is begun may
    have read too early already, and is not shared.
    """
    # It adds nothing that could be undone by itself, so that there is no need for a savepoint.
    with transaction.atomic(savepoint=False):
        if once_key:
            work = _shared(kind, once_key, subject)
        else:
            work = Work.objects.create(kind=kind, subject=subject, request_id=request_id())
        # Sent for a shared row too: the first sender's task passed it by while it was locked.
        transaction.on_commit(lambda: send_off("run", work.pk, lambda: work_run(work_id=work.pk)))
    return work


def _shared(kind: str, once_key: str, subject: dict[str, Any]) -> Work:
    """The row of that kind and key that nobody has begun, locked; a new one where there is none: one statement.

    Of two that write one in the same moment, the second waits for the first and shares its row, unless that was
    undone, or a worker has begun it meanwhile; then it writes its own.
    """
    work = Work(kind=kind, once_key=once_key, subject=subject, request_id=request_id())
    connection = transaction.get_connection()
    fields = [field for field in Work._meta.concrete_fields if not field.primary_key]
    values = [field.get_db_prep_save(field.pre_save(work, add=True), connection) for field in fields]
    columns, gaps = ", ".join(f'"{field.column}"' for field in fields), ", ".join(["%s"] * len(fields))
    return Work.objects.raw(_SHARE.format(columns=columns, gaps=gaps), values)[0]


# In the words of the constraint `work_waiting_once`, by which databases know it. Nothing of the row changes, which
# locks it.
_SHARE = """
INSERT INTO "outbox_work" ({columns}) VALUES ({gaps})
ON CONFLICT ("kind", "once_key") WHERE ("attempts" = 0 AND "state" = 'waiting' AND NOT ("once_key" = ''))
DO UPDATE SET "kind" = "outbox_work"."kind"
RETURNING *
"""


def send_off(task: str, row: int, do: Callable[[], object]) -> None:
    """Have a committed row worked: by the Celery task of that name on a worker, or by ``do`` in this process."""
    match settings.OUTBOX_RUNNER:
        case "inline":
            do()
        case "celery":
            from testround.outbox import tasks

            try:
                getattr(tasks, task).delay(row)
            except Exception:
                # The row is committed and the sweep will find it; the person's submission stands.
                logger.exception("The broker did not take the task %s of %s; the sweep will", task, row)
        case _:
            _thread_pool().submit(_in_thread, do)


@cache
def _thread_pool() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=1, thread_name_prefix="outbox")


def _in_thread(job: Callable[[], object]) -> None:
    close_old_connections()
    try:
        job()
    except Exception:
        logger.exception("Work in the thread broke")
    finally:
        close_old_connections()


def work_run(*, work_id: int) -> bool:
    """Do one piece of work. True when it is done now; a failure is kept on the row and tried again later."""
    with transaction.atomic():
        # Not what somebody else is at: it is theirs until the time comes at which it is taken for lost.
        its_time = has_come("not_before", now=timezone.now(), longest=LONGEST_WAIT)
        free = Work.objects.filter(Q(attempts=0) | its_time, state=Work.State.WAITING)
        if transaction.get_connection().features.has_select_for_update_skip_locked:
            free = free.select_for_update(skip_locked=True)
        work = free.filter(pk=work_id).first()
        if work is None:
            return False
        if work.attempts >= MOST_ATTEMPTS:
            # Every attempt took its process down with it, so that none was left to say what went wrong.
            work.state = Work.State.FAILED
            work.problem = work.problem or f"Begun {work.attempts} times and never ended."
            work.save(update_fields=["state", "problem"])
            logger.error("Work %s (%s) was begun %s times and never ended", work.pk, work.kind, work.attempts)
            return False
        # Claimed for as long as a task may take; if this process dies, the sweep takes it up afterwards.
        work.attempts += 1
        work.not_before = timezone.now() + LOST_AFTER * 2**work.attempts
        work.save(update_fields=["attempts", "not_before"])
    with following(work.request_id):
        return _work_do(work)


def _work_do(work: Work) -> bool:
    begun = time.perf_counter()
    outcome = "failed"
    try:
        handler = _handlers[work.kind]
        handler(work.subject)
        outcome = "done"
    except Exception as error:
        logger.exception("Work %s (%s) failed at attempt %s", work.pk, work.kind, work.attempts)
        work.problem = f"{type(error).__name__}: {error}"[:2000]
        if work.attempts >= MOST_ATTEMPTS:
            if passes(error):
                # A full disk or a store that is away is no fault of the work: it is tried until there is room again.
                work.attempts = MOST_ATTEMPTS - 1
            else:
                work.state = Work.State.FAILED
        work.save(update_fields=["problem", "state", "attempts"])
        return False
    finally:
        WORK_SECONDS.labels(work.kind, outcome).observe(time.perf_counter() - begun)
    work.state = Work.State.DONE
    work.finished = timezone.now()
    work.problem = ""
    if work.kind in _forgotten:
        work.subject = {}
    work.save(update_fields=["state", "finished", "problem", "subject"])
    return True


def chores_run(*, now: dt.datetime | None = None) -> dict[str, object]:
    """Pick up lost work and do what is done regularly. One chore that breaks does not stop the others.

    Returns what each chore returned, by its name; what broke is not in it. Told a time, it is believed; else what
    goes by dates waits until the clock has settled.
    """
    with following(new_id()):
        return _chores_do(now)


def _chores_do(now: dt.datetime | None) -> dict[str, object]:
    answers: dict[str, object] = {}
    chores = [work_sweep, *_at_any_time]
    if now is not None or clock_is_steady(timezone.now()):
        chores += _chores
    else:
        logger.error("The clock has jumped; what goes by dates waits until it has gone on evenly for a while")
    for chore in chores:
        name = str(getattr(chore, "__name__", chore))
        knows_time = "now" in inspect.signature(chore).parameters
        try:
            answers[name] = chore(now=now) if knows_time and now is not None else chore()
        except Exception:
            logger.exception("The chore %s broke", name)
    return answers


@transaction.atomic
def work_retry(*, work: Work) -> bool:
    """Try work that was given up once more, because a person said so. False when it is not given up any more."""
    changed = Work.objects.filter(pk=work.pk, state=Work.State.FAILED).update(
        state=Work.State.WAITING, attempts=0, not_before=timezone.now(), problem=""
    )
    if changed:
        transaction.on_commit(lambda: send_off("run", work.pk, lambda: work_run(work_id=work.pk)))
    return bool(changed)


class _Clock:
    """When this process last did its chores. Two processes that both do them do no harm."""

    def __init__(self) -> None:
        self._last = float("-inf")

    def is_due(self, now: float) -> bool:
        if now - self._last < CHORES_EVERY:
            return False
        self._last = now
        return True


_chores_clock = _Clock()


def chores_when_due(**_: object) -> None:
    """In an embedded installation, where no clock process runs, requests wind the clock.

    Called at the start of each request; at most once in CHORES_EVERY it sends the chores to the thread.
    """
    if settings.OUTBOX_RUNNER == "thread" and _chores_clock.is_due(time.monotonic()):
        _thread_pool().submit(_in_thread, chores_run)


def work_sweep(*, most: int = 200) -> int:
    """Run waiting work whose task was lost or whose time to try again has come. Returns how many were done."""
    now = timezone.now()
    due = Work.objects.filter(
        has_come("not_before", now=now, longest=LONGEST_WAIT),
        long_since("created", now=now, ago=LOST_AFTER),
        state=Work.State.WAITING,
    ).order_by("created")
    return sum(work_run(work_id=work_id) for work_id in list(due.values_list("pk", flat=True)[:most]))


@regularly
def work_forget(*, now: dt.datetime | None = None) -> int:
    """Delete rows of work that was done long ago, some at a time. Returns how many. What failed stays to be seen to."""
    before = (now or timezone.now()) - DONE_KEPT_FOR
    # Its time has come before it is done, and by that there is an index.
    old = Work.objects.filter(state=Work.State.DONE, not_before__lt=before, finished__lt=before)
    return Work.objects.filter(pk__in=list(old.values_list("pk", flat=True)[:FORGOTTEN_AT_ONCE])).delete()[0]
