from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from testround.kernel.problems import InputProblems
from testround.people.models import User
from testround.reports.exchange import MOST_UNPACKED_BYTES, round_import

BAD_INPUT = 2


class Command(BaseCommand):
    help = "Store the round of a round file (JSON, or ZIP with photos) for its owner: all of it or nothing."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", help="a round file, or a ZIP with its photos")
        parser.add_argument("--owner", metavar="EMAIL", required=True, help="the designer who shall own it")

    def handle(self, *args: Any, **options: Any) -> None:
        owner = User.objects.filter(email__iexact=options["owner"]).first()
        if owner is None:
            raise CommandError(
                f"Nobody here has the address {options['owner']}; let the designer sign up first.",
                returncode=BAD_INPUT,
            )
        path = Path(options["file"])
        try:
            if path.stat().st_size > MOST_UNPACKED_BYTES:
                raise CommandError(
                    f"{path} has more than {MOST_UNPACKED_BYTES // 2**30} GB.", returncode=BAD_INPUT
                )
            data = path.read_bytes()
        except OSError as error:
            raise CommandError(f"{path} cannot be read: {error.strerror}.", returncode=BAD_INPUT) from error
        try:
            stored = round_import(
                data=data, owner=owner, progress=lambda step: self.stdout.write(f"{step} …")
            )
        except InputProblems as refused:
            for problem in refused.problems:
                self.stderr.write(str(problem))
            self.stderr.write("Nothing was imported.")
            raise SystemExit(BAD_INPUT) from None
        self.stdout.write(
            f"Imported {stored} as round {stored.code}: {stored.places.count()} testers, "
            f"{stored.candidates.count()} candidates."
        )
