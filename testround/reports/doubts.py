"""What a form asks before it takes an odd value: the kernel's questions, put at the right field.

Nothing is refused for being odd. The form comes back once with the question and a box to say that it is right.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.utils.translation import gettext as _

from testround.kernel.plausible import body_doubt, doubt_about_count, is_odd_count, question_about
from testround.kernel.units import LengthUnit, decimal, format_count, format_length, gauge_over
from testround.reports.selectors import Desk

# A swatch further off than this is a slip more often than a tool: two sizes of tool make about a fifth.
ODD_GAUGE = 1.75
_UNIT_SLIPS = ("inches", "centimetres", "millimetres", "decimal-point")


def of_swatch(desk: Desk, *, gauge: str, values: Mapping[str, float | None], units: LengthUnit) -> str:
    """A question about a swatch whose gauge is nowhere near the stated one, or an empty text."""
    stated = next(one for one in desk.pattern.gauges if one.key == gauge)
    pairs = (
        (_("Width"), "width", "stitches", stated.stitches),
        (_("Height"), "height", "rows", stated.rows),
    )
    for label, length_name, count_name, per_10cm in pairs:
        length, count = values[length_name], values[count_name]
        if not length or not count:
            continue
        doubt = question_about(length, 10 * count / per_10cm, {}, label, unit=units)
        if doubt is not None and doubt.cause in _UNIT_SLIPS:
            return doubt.sentence
        own = 10 * count / length
        if doubt is not None and not 1 / ODD_GAUGE < own / per_10cm < ODD_GAUGE:
            asked = (
                _(
                    "{count} stitches in {length} are {own}; the pattern’s gauge is {stated}. "
                    "Count and measure once more, or say that it is right."
                )
                if count_name == "stitches"
                else _(
                    "{count} rows in {length} are {own}; the pattern’s gauge is {stated}. "
                    "Count and measure once more, or say that it is right."
                )
            )
            return asked.format(
                count=format_count(count),
                length=format_length(length, units),
                own=_gauge(own, units),
                stated=_gauge(per_10cm, units),
            )
    return ""


def _gauge(per_10cm: float, units: LengthUnit) -> str:
    # Translators: stitches or rows over a length, as in "22.0 in 10 cm".
    said = _("{count} in {span}")
    if units == "cm":
        return said.format(count=decimal(gauge_over(per_10cm, "10cm"), ".1f"), span="10 cm")
    return said.format(count=decimal(gauge_over(per_10cm, "4in"), ".1f"), span="4 in")


def of_counts(desk: Desk, *, counts: Mapping[str, float]) -> dict[str, str]:
    """Questions about counts, by number.

    A count near to what the tester's own gauge needs is not asked about: it may put a misprint right.
    """
    text = {line.key: line.value for place in desk.worksheet_of_size.places for line in place.numbers}
    if not any(_is_off(counted, text[number]) for number, counted in counts.items()):
        # As most are, and then nobody needs to know the tester's own gauge.
        return {}
    found: dict[str, str] = {}
    for place in desk.worksheet.places:
        for line in place.numbers:
            counted = counts.get(line.key)
            said = [value for value in (line.value, line.at_own_gauge) if value is not None]
            if counted is None or not said or not all(is_odd_count(counted, value) for value in said):
                continue
            found[line.key] = doubt_about_count(
                line.label, counted, said[0], graded=desk.pattern.is_graded
            ).sentence
    return found


def _is_off(counted: float, said: float | None) -> bool:
    return said is None or is_odd_count(counted, said)


def of_finished(desk: Desk, *, readings: Mapping[str, Sequence[float]], units: LengthUnit) -> dict[str, str]:
    """Questions about finished measurements, by dimension."""
    targets = {line.key: line.target for line in desk.worksheet_of_size.dimensions}
    labels = {dimension.key: dimension.label for dimension in desk.pattern.dimensions}
    found: dict[str, str] = {}
    for key, values in readings.items():
        target = targets.get(key)
        if target is None:
            continue
        others = {
            labels[other]: value for other, value in targets.items() if other != key and value is not None
        }
        for value in values:
            doubt = question_about(value, target, others, labels[key], unit=units)
            if doubt is not None:
                found[key] = doubt.sentence
                break
    return found


def of_body(desk: Desk, *, measures: Mapping[str, float], units: LengthUnit) -> dict[str, str]:
    """Questions about body measurements, by measure."""
    found: dict[str, str] = {}
    for measure in desk.pattern.measures:
        value = measures.get(measure.key)
        if value is None:
            continue
        sizes = tuple((measure.values or {}).values())
        doubt = body_doubt(measure.key, measure.label, value, sizes=sizes, unit=units)
        if doubt is not None:
            found[measure.key] = doubt.sentence
    return found
