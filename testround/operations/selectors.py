"""How the server stands: what waits, what failed, what is used. A fixed number of queries, whatever there is."""

from __future__ import annotations

import datetime as dt
import shutil
from dataclasses import dataclass

from django.conf import settings
from django.db import connection
from django.db.models import Count, F, Min, Q

from testround.following.models import Webhook
from testround.operations.models import Backup
from testround.outbox.models import Mail, Work
from testround.reports.models import CallPicture, Photo

SHOWN = 50

MAILS_UNDER_WAY = (Mail.State.WAITING, Mail.State.CLAIMED, Mail.State.SENDING)
MAILS_TROUBLED = (Mail.State.FAILED, Mail.State.UNCERTAIN)


@dataclass(frozen=True, slots=True)
class Queue:
    """Rows of one kind in one state."""

    kind: str
    state: str
    count: int
    oldest: dt.datetime


@dataclass(frozen=True, slots=True)
class Storage:
    """What is used, in bytes; None where that cannot be told."""

    database: int
    photos: int
    # As the last backup counted them.
    photo_bytes: int | None
    # On the disk where photos are kept; a bucket has no end.
    disk_free: int | None


@dataclass(frozen=True, slots=True)
class Backups:
    last: Backup | None
    # Newer than the last that there is.
    failed: Backup | None


def work_queues() -> list[Queue]:
    """Work that waits or failed, by its kind."""
    rows = (
        Work.objects.exclude(state=Work.State.DONE)
        .values_list("kind", "state")
        .annotate(count=Count("pk"), oldest=Min("created"))
        .order_by("kind", "state")
    )
    return [Queue(*row) for row in rows]


def mail_queues() -> list[Queue]:
    """Mails under way, and those in trouble that nobody has settled, by their kind."""
    rows = (
        Mail.objects.filter(Q(state__in=MAILS_UNDER_WAY) | Q(state__in=MAILS_TROUBLED, finished=None))
        .values_list("kind", "state")
        .annotate(count=Count("pk"), oldest=Min("created"))
        .order_by("kind", "state")
    )
    return [Queue(*row) for row in rows]


def work_failed() -> list[Work]:
    """The newest work that was given up."""
    return list(Work.objects.filter(state=Work.State.FAILED).order_by("-created", "-pk")[:SHOWN])


def mails_troubled() -> list[Mail]:
    """The newest mails that failed or may not have arrived, and that nobody has settled."""
    return list(
        Mail.objects.filter(state__in=MAILS_TROUBLED, finished=None).order_by("-created", "-pk")[:SHOWN]
    )


def webhooks_failing() -> list[Webhook]:
    """Addresses that take nothing, those failing longest first."""
    failing = Webhook.objects.exclude(failing_since=None) | Webhook.objects.filter(
        paused__in=[Webhook.Paused.FAILING, Webhook.Paused.GONE]
    )
    return list(
        failing.select_related("pattern").order_by(F("failing_since").asc(nulls_last=True), "pk")[:SHOWN]
    )


def photos_waiting() -> int:
    """Photos and pictures that are not re-encoded yet."""
    waiting = Photo.State.WAITING
    return (
        Photo.objects.filter(state=waiting, superseded_at=None).count()
        + CallPicture.objects.filter(state=waiting).count()
    )


def backups() -> Backups:
    last = Backup.objects.filter(problem="").first()
    failed = Backup.objects.exclude(problem="").first()
    if last is not None and failed is not None and failed.finished < last.finished:
        failed = None
    return Backups(last, failed)


def storage(last: Backup | None) -> Storage:
    return Storage(
        database=database_bytes(),
        photos=Photo.objects.exclude(original="").count(),
        photo_bytes=last.file_bytes if last is not None else None,
        disk_free=_disk_free(),
    )


def database_bytes() -> int:
    ask = (
        "SELECT pg_database_size(current_database())"
        if connection.vendor == "postgresql"
        else "SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()"
    )
    with connection.cursor() as cursor:
        cursor.execute(ask)
        return int(cursor.fetchone()[0])


def _disk_free() -> int | None:
    if settings.S3_BUCKET:
        return None
    try:
        return shutil.disk_usage(settings.MEDIA_ROOT).free
    except OSError:
        return None
