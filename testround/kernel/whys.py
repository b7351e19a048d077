"""What each finding says in its one or two sentences; every function gives the ``why`` of one kind of finding.

They take plain values, so that a finding that was kept can be said again in another language
(:func:`~testround.kernel.words.told`).
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from testround.kernel.findings import Extent, Verdict
from testround.kernel.units import decimal, format_count, format_gauge, format_length, to_half
from testround.kernel.words import commas, gettext_noop, in_sizes, ngettext, pgettext, spoken
from testround.kernel.words import gettext as _

_HARMED = gettext_noop("Changing it also moves {dimensions} beyond tolerance: look at them together.")
"""For the designer alone, and not for the readers of an erratum."""


def for_readers(why: str) -> str:
    """A finding's reason, as it is shown, without what only helps the designer to decide."""
    said = spoken(why)
    for message in (_(_HARMED), _HARMED):
        words = ".+?".join(re.escape(part) for part in re.split(r"\{dimensions\}", message))
        said = re.sub(rf"\s*{words}", "", said)
    return said.strip()


def counted(n: float, unit: str) -> str:
    """So many stitches, rows or repeats."""
    if unit == "st":
        said = ngettext("{n} stitch", "{n} stitches", n)
    elif unit == "row":
        said = ngettext("{n} row", "{n} rows", n)
    else:
        said = ngettext("{n} repeat", "{n} repeats", n)
    return said.format(n=format_count(n))


def _at(label: str, place: str | None) -> str:
    return f"{label} ({place})" if place else label


def printed_count(label: str, place: str | None, printed: float, size: str, computed: float) -> str:
    return _("{number}: the text prints {printed} in size {size}, and its formula gives {computed}.").format(
        number=_at(label, place), printed=format_count(printed), size=size, computed=format_count(computed)
    )


def schematic(label: str, printed: float, size: str, follows: float) -> str:
    gives, to_print = format_length(follows), format_length(to_half(follows))
    # Beside what is proposed for print, the result of the counts alone would look like a slip.
    if gives != to_print:
        said = _(
            "{dimension} is printed as {printed} in size {size}. The printed counts give {follows} at the stated gauge, "
            "rounded for print to {to_print}."
        )
    else:
        said = _(
            "{dimension} is printed as {printed} in size {size}. The printed counts give {follows} at the stated gauge."
        )
    return said.format(
        dimension=label, printed=format_length(printed), size=size, follows=gives, to_print=to_print
    )


def worked_count(
    label: str, place: str | None, votes: int, reports: int, offset: float, unit: str, graded: bool
) -> str:
    if graded and offset > 0:
        said = _(
            "{votes} of {reports} testers who reported {number} arrived at {off} more than printed: either the text "
            "leads there, or the count is wrong."
        )
    elif graded:
        said = _(
            "{votes} of {reports} testers who reported {number} arrived at {off} fewer than printed: either the text "
            "leads there, or the count is wrong."
        )
    elif offset > 0:
        said = _(
            "{votes} of {reports} testers who reported {number} arrived at {off} more than their own numbers say: "
            "either the text leads there, or the count is wrong."
        )
    else:
        said = _(
            "{votes} of {reports} testers who reported {number} arrived at {off} fewer than their own numbers say: "
            "either the text leads there, or the count is wrong."
        )
    return said.format(votes=votes, reports=reports, number=_at(label, place), off=counted(abs(offset), unit))


def stated_gauge(
    axis: str, testers: int, estimate: float, low: float, high: float, stated: float, hits: str | None
) -> str:
    """``hits`` is the dimension that a gauge to amend hits hardest."""
    if axis == "st":
        said = ngettext(
            "One tester's blocked swatch gives {estimate} stitches in 10 cm (between {low} and {high}), and the "
            "pattern states {stated}.",
            "{n} testers' blocked swatches give {estimate} stitches in 10 cm (between {low} and {high}), and the "
            "pattern states {stated}.",
            testers,
        )
    else:
        said = ngettext(
            "One tester's blocked swatch gives {estimate} rows in 10 cm (between {low} and {high}), and the pattern "
            "states {stated}.",
            "{n} testers' blocked swatches give {estimate} rows in 10 cm (between {low} and {high}), and the pattern "
            "states {stated}.",
            testers,
        )
    shown = said.format(
        n=testers,
        estimate=decimal(estimate, ".1f"),
        low=decimal(low, ".1f"),
        high=decimal(high, ".1f"),
        stated=format_gauge(stated),
    )
    return " ".join([shown, _("It hits {dimension} hardest.").format(dimension=hits)]) if hits else shown


def _off(estimate: float) -> str:
    """By how much pieces come out larger or smaller, as in "came out 1.5 cm larger than"."""
    if estimate > 0:
        return _("{length} larger").format(length=format_length(abs(estimate)))
    return _("{length} smaller").format(length=format_length(abs(estimate)))


