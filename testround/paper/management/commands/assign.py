from __future__ import annotations

from typing import Any

from django.core.management.base import CommandError, CommandParser

from testround.kernel.assignment import AssignmentError, Exclusion, Pin, assign
from testround.kernel.assignment_text import assignment_text
from testround.kernel.findings import assignment_json
from testround.kernel.offers import REACH_CM
from testround.kernel.round import Round
from testround.paper.management.round_files import BAD_INPUT, RoundFileCommand


class Command(RoundFileCommand):
    help = "Propose who of a round file's candidates makes which size in which yarn, and say why."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", help="a round file, or - for standard input")
        parser.add_argument("--json", action="store_true", help="print the assignment file")
        parser.add_argument(
            "--reach",
            metavar="CM",
            type=float,
            default=REACH_CM,
            help=f"how far off a size may be, root mean square over the measures (default: {REACH_CM:g} cm)",
        )
        parser.add_argument(
            "--pin",
            metavar="ID=SIZE[:YARN]",
            action="append",
            default=[],
            help="give this candidate a place of this size, and in this yarn; may be repeated",
        )
        parser.add_argument(
            "--exclude",
            metavar="ID[=SIZE]",
            action="append",
            default=[],
            help="give this candidate no place of this size, or none at all; may be repeated",
        )
        parser.add_argument(
            "--seconds", metavar="S", type=float, help="what the solver may take for each objective"
        )
        parser.add_argument("--units", choices=("cm", "in"), default="cm", help="of the text (default: cm)")

    def handle(self, *args: Any, **options: Any) -> None:
        round_ = self.round_of(options["file"])
        pins = [_pin(text, round_) for text in options["pin"]]
        exclusions = [_exclusion(text) for text in options["exclude"]]
        try:
            assignment = assign(
                round_,
                reach=options["reach"],
                pins=pins,
                exclusions=exclusions,
                seconds=options["seconds"],
            )
        except AssignmentError as refused:
            count = len(refused.problems)
            self.stderr.write(f"This cannot be assigned; {count} problem{'s' if count != 1 else ''}:")
            for problem in refused.problems:
                self.stderr.write(str(problem))
            raise SystemExit(BAD_INPUT) from None
        except TimeoutError as spent:
            raise CommandError(f"{str(spent)[:1].upper()}{str(spent)[1:]}.") from None
        if options["json"]:
            self.stdout.write(assignment_json(assignment.document))
        else:
            self.stdout.write(assignment_text(assignment, round_, units=options["units"]))


def _pin(text: str, round_: Round) -> Pin:
    candidate, _, place = text.partition("=")
    if place in round_.pattern.sizes:
        return Pin(candidate, place)
    # Yarns are named by keys, which have no colon; a size may have one.
    size, colon, yarn = place.rpartition(":")
    return Pin(candidate, size or None, yarn or None) if colon else Pin(candidate, place or None)


def _exclusion(text: str) -> Exclusion:
    candidate, _, size = text.partition("=")
    return Exclusion(candidate, size or None)
