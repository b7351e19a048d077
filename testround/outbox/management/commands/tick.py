from __future__ import annotations

import datetime as dt
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone
from django.utils.dateparse import parse_datetime

from testround.outbox.services import chores_run


class Command(BaseCommand):
    help = (
        "Do once what the clock process does every minute: move rounds on by their dates, remind testers, send what "
        "waits. For an installation without Celery, from cron or by hand."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--at",
            metavar="WHEN",
            help="as if it were then, as in 2027-01-25T09:30 (in the server's zone where it names none)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        done = chores_run(now=_moment(options["at"]) if options["at"] else None)
        said = [f"{name.replace('_', ' ')}: {n}" for name, n in done.items() if isinstance(n, int) and n]
        self.stdout.write("\n".join(said) if said else "Nothing was due.")


def _moment(written: str) -> dt.datetime:
    try:
        moment = parse_datetime(written)
    except ValueError:
        moment = None
    if moment is None:
        raise CommandError(
            f"--at is {written!r}; write a date and a time of day, as in 2027-01-25T09:30.", returncode=2
        )
    return moment if timezone.is_aware(moment) else timezone.make_aware(moment)
