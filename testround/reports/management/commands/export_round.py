from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from testround.reports.exchange import round_export
from testround.rounds.models import Round


class Command(BaseCommand):
    help = "Write a round as a round file; with a name that ends in .zip, together with its photos."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("round", metavar="ROUND", help="the round's code, as in its address")
        parser.add_argument("out", metavar="OUT", help="where to write it: NAME.json or NAME.zip")

    def handle(self, *args: Any, **options: Any) -> None:
        round_ = Round.objects.select_related("edition__pattern").filter(code=options["round"]).first()
        if round_ is None:
            known = ", ".join(Round.objects.values_list("code", flat=True)[:20]) or "none"
            raise CommandError(
                f"There is no round {options['round']}; the newest are: {known}.", returncode=2
            )
        out = Path(options["out"])
        if out.suffix.lower() not in (".json", ".zip"):
            raise CommandError(
                f"{out} ends in neither .json nor .zip; the ending says what to write.", returncode=2
            )
        data = round_export(round_, photos=out.suffix.lower() == ".zip")
        try:
            out.write_bytes(data)
        except OSError as error:
            raise CommandError(f"{out} cannot be written: {error.strerror}.") from error
        self.stdout.write(f"{round_} is in {out}.")
