from __future__ import annotations

from typing import Any

from django.core.management.base import CommandError, CommandParser

from testround.kernel.worksheet import worksheet
from testround.paper.management.round_files import BAD_INPUT, RoundFileCommand
from testround.paper.worksheet import worksheet_pdf


class Command(RoundFileCommand):
    help = "Write one tester's worksheet as PDF: own measures, own numbers, boxes to fill in."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", help="a round file, or - for standard input")
        parser.add_argument("--tester", metavar="ID", required=True, help="the tester's id in the file")
        parser.add_argument("--pdf", metavar="OUT", required=True, help="where to write the worksheet")
        parser.add_argument("--units", choices=("cm", "in"), default="cm")
        parser.add_argument("--paper", choices=("A4", "Letter"), default="A4")
        parser.add_argument("--tools", choices=("metric", "us", "uk"), default="metric")
        parser.add_argument("--terms", choices=("us", "uk"), default="us")

    def handle(self, *args: Any, **options: Any) -> None:
        round_ = self.round_of(options["file"])
        try:
            tester = round_.tester(options["tester"])
        except KeyError:
            known = ", ".join(tester.id for tester in round_.testers) or "none"
            raise CommandError(
                f"There is no tester {options['tester']} in the file; there are: {known}.",
                returncode=BAD_INPUT,
            ) from None
        pdf = worksheet_pdf(
            worksheet(round_, tester),
            paper=options["paper"],
            units=options["units"],
            tools=options["tools"],
            terms=options["terms"],
        )
        self.write_file(options["pdf"], pdf)
        self.stderr.write(f"The worksheet of {tester.name} is in {options['pdf']}.")
