"""Whether values can be printed."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping

from django.utils.translation import gettext as _

from testround.errata.models import Erratum
from testround.errata.selectors import following_of
from testround.errata.wording import (
    UNIT_WORDS,
    name_of,
    names_of,
)
from testround.kernel.amounts import PER_M2
from testround.kernel.consequences import Consequences
from testround.kernel.problems import Problem
from testround.kernel.round import LARGEST_COUNT, LONGEST_CM
from testround.kernel.round import Pattern as SheetDocument
from testround.kernel.sheet import Sheet
from testround.kernel.units import format_count, format_length


def gauge_stands(sheet: SheetDocument, subject: str, unit: str) -> dict[str, float]:
    """What a stated gauge says now, under "stitches" or "rows"; empty for anything but a gauge."""
    for gauge in sheet.gauges:
        if subject in (gauge.key, f"{gauge.key}.st", f"{gauge.key}.row"):
            return {"stitches": gauge.stitches} if unit == "st/10 cm" else {"rows": gauge.rows}
    return {}


def check_values(sheet: SheetDocument, subject: str, unit: str, now: Mapping[str, float]) -> list[Problem]:
    """What keeps these values from being printed: each a sentence that says what would do instead."""
    label = name_of(subject, names_of(sheet)).label
    multiple = Sheet(sheet).multiple_of(subject) if unit in ("st", "row", "rep") else None
    problems = []
    for size, value in now.items():
        path = f"{subject}|{unit}|{size}"
        where = _("{label}, size {size}").format(label=label, size=size) if size in sheet.sizes else label
        if size not in (*sheet.sizes, "stitches", "rows", PER_M2):
            said = _("{label}: the pattern has no size {size}; leave it out.")
            problems.append(Problem(path, said.format(label=label, size=size)))
        elif unit in ("st", "row", "rep"):
            problems += _check_count(path, where, unit, value, multiple)
        elif unit in ("st/10 cm", "row/10 cm"):
            if not 0 < value <= 500 or (2 * value) % 1:
                said = _("{where}: {value} is no gauge to print; give it to the half, as in {example}.")
                problems.append(
                    Problem(
                        path,
                        said.format(where=where, value=format_count(value), example=format_count(28.5)),
                    )
                )
        elif not 0 < value <= (LONGEST_CM if unit == "cm" else LARGEST_COUNT):
            said = _("{where}: {value} {unit} cannot be meant; write a number above zero.")
            problems.append(Problem(path, said.format(where=where, value=format_count(value), unit=unit)))
    return problems


def _check_count(
    path: str, where: str, unit: str, value: float, multiple: tuple[float, float] | None
) -> Iterable[Problem]:
    word = UNIT_WORDS[unit]
    if not math.isfinite(value) or not 0 <= value <= LARGEST_COUNT or value % 1:
        said = _("{where}: {value} is not a whole number of {units}; write one, as in 104.")
        yield Problem(path, said.format(where=where, value=format_count(value), units=word))
        return
    if multiple is None:
        return
    of, plus = multiple
    over = (value - plus) % of
    if min(over, of - over) < 1e-9:
        return
    below = value - over
    if plus:
        said = _(
            "{where}: {value} is not a multiple of {of} plus {plus}, which the pattern's formula keeps; "
            "the nearest are {below} and {above}."
        )
    else:
        said = _(
            "{where}: {value} is not a multiple of {of}, which the pattern's formula keeps; "
            "the nearest are {below} and {above}."
        )
    yield Problem(
        path,
        said.format(
            where=where,
            value=format_count(value),
            of=format_count(of),
            plus=format_count(plus),
            below=format_count(below),
            above=format_count(below + of),
        ),
    )


def problems_of_numbers(erratum: Erratum) -> list[Problem]:
    """What keeps an erratum's numbers from being published: values that cannot be printed, and what would not stand.

    The sheet is worked and desk-checked as it is with all that is published, and again with these numbers.
    """
    sheet = erratum.edition.document
    problems = [
        problem
        for change in erratum.changes
        for problem in check_values(sheet, change["subject"], change["unit"], change["now"])
    ]
    if problems or not erratum.changes:
        return problems
    return sentences_of(following_of(erratum).found, sheet)


def sentences_of(found: Consequences, sheet: SheetDocument) -> list[Problem]:
    """Why a corrected sheet does not stand: each a sentence with the number, the size and what would do."""
    names = names_of(sheet)
    problems = []
    printed = {number.key: number.printed or {} for number in found.pattern.numbers}
    printed |= {dimension.key: dimension.printed or {} for dimension in found.pattern.dimensions}
    for one in found.to_add:
        named = name_of(one.subject, names)
        for size, value in one.now.items():
            if one.unit == "cm":
                said = _(
                    "{label}, size {size}: {printed} is printed and no longer follows from the corrected counts, which "
                    "give {value}; correct it in this erratum as well."
                )
            else:
                said = _(
                    "{label}, size {size}: {printed} is printed and no longer follows from what is corrected, which "
                    "gives {value}; correct it in this erratum as well."
                )
            shown = format_length if one.unit == "cm" else format_count
            problems.append(
                Problem(
                    f"{one.subject}|{one.unit}|{size}",
                    said.format(
                        label=named.label,
                        size=size,
                        printed=shown(printed[one.subject][size]),
                        value=shown(value),
                    ),
                )
            )
    for note in found.unworkable:
        said = _(
            "{sentence} Choose other values for what is corrected, or mend the formula in the next edition."
        )
        problems.append(Problem(f"{note.key}|{note.size}", said.format(sentence=note.sentence)))
    return problems
