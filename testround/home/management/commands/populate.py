from __future__ import annotations

import time
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from testround.home.populate import in_the_way, populate, shown


class Command(BaseCommand):
    help = (
        "Fill an empty database with invented designers, rounds, places and reports, to see how the program does "
        "when it is large. With 1,000 designers: 10,000 rounds, 207,000 places, more than 2,000,000 reports."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--designers", type=int, default=1000, help="how many; all else goes with it (default: 1000)"
        )
        parser.add_argument("--seed", type=int, default=1, help="the same seed gives the same rounds")

    def handle(self, *args: Any, **options: Any) -> None:
        designers = options["designers"]
        if not 1 <= designers <= 10_000:
            raise CommandError(f"--designers is {designers}; choose a number from 1 to 10000.", returncode=2)
        if reason := in_the_way():
            name = settings.DATABASES["default"]["NAME"]
            raise CommandError(
                f"The database {name} is in use: {reason}. Invented people are not mixed with real ones. "
                "Make an empty database, run migrate, and name it in DATABASE_URL."
            )
        began = time.monotonic()
        rows = populate(designers=designers, seed=options["seed"], say=self._say)
        self.stdout.write(shown(rows))
        self._say(f"Done in {time.monotonic() - began:.0f} seconds")

    def _say(self, step: str) -> None:
        self.stdout.write(f"• {step}")
        self.stdout.flush()
