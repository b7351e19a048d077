from __future__ import annotations

from typing import Any

from django.core.management.base import CommandParser

from testround.paper.management.round_files import RoundFileCommand


class Command(RoundFileCommand):
    help = (
        "Analyse a round file: what is the pattern's fault, what is not, and the numbers that would be right."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", help="a round file, or - for standard input")
        form = parser.add_mutually_exclusive_group()
        form.add_argument("--json", action="store_true", help="print the findings file")
        form.add_argument("--pdf", metavar="OUT", help="write the report as PDF")
        parser.add_argument("--units", choices=("cm", "in"), default="cm", help="of the report (default: cm)")
        parser.add_argument(
            "--paper", choices=("A4", "Letter"), default="A4", help="of the PDF (default: A4)"
        )
        parser.add_argument(
            "--names",
            action="store_true",
            help="call testers by their names in the PDF, if all of them agreed to it (default: by their ids)",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        # Not before there is something to analyse: help is there at once.
        from testround.kernel.analysis import analyse
        from testround.kernel.findings import findings_json
        from testround.kernel.report_text import report_text

        round_ = self.round_of(options["file"])
        analysis = analyse(round_)
        if options["json"]:
            self.stdout.write(findings_json(analysis.findings))
        elif options["pdf"]:
            # The PDF library takes longer to load than a small round to analyse.
            from testround.paper.report import Known, names_of_testers, report_pdf

            known = Known(called=names_of_testers(round_) if options["names"] else {})
            pdf = report_pdf(analysis, round_, paper=options["paper"], units=options["units"], known=known)
            self.write_file(options["pdf"], pdf)
            self.stderr.write(f"The report is in {options['pdf']}.")
        else:
            self.stdout.write(report_text(analysis, round_, units=options["units"]))
