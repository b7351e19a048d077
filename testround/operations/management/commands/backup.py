from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from testround.operations.backup import NotMade, backup_make


class Command(BaseCommand):
    help = (
        "Write everything that is kept, rows and photos of one moment, into one file, while the server runs. The "
        "file is there whole or not at all."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", help="where to write it; it must not exist")

    def handle(self, *args: Any, **options: Any) -> None:
        path = Path(options["file"]).absolute()
        try:
            made = backup_make(path)
        except NotMade as refused:
            raise CommandError(f"No backup was made. {refused}") from refused
        self.stdout.write(
            f"{path}: {made.row_count} rows of {len(made.rows)} tables, {made.files} files, {made.size} bytes."
        )
        if made.gone:
            self.stdout.write(
                f"{len(made.gone)} files were taken back by their owners meanwhile and are left out."
            )
        for name in made.missing:
            self.stderr.write(f"{name} is named in the database, and the storage has no such file.")