def finished_size(
    verdict: Verdict,
    label: str,
    estimate: float,
    tolerance: float,
    testers: int,
    extent: Extent | None,
    sizes: tuple[str, ...],
    mend: tuple[str | None, bool, tuple[str, ...]],
    graded: bool,
) -> str:
    """``mend`` is the number to change, whether its counts are for a new gauge, and which dimensions that harms."""
    places = {
        "dimension": label,
        "off": _off(estimate),
        "n": testers,
        "limit": format_length(tolerance),
        "in_sizes": in_sizes(sizes),
    }
    some = extent is Extent.SOME_SIZES
    match verdict:
        case Verdict.AMEND:
            if some:
                said = ngettext(
                    "{dimension}: the pieces of {n} tester came out {off} {in_sizes} than the counts worked and their "
                    "own gauge explain.",
                    "{dimension}: the pieces of {n} testers came out {off} {in_sizes} than the counts worked and their "
                    "own gauge explain.",
                    testers,
                )
            elif extent is Extent.WITH_SIZE:
                said = ngettext(
                    "{dimension}: the pieces of {n} tester came out {off} than the counts worked and their own gauge "
                    "explain (growing along the sizes; this is the worst).",
                    "{dimension}: the pieces of {n} testers came out {off} than the counts worked and their own gauge "
                    "explain (growing along the sizes; this is the worst).",
                    testers,
                )
            else:
                said = ngettext(
                    "{dimension}: the pieces of {n} tester came out {off} than the counts worked and their own gauge "
                    "explain.",
                    "{dimension}: the pieces of {n} testers came out {off} than the counts worked and their own gauge "
                    "explain.",
                    testers,
                )
            return " ".join([said.format(**places), *_mended(*mend, graded=graded)])
        case Verdict.LOOK_CLOSER if some:
            said = ngettext(
                "{dimension}: the best estimate is {off} {in_sizes} than meant, beyond the {limit} allowed, and {n} "
                "tester is not enough to be sure.",
                "{dimension}: the best estimate is {off} {in_sizes} than meant, beyond the {limit} allowed, and {n} "
                "testers are not enough to be sure.",
                testers,
            )
        case Verdict.LOOK_CLOSER:
            said = ngettext(
                "{dimension}: the best estimate is {off} than meant, beyond the {limit} allowed, and {n} tester is not "
                "enough to be sure.",
                "{dimension}: the best estimate is {off} than meant, beyond the {limit} allowed, and {n} testers are "
                "not enough to be sure.",
                testers,
            )
        case Verdict.HOLDS:
            said = ngettext(
                "{dimension} comes out right: {n} tester agrees with the pattern to within {limit}.",
                "{dimension} comes out right: {n} testers agree with the pattern to within {limit}.",
                testers,
            )
        case _:
            said = ngettext(
                "{dimension}: too little to say yet; {n} tester measured it.",
                "{dimension}: too little to say yet; {n} testers measured it.",
                testers,
            )
    return said.format(**places)


def _mended(number: str | None, new_gauge: bool, harmed: Sequence[str], *, graded: bool) -> list[str]:
    if number is None and graded:
        return [_("No single number puts it right.")]
    if number is None:
        return [_("The formula behind it needs the same amount taken off or put on.")]
    said = [_("{number} is the number behind it.").format(number=number)]
    if new_gauge:
        said.append(_("The counts are for the gauge to be printed instead."))
    if harmed:
        said.append(_(_HARMED).format(dimensions=commas(harmed)))
    return said


def clarity(place: str, testers: int, kinds: Sequence[str]) -> str:
    words = {
        "wrong-number": pgettext("kind of remark", "wrong-number"),
        "unclear": pgettext("kind of remark", "unclear"),
        "missing": pgettext("kind of remark", "missing"),
        "typo": pgettext("kind of remark", "typo"),
    }
    return ngettext(
        "{n} tester remarked on {place} ({kinds}).", "{n} testers remarked on {place} ({kinds}).", testers
    ).format(n=testers, place=place, kinds=commas(words.get(kind, kind) for kind in kinds))


def fit(label: str, testers: int, large: bool, sizes: tuple[str, ...]) -> str:
    if large and sizes:
        said = ngettext(
            "{n} tester {in_sizes} finds {dimension} too large.",
            "{n} testers {in_sizes} find {dimension} too large.",
            testers,
        )
    elif large:
        said = ngettext(
            "{n} tester finds {dimension} too large.", "{n} testers find {dimension} too large.", testers
        )
    elif sizes:
        said = ngettext(
            "{n} tester {in_sizes} finds {dimension} too small.",
            "{n} testers {in_sizes} find {dimension} too small.",
            testers,
        )
    else:
        said = ngettext(
            "{n} tester finds {dimension} too small.", "{n} testers find {dimension} too small.", testers
        )
    return said.format(n=testers, dimension=label, in_sizes=in_sizes(sizes))
