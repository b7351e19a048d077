from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from testround.operations.backup import Damaged, NotRestored, backup_restore

BAD_INPUT = 2


class Command(BaseCommand):
    help = "Restore what manage.py backup wrote, into an empty server: all of it or nothing."

    # It makes the tables itself.
    requires_migrations_checks = False

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", help="what manage.py backup wrote")

    def handle(self, *args: Any, **options: Any) -> None:
        path = Path(options["file"])
        try:
            restored = backup_restore(path, tell=lambda step: self.stdout.write(f"{step} …"))
        except Damaged as damaged:
            raise CommandError(
                f"{path} is not a whole backup. {damaged} Nothing was restored.", returncode=BAD_INPUT
            ) from damaged
        except NotRestored as refused:
            raise CommandError(f"Nothing was restored. {refused}", returncode=BAD_INPUT) from refused
        self.stdout.write(
            f"Restored {restored.rows} rows and {restored.files} files of {restored.made} (version {restored.version})."
        )
        if restored.doubted:
            self.stdout.write(
                f"{restored.doubted} mails waited then and may have left since: they are not sent by themselves."
            )
        for name in restored.missing:
            self.stderr.write(f"{name} was missing already when the backup was made.")
