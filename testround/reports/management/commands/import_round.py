from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from testround.kernel.analysis import analyse
from testround.kernel.odd_measures import odd_measures
from testround.kernel.problems import InputProblems
from testround.people.models import User
from testround.reports.bridge import kernel_round
from testround.reports.exchange import round_import
from testround.reports.unpacking import MOST_UNPACKED_BYTES
from testround.rounds.models import Round

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
                    f"{path} has more than {MOST_UNPACKED_BYTES / 1e9:.0f} GB.", returncode=BAD_INPUT
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
        self._ask(stored)

    def _ask(self, stored: Round) -> None:
        """Print what is odd in it: nothing is refused for that, and somebody should be asked."""
        round_ = kernel_round(stored)
        measures = {measure.key for measure in round_.pattern.measures}
        asked = [str(odd) for odd in odd_measures(round_)]
        asked += [
            f"{question.tester}: {question.sentence}"
            for question in analyse(round_).questions
            if question.subject not in measures
        ]
        if asked:
            self.stdout.write("To ask about:")
        for sentence in asked:
            self.stdout.write(f"  {sentence}")
