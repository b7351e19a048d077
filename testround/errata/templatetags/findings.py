"""Findings and deviations as their reader sees them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template

from testround.errata import wording
from testround.kernel.units import format_count, format_gauge, format_length
from testround.people.readers import Reader

register = template.Library()


@register.filter
def off(cm: float | None, reader: Reader) -> str:
    """A difference with its sign: "+3.4 cm", "−1 3/8 in"."""
    return "" if cm is None else format_length(cm, reader.units, signed=True)


@register.filter
def span(cm: float | None, reader: Reader) -> str:
    return "" if cm is None else format_length(cm, reader.units)


@register.filter
def gauge_words(per_10cm: float | None, reader: Reader) -> str:
    """A gauge over 10 cm, or over 4 inches where the reader has inches."""
    return "" if per_10cm is None else format_gauge(per_10cm, "4in" if reader.units == "in" else "10cm")


@register.filter
def gauge_over(reader: Reader) -> str:
    return "4 in" if reader.units == "in" else "10 cm"


@register.filter
def told(text: str, reader: Reader) -> str:
    """A sentence of the analysis with its lengths in the reader's unit."""
    return wording.lengths_in(text, reader.units)


@register.filter
def titled(finding: Mapping[str, Any], names: Mapping[str, wording.Named]) -> str:
    return wording.title_of(finding, names)


@register.filter
def needs(finding: Mapping[str, Any]) -> str:
    return wording.needs_words(finding)


@register.simple_tag
def headline(
    finding: Mapping[str, Any], names: Mapping[str, wording.Named], sizes: tuple[str, ...], reader: Reader
) -> str:
    return wording.headline(finding, names, sizes, reader.units)


@register.simple_tag
def verdict_sentence(verdict: str, estimate: float | None, tolerance: float, reader: Reader) -> str:
    return wording.verdict_sentence(verdict, estimate, tolerance, reader.units)


@register.simple_tag
def change_tables(changes: list[Mapping[str, Any]], reader: Reader) -> tuple[wording.ChangeTable, ...]:
    return wording.change_tables(changes, reader.units)


@register.simple_tag
def proposal(
    finding: Mapping[str, Any], names: Mapping[str, wording.Named]
) -> tuple[wording.ChangeTable, ...]:
    """What a finding proposes, now beside proposed; empty where it proposes nothing."""
    return wording.change_tables(wording.changes_from({**finding, "follows": None}, names, {}), "cm")


@register.filter
def count(value: float | None) -> str:
    return "" if value is None else format_count(value)
