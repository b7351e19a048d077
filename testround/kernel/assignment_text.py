"""An assignment as text a person reads: places by size, sizes left short, the reserve, and who has no place."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence

from testround.kernel.assignment import Assignment
from testround.kernel.findings import Assigned, Reserve
from testround.kernel.round import Round
from testround.kernel.units import LengthUnit, decimal, format_length, lengths_in
from testround.kernel.words import commas, ngettext, pgettext
from testround.kernel.words import gettext as _

WIDTH = 100


def assignment_text(assignment: Assignment, round_: Round, units: LengthUnit = "cm") -> str:
    """What :func:`~testround.kernel.assignment.assign` found, for a person.

    Parameters
    ----------
    assignment : Assignment
    round_ : Round
        The round it was made for.
    units : {"cm", "in"}
        What lengths are shown in.

    Returns
    -------
    str
        Plain text of at most 100 columns where names allow, ending in a line break.
    """
    document = assignment.document
    names = {candidate.id: candidate.name for candidate in round_.candidates}
    named = _("{pattern}, edition {edition}: {round}").format(
        pattern=round_.pattern.title, edition=round_.pattern.edition, round=round_.round.title
    )
    lines = [named, ""]
    lines += _glance(assignment, round_, units)
    lines += _section(pgettext("seats in a round", "Places"))
    lines += _places(document.places, round_, names, units)
    if document.short:
        lines += _section(_("Sizes left short"))
        for short in document.short:
            had = _("{size}: {got} of {wanted}.").format(size=short.size, got=short.got, wanted=short.wanted)
            lines += _wrapped(f"{had} {lengths_in(short.why, units)}")
    if document.reserve:
        lines += _section(_("In reserve"))
        lines += _reserve(document.reserve, names, units)
    if assignment.refused:
        lines += _section(_("Without a place"))
        for refused in assignment.refused:
            lines += _wrapped(
                f"{_called(refused.candidate, names)}: {lengths_in(refused.why, units)}", hang="    "
            )
    return "\n".join(lines).rstrip() + "\n"


def _glance(assignment: Assignment, round_: Round, units: LengthUnit) -> list[str]:
    document, objective = assignment.document, assignment.document.objective
    held = len(round_.testers)
    n = len(round_.candidates)
    said = ngettext("{placed} of {n} candidate placed", "{placed} of {n} candidates placed", n).format(
        placed=objective.placed, n=n
    )
    if held:
        beside = ngettext(
            "{placed}, beside {n} tester already there", "{placed}, beside {n} testers already there", held
        )
        said = beside.format(placed=said, n=held)
    comes_to = _(
        "Below the sizes' least: {shortfall}. Misfit in all: {misfit}. Wish steps: {wish_steps}. Sizes in at least two "
        "yarns: {sizes}."
    ).format(
        shortfall=objective.shortfall,
        misfit=format_length(objective.misfit_cm, units),
        wish_steps=objective.wish_steps,
        sizes=objective.sizes_with_two_yarns,
    )
    lines = _wrapped(f"{said}. {comes_to}")
    if document.optimal:
        lines += _wrapped(_("Proven: in that order, no other assignment does better."))
    else:
        lines += _wrapped(
            _(
                "Not proven: the search was stopped, and may be up to {gap} from the best in the first thing it had not "
                "settled."
            ).format(gap=decimal(document.gap, ".1%"))
        )
    return lines


def _section(title: str) -> list[str]:
    return ["", title, "-" * len(title), ""]


def _wrapped(text: str, indent: str = "", hang: str = "") -> list[str]:
    # A number and its unit stay on one line.
    held = re.sub(r"(?<=\d) (?=(?:cm|in)\b)", "\u00a0", text)
    lines = textwrap.wrap(held, WIDTH, initial_indent=indent, subsequent_indent=indent + hang)
    return [line.replace("\u00a0", " ") for line in lines] or [""]


def _called(candidate: str, names: dict[str, str]) -> str:
    return f"{candidate} ({names[candidate]})"


def _places(places: Sequence[Assigned], round_: Round, names: dict[str, str], units: LengthUnit) -> list[str]:
    if not round_.pattern.is_graded:
        return [line for place in places for line in _place(place, names, units)] or [_("Nobody.")]
    plan = round_.round.places
    least, most = (plan.least if plan else None) or {}, (plan.most if plan else None) or {}
    lines: list[str] = []
    for size in round_.pattern.sizes:
        held = [tester.id for tester in round_.testers if tester.size == size]
        mine = [place for place in places if place.size == size]
        limits = [
            said.format(n=by[size])
            for said, by in ((_("least {n}"), least), (_("most {n}"), most))
            if size in by
        ]
        there = _("already there: {testers}").format(testers=commas(held)) if held else ""
        lines += _wrapped(
            f"{size}: {len(held) + len(mine)}"
            + (f" ({commas(limits)})" if limits else "")
            + (f"; {there}" if there else ""),
            hang="    ",
        )
        for place in mine:
            lines += _place(place, names, units)
    return lines


def _place(place: Assigned, names: dict[str, str], units: LengthUnit) -> list[str]:
    yarn = place.yarn or _("own yarn")
    return [
        *_wrapped(f"{_called(place.candidate, names)}, {yarn}", "    ", "    "),
        *_wrapped(lengths_in(place.why, units), "        "),
    ]


def _reserve(reserve: Sequence[Reserve], names: dict[str, str], units: LengthUnit) -> list[str]:
    lines: list[str] = []
    size: str | None = None
    for one in reserve:
        if one.size != size:
            size = one.size
            lines.append(f"{size}:")
        called = f"{one.rank}. {_called(one.candidate, names)}"
        lines += _wrapped(f"{called}: {lengths_in(one.why, units)}", "    ", "    ")
    return lines
