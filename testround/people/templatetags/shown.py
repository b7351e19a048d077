"""Values as the reader chose to see them: ``{% load shown %}``, then ``{{ cm|length:reader }}``.

Every value comes in the one unit it is kept in (centimetres, millimetres, counts per 10 cm) and leaves as text
ready for the page. What is not known, None or NaN, is shown as a dash.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any, TypeGuard

from django import template
from django.utils.translation import gettext as _

from testround.kernel import units
from testround.kernel.terms import Terms, translate
from testround.kernel.words import decimal_separator
from testround.people.readers import Reader

register = template.Library()

UNKNOWN = "–"


def _known(value: float | None) -> TypeGuard[float]:
    # A name missing from a template's context arrives as an empty string.
    return value is not None and value != "" and not math.isnan(float(value))


def _span(reader: Reader) -> units.GaugeSpan:
    return "4in" if reader.units == "in" else "10cm"


def _kept_together(text: str) -> str:
    """No line break between a number, its fraction and its unit."""
    return text.replace(" ", "\N{NO-BREAK SPACE}")


@register.filter
def length(cm: float | None, reader: Reader) -> str:
    """``{{ 92.5|length:reader }}``: "92.5 cm" or "36 3/8 in"."""
    return _kept_together(units.format_length(cm, reader.units)) if _known(cm) else UNKNOWN


@register.filter
def bare_length(cm: float | None, reader: Reader) -> str:
    """A length without its unit, for a table that names it: "92.5", "36 3/8"."""
    if not _known(cm):
        return UNKNOWN
    return _kept_together(units.format_length(cm, reader.units).removesuffix(f" {reader.units}"))


@register.filter
def signed_length(cm: float | None, reader: Reader) -> str:
    """A difference with its sign: "+1.5 cm", "−3/4 in", "0 cm"."""
    return _kept_together(units.format_length(cm, reader.units, signed=True)) if _known(cm) else UNKNOWN


@register.simple_tag
def length_range(low: float | None, high: float | None, reader: Reader, signed: bool = False) -> str:
    """``{% length_range low high reader %}``: "3.2 to 5 cm"; ``signed=True`` for differences."""
    if not (_known(low) and _known(high)):
        return UNKNOWN
    first = units.format_length(low, reader.units, signed=signed).removesuffix(f" {reader.units}")
    last = units.format_length(high, reader.units, signed=signed)
    # Translators: a range, as in "3.2 to 5 cm".
    return _("{low} to {high}").format(low=_kept_together(first), high=_kept_together(last))


@register.simple_tag
def tool(mm: float | None, craft: str, reader: Reader) -> str:
    """``{% tool gauge.tool_mm pattern.craft reader %}``: "4 mm", "US 6 (4 mm)"; craft is "knit" or "crochet"."""
    return _kept_together(units.tool_label(mm, craft, reader.tools)) if _known(mm) else UNKNOWN


@register.filter
def gauge(per_10cm: float | None, reader: Reader) -> str:
    """A gauge to the nearest quarter, over the reader's own span: "22 1/2". Say the span with ``gauge_span``."""
    return _kept_together(units.format_gauge(per_10cm, _span(reader))) if _known(per_10cm) else UNKNOWN


@register.filter
def gauge_fine(per_10cm: float | None, reader: Reader) -> str:
    """A gauge to a tenth, for an estimate and its interval: "21.6"."""
    if not _known(per_10cm):
        return UNKNOWN
    over = units.gauge_over(per_10cm, _span(reader))
    return f"{float(units.rounded(over, Fraction(1, 10))):.1f}".replace(".", decimal_separator())


@register.filter
def gauge_span(reader: Reader) -> str:
    """``{{ reader|gauge_span }}``: "10 cm" or "4 in"."""
    return _kept_together("4 in" if reader.units == "in" else "10 cm")


@register.simple_tag
def gauge_words(st: float | None, row: float | None, reader: Reader) -> str:
    """``{% gauge_words 22 30 reader %}``: "22 st and 30 rows over 10 cm"."""
    span = gauge_span(reader)
    # Translators: stitches, as in "22 1/2 st".
    stitches = _kept_together(_("{n} st").format(n=gauge(st, reader)))
    # Translators: rows, as in "30 rows" and "30 1/2 rows".
    rows = _kept_together(_("{n} rows").format(n=gauge(row, reader)))
    if _known(st) and _known(row):
        return _("{stitches} and {rows} over {span}").format(stitches=stitches, rows=rows, span=span)
    if _known(st) or _known(row):
        # Translators: one gauge, as in "22 st over 10 cm" or "30 rows over 10 cm".
        return _("{count} over {span}").format(count=stitches if _known(st) else rows, span=span)
    return UNKNOWN


@register.filter
def count(value: float | None) -> str:
    """A count: "104", "22 1/2", and to a tenth where it is neither whole nor in quarters: "92.4"."""
    return _kept_together(units.format_count(value)) if _known(value) else UNKNOWN


@register.simple_tag
def terms(text: str, written_in: Terms, reader: Reader) -> str:
    """``{% terms number.label edition.terms reader %}``: crochet terms in the reader's dialect."""
    return translate(text, source=written_in, target=reader.terms) if text else ""


@register.filter
def size_map(values: Mapping[str, Any] | None, sizes: Sequence[str]) -> list[tuple[str, Any]]:
    """``{% for size, value in printed|size_map:sizes %}``: a value per size in order, None where there is none."""
    return [(size, (values or {}).get(size)) for size in sizes]


@register.filter
def at(values: Mapping[Any, Any] | None, key: Any) -> Any:
    """``{{ numbers|at:key }}``: the value under a key, None where there is none."""
    return (values or {}).get(key)


@register.filter
def length_unit(reader: Reader) -> str:
    """``{{ reader|length_unit }}``: "cm" or "in", for the label of a question."""
    return reader.units


@register.filter
def after_label(sentence: str, label: str) -> str:
    """``{{ error|after_label:field.label }}``: a sentence that stands behind its field's name, which is said once."""
    return str(sentence).removeprefix(f"{label}: ")
